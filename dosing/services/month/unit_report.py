"""What the quality meeting looks at: shares in range, infections, ways out, missed nights, hospital days; who is behind
each figure.
"""

from __future__ import annotations

import uuid
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from django.db.models import Q
from django.utils.translation import gettext as _

from dosing.models import PatientMonth
from dosing.science.guidance import GuidedSchedule
from dosing.science.reasons import Reason
from dosing.science.results import Measure, measure, unknown
from dosing.science.survival import (
    RateInterval,
    ShareInterval,
    cumulative_incidence,
    exact_share,
    kaplan_meier,
    poisson_rate,
    survival_at,
)
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.needling import DaysByTechnique, techniques_of
from dosing.services.month.ranges import RangeBook, book, range_words
from dosing.services.numbers.number import Number, ShownIn
from sessions.facts.choices import AccessKind, LeftReason, StayKind, Technique
from sessions.facts.local_day import plain_day
from sessions.facts.months import next_month
from sessions.models import AccessInfection, HospitalStay, Patient, VascularAccess

YEARS = (1, 2, 3, 5)
YEAR = 365.25
MONTH_DAYS = YEAR / 12
FIRST_DAYS = 90
"""So many days from joining count as the first ones of a new patient (common practice, no source)."""
WAYS_OUT: tuple[tuple[LeftReason, ...], ...] = (
    (LeftReason.CENTRE,),
    (LeftReason.DIED,),
    (LeftReason.TRANSPLANT,),
    (LeftReason.PERITONEAL, LeftReason.RECOVERED),
)
"""What ends haemodialysis at home; each excludes the others. Who moves or is transferred is followed up to then."""
Behind = dict[str, dict[uuid.UUID, str]]
"""By the key of a figure: patients, and what of theirs is in it."""


@dataclass(frozen=True, slots=True)
class Share:
    """Patients in range among those of whom a number is known."""

    number: Number[Any]
    range: str
    within: int
    known: int
    patients: int

    @property
    def percent(self) -> float | None:
        return 100 * self.within / self.known if self.known else None

    @property
    def interval(self) -> ShareInterval | None:
        return exact_share(share=self.within / self.known, of=self.known) if self.known else None


@dataclass(frozen=True, slots=True)
class Infections:
    """Infections of one kind of access or of needling, its days in the span, and the rates with their intervals."""

    key: str
    label: str
    events: int
    days: int
    rate: RateInterval
    per_months: RateInterval


@dataclass(frozen=True, slots=True)
class AtYears:
    """After so many years: still followed, at home, each way out in the order of `WAYS_OUT`, with exact intervals."""

    years: float
    at_risk: int
    home: ShareInterval
    ways: list[ShareInterval]


@dataclass(frozen=True, slots=True)
class Nights:
    """Of a span: done, prescribed, missed (each patient's month by itself: extra ones make up for none), and of those
    with a pressure how many were low.
    """

    done: int
    prescribed: float
    missed: float
    with_pressure: int
    low: int

    @property
    def missed_share(self) -> float | None:
        return self.missed / self.prescribed if self.prescribed >= 0.5 else None

    @property
    def low_share(self) -> ShareInterval | None:
        n = self.with_pressure
        return exact_share(share=self.low / n, of=n) if n else None


@dataclass(frozen=True, slots=True)
class Past:
    """One quantity in the twelve months of the report and in those before."""

    label: str
    now: str
    before: str


@dataclass(frozen=True, slots=True)
class UnitReport:
    month: date
    since: date
    patients: int
    shares: list[Share]
    infections: list[Infections]
    followed: int
    at_years: list[AtYears]
    left: dict[str, int]
    nights: Nights
    hospital_days: int
    hospital_patients: int
    patient_days: int
    joined: int
    first_stays: int
    first_infections: int
    centre_stays: int
    centre_days: int
    past: list[Past]
    behind: Behind = field(default_factory=dict)

    @property
    def nights_done(self) -> int:
        return self.nights.done

    @property
    def missed_share(self) -> float | None:
        return self.nights.missed_share

    @property
    def hospital_days_per_year(self) -> float | None:
        return self.hospital_days / self.patient_days * YEAR if self.patient_days else None


@dataclass(frozen=True, slots=True)
class _Read:
    """What a span is counted from, read once."""

    since: date
    end: date
    everybody: list[Patient]
    stays: list[HospitalStay]
    accesses: list[VascularAccess]
    infections: list[AccessInfection]
    needling: dict[int, DaysByTechnique]
    months: list[tuple[uuid.UUID, dict[str, Any], dict[str, Any] | None, dict[str, Any] | None]]

    def stays_of(self, kind: StayKind) -> list[HospitalStay]:
        return [each for each in self.stays if each.kind == kind]

    def days_of(self, stay: HospitalStay) -> int:
        return _overlap(stay.admitted_on, stay.discharged_on, self.since, self.end)

    @property
    def patient_days(self) -> int:
        return sum(_overlap(each.joined_on, each.left_on, self.since, self.end) for each in self.everybody)


def _read(since: date, end: date) -> _Read:
    """Seven queries."""
    accesses = VascularAccess.objects.filter(Q(abandoned_on=None) | Q(abandoned_on__gte=since), created_on__lt=end)
    began = AccessInfection.objects.standing().filter(began_on__gte=since, began_on__lt=end)
    going_on = Q(discharged_on=None) | Q(discharged_on__gte=since)
    months = PatientMonth.objects.filter(month__gte=since, month__lt=end)
    asked = ("numbers__nights__inputs", "numbers__hypotension_share")
    return _Read(
        since=since,
        end=end,
        everybody=list(Patient.objects.filter(joined_on__lt=end)),
        stays=list(HospitalStay.objects.standing().filter(going_on, admitted_on__lt=end)),
        accesses=list(accesses.select_related("patient")),
        infections=list(began.select_related("access")),
        needling=techniques_of(since, end),
        months=list(months.values_list("patient_id", "delivered", *asked)),
    )


def unit_report(month: date, *, today: date, months: int = 12) -> UnitReport:
    """The report to the end of a month, or to today in the running one. Some twenty queries.

    Shares are of that month, rates of so many months up to it, what came before of as many months before those.
    """
    end = min(next_month(month), today + timedelta(days=1))
    since = _back(month, months - 1)
    there = Q(joined_on__lt=end) & (Q(left_on=None) | Q(left_on__gte=month))
    people = list(Patient.objects.filter(there))
    rows = list(PatientMonth.objects.filter(patient__in=people, month=month))
    read, before = _read(since, end), _read(_back(since, months), since)
    behind: Behind = defaultdict(dict)
    ranges, hospital = book(), read.stays_of(StayKind.HOSPITAL)
    centre = read.stays_of(StayKind.CENTRE)
    new = [each for each in read.everybody if each.joined_on >= since]
    report = UnitReport(
        month=month,
        since=since,
        patients=len(people),
        shares=[_share(each, rows, ranges, people, behind) for each in MONTH_NUMBERS.at(ShownIn.UNIT_REPORT)],
        infections=_infections(read),
        followed=len(read.everybody),
        at_years=_at_years(read.everybody, end),
        left=_left(read, behind),
        nights=_nights(read, behind),
        hospital_days=sum(map(read.days_of, hospital)),
        hospital_patients=len({stay.patient_id for stay in hospital}),
        patient_days=read.patient_days,
        joined=len(new),
        first_stays=_in_first_days(new, [(stay.patient_id, stay.admitted_on) for stay in hospital]),
        first_infections=_in_first_days(new, [(each.access.patient_id, each.began_on) for each in read.infections]),
        centre_stays=len(centre),
        centre_days=sum(map(read.days_of, centre)),
        past=_past(read, before),
        behind=behind,
    )
    _who(read, new, behind)
    return report


def _who(read: _Read, new: Iterable[Patient], behind: Behind) -> None:
    """Who is behind infections, stays and first months."""
    for infection in read.infections:
        words = f"{infection.get_kind_display()}, {plain_day(infection.began_on)}"
        for key in _keys_of(read, infection):
            _add(behind, key, infection.access.patient_id, words)
    for stay in read.stays:
        if stay.kind in (StayKind.HOSPITAL, StayKind.CENTRE):
            until = plain_day(stay.discharged_on) if stay.discharged_on else "…"
            _add(behind, str(stay.kind), stay.patient_id, f"{plain_day(stay.admitted_on)} – {until}")
    for each in new:
        _add(behind, "new", each.pk, _("joined on %(day)s") % {"day": plain_day(each.joined_on)})


def _add(behind: Behind, key: str, patient: uuid.UUID, words: str) -> None:
    own = behind.setdefault(key, {})
    own[patient] = f"{own[patient]}; {words}" if patient in own else words


def _back(month: date, count: int) -> date:
    at = month.year * 12 + month.month - 1 - count
    return date(at // 12, at % 12 + 1, 1)


def _share(
    number: Number[Any], rows: Sequence[PatientMonth], ranges: RangeBook, people: Sequence[Patient], behind: Behind
) -> Share:
    usual = ranges.of(number.key)
    judged = [row for row in rows if usual is None or usual.holds_for(row.schedule)]
    everybody = usual is None or usual.schedule is GuidedSchedule.ANY
    values = {row.patient_id: (row.numbers.get(number.key, {}).get("value"), row.schedule) for row in judged}
    known = {person: pair for person, pair in values.items() if pair[0] is not None}
    outside = {
        person: value for person, (value, schedule) in known.items() if ranges.place(number.key, value, schedule)
    }
    for person, value in outside.items():
        _add(behind, number.key, person, f"{number.text(value)} {number.unit_shown}".strip())
    for person in {each.pk for each in people} if everybody else set(values):
        if person not in known:
            _add(behind, number.key, person, _("not known"))
    within = len(known) - len(outside)
    return Share(number, range_words(number, usual), within, len(known), len(people) if everybody else len(judged))


def _overlap(first: date, last: date | None, since: date, end: date) -> int:
    """Days from first to last (both counted; None: still going on) that lie in [since, end)."""
    begin = max(first, since)
    finish = min(last + timedelta(days=1) if last else end, end)
    return max(0, (finish - begin).days)


def _infections(read: _Read) -> list[Infections]:
    """Of all accesses, of each kind, and of each way of needling a fistula or graft."""
    days: Counter[str] = Counter()
    for access in read.accesses:
        first, last = _in_use(access)
        whole = _overlap(first, last, read.since, read.end)
        days[ALL] += whole
        days[access.kind] += whole
        if access.kind != AccessKind.CATHETER:
            days.update(_needled_days(read, access, first, last))
    events = Counter(key for each in read.infections for key in _keys_of(read, each))
    labels = {ALL: _("all accesses")} | {kind.value: str(kind.label) for kind in AccessKind}
    labels |= {NEEDLED[technique]: str(technique.label) for technique in NEEDLED}
    labels[UNNOTED] = _("needling not noted")
    return [_rates(key, label, events[key], days[key]) for key, label in labels.items()]


ALL, UNNOTED = "all", "needling_not_noted"
NEEDLED = {Technique.BUTTONHOLE: "needled_buttonhole", Technique.ROPE_LADDER: "needled_rope_ladder"}


def _needled_days(read: _Read, access: VascularAccess, first: date, last: date | None) -> Counter[str]:
    begin, finish = max(first, read.since), min(last + timedelta(days=1) if last else read.end, read.end)
    found = read.needling.get(access.pk)
    if finish <= begin:
        return Counter()
    if found is None:
        return Counter({UNNOTED: (finish - begin).days})
    return Counter({_needled(technique): count for technique, count in found.days(begin, finish).items()})


def _needled(technique: str) -> str:
    return {str(each): key for each, key in NEEDLED.items()}.get(technique, UNNOTED)


def _keys_of(read: _Read, infection: AccessInfection) -> list[str]:
    """The rows in which an infection counts."""
    access = infection.access
    keys = [ALL, str(access.kind)]
    if access.kind != AccessKind.CATHETER:
        found = read.needling.get(access.pk)
        keys.append(_needled(found.on(infection.began_on)) if found else UNNOTED)
    return keys


def _rates(key: str, label: str, events: int, days: int) -> Infections:
    months = poisson_rate(events=events, exposure=days / MONTH_DAYS, per=100)
    return Infections(key, label, events, days, poisson_rate(events=events, exposure=days), months)


def _in_use(access: VascularAccess) -> tuple[date, date | None]:
    """From which day to which this access was in use in the programme."""
    person = access.patient
    lasts = [day for day in (access.abandoned_on, person.left_on) if day]
    return max(access.created_on, person.joined_on), min(lasts) if lasts else None


def _days_in(end: date) -> Callable[[Patient], float]:
    """How long somebody was in the programme up to a day."""

    def days(each: Patient) -> float:
        last = each.left_on if each.left_on and each.left_on < end else end
        return float((last - each.joined_on).days)

    return days


def _at_years(people: Sequence[Patient], end: date) -> list[AtYears]:
    """At the years of the table, and at the last way out where that lies between the last of them that is known and
    the next: else the report would not show it.
    """
    found = [_at(people, end, years) for years in YEARS]
    out = {reason for ways in WAYS_OUT for reason in ways}
    gone = [each for each in people if each.left_on and each.left_on < end and each.left_reason in out]
    last = max(map(_days_in(end), gone), default=0.0) / YEAR
    known = max((each.years for each in found if each.at_risk), default=0.0)
    if last > known:
        found.append(_at(people, end, last))
    return sorted(found, key=lambda each: each.years)


def _at(people: Sequence[Patient], end: date, years: float) -> AtYears:
    """Everybody who ever joined, from then on; nothing is said of a time for which nobody was followed."""
    gone = [each.left_reason if each.left_on and each.left_on < end else "" for each in people]
    codes = {str(way): float(code) for code, ways in enumerate(WAYS_OUT, start=1) for way in ways}
    times, events = [*map(_days_in(end), people)], [codes.get(reason, 0.0) for reason in gone]
    at = years * YEAR
    found = cumulative_incidence(times=times, event=events, events=len(WAYS_OUT), at=[at])
    rows = [(each.value[:, 0], each.why[:, 0]) for each in (found.share, found.low, found.high)]
    outs = [ShareInterval(*(_one(value[k], why[k]) for value, why in rows)) for k in range(len(WAYS_OUT))]
    return AtYears(years, int(found.at_risk[0]), _home(times, events, at, int(found.at_risk[0])), outs)


def _one(value: float, why: Reason | None) -> Measure:
    return unknown("1", why) if why else measure(value, "1")


def _home(times: list[float], events: list[float], at: float, at_risk: int) -> ShareInterval:
    """Still treated at home: without any of the ways out, with the exact interval of the effective number."""
    curve = kaplan_meier(times=times, observed=[float(each > 0) for each in events])
    share = survival_at(curve=curve, times=at).number if curve.times.size else 1.0
    if not at_risk or not share:
        none = unknown("1", Reason("nobody_so_long"))
        return ShareInterval(none, none, none)
    return exact_share(share=share, of=at_risk / share)


def _left(read: _Read, behind: Behind) -> dict[str, int]:
    gone = [each for each in read.everybody if each.left_on and read.since <= each.left_on < read.end]
    labels = dict(LeftReason.choices)
    counts: Counter[str] = Counter()
    for each in gone:
        label = str(labels.get(each.left_reason, _("reason not entered")))
        counts[label] += 1
        _add(behind, "left", each.pk, f"{label}, {plain_day(each.left_on)}")
    return dict(counts)


def _nights(read: _Read, behind: Behind | None = None) -> Nights:
    """Treatments over the months, from the months' own numbers; extra ones of a month make up for no missed one."""
    done = with_pressure = low = 0
    wanted = missed = 0.0
    for person, delivered, nights, pressures in read.months:
        given, asked = (nights or {}).get("delivered", 0), (nights or {}).get("prescribed", 0.0)
        out = len(delivered.get("missing", [])) + len(delivered.get("left_out", []))
        short = max(float(out), asked - given, 0.0) if asked else 0.0
        done, wanted, missed = done + given, wanted + asked, missed + short
        of, bad = _low_nights(pressures or {})
        with_pressure, low = with_pressure + of, low + bad
        if behind is not None and short >= 0.5:
            _add(behind, "missed", person, _("%(count)s missed") % {"count": round(short)})
        if behind is not None and bad:
            _add(behind, "low", person, _("%(low)s of %(of)s") % {"low": bad, "of": of})
    return Nights(done, wanted, missed, with_pressure, low)


def _low_nights(kept: dict[str, Any]) -> tuple[int, int]:
    """How many treatments of a month have pressures, and how many of them the month counts as low."""
    of = len(kept.get("inputs", {}).get("each_night", []))
    return of, round((kept.get("value") or 0.0) * of)


def _in_first_days(new: Iterable[Patient], happened: Iterable[tuple[uuid.UUID, date]]) -> int:
    """How often something befell a new patient in the first days."""
    joined = {each.pk: each.joined_on for each in new}
    return sum(0 <= (day - joined[who]).days < FIRST_DAYS for who, day in happened if who in joined)


def _past(read: _Read, before: _Read) -> list[Past]:
    """The unit's own past: the rates of the months before, each with its interval."""
    rows: list[tuple[str, Callable[[_Read], str]]] = [
        (_("Infections per 1000 access-days"), _infection_words),
        (_("Missed, of prescribed"), _missed_words),
        (_("Days in hospital per patient-year"), _hospital_words),
    ]
    return [Past(label, told(read), told(before)) for label, told in rows]


def _infection_words(read: _Read) -> str:
    found = _infections(read)[0]
    if not found.days:
        return _("nobody was there")
    rate = found.rate
    told = {"rate": rate.rate, "low": rate.low, "high": rate.high}
    return _("%(rate)s (%(low)s to %(high)s)") % {name: f"{each.number:.2f}" for name, each in told.items()}


def _missed_words(read: _Read) -> str:
    share = _nights(read).missed_share
    return _("not known") if share is None else f"{round(100 * share)} %"


def _hospital_words(read: _Read) -> str:
    if not read.patient_days:
        return _("nobody was there")
    days = sum(map(read.days_of, read.stays_of(StayKind.HOSPITAL)))
    return f"{days / read.patient_days * YEAR:.1f}"


TITLES: dict[str, Callable[[], str]] = {
    "left": lambda: _("Who left"),
    "missed": lambda: _("Missed treatments"),
    "low": lambda: _("Treatments with a low pressure"),
    "hospital": lambda: _("Days in hospital"),
    "centre": lambda: _("Treated in the centre"),
    "new": lambda: _("New patients"),
    ALL: lambda: _("Infections of the access"),
}


def title_of(report: UnitReport, key: str) -> str | None:
    """What a figure is called that leads to its patients; None for a figure that there is not."""
    if key in TITLES:
        return TITLES[key]()
    numbers = {each.number.key: each.number.label for each in report.shares}
    infected = {each.key: _("Infections: %(of)s") % {"of": each.label} for each in report.infections}
    return (numbers | infected).get(key)
