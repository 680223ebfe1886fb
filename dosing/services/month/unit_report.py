"""What the quality meeting looks at: shares in range, infections, technique survival, missed nights, hospital days."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import Q
from django.utils.translation import gettext as _

from dosing.models import PatientMonth
from dosing.science.guidance import GuidedSchedule
from dosing.science.reasons import Reason
from dosing.science.results import Measure, measure, unknown
from dosing.science.survival import RateInterval, SurvivalCurve, kaplan_meier, poisson_rate, survival_at
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.ranges import RangeBook, book, range_words
from dosing.services.numbers.number import Number, ShownIn
from sessions.facts.choices import AccessKind, LeftReason
from sessions.facts.months import next_month
from sessions.models import AccessInfection, HospitalStay, Patient, VascularAccess

YEARS = (1, 2, 3, 5)
YEAR = 365.25


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


@dataclass(frozen=True, slots=True)
class Infections:
    """Infections of one kind of access, its days in the span, and the rate per 1000 access-days."""

    label: str
    events: int
    days: int
    rate: RateInterval


@dataclass(frozen=True, slots=True)
class UnitReport:
    month: date
    since: date
    patients: int
    shares: list[Share]
    infections: list[Infections]
    technique: SurvivalCurve
    at_years: list[tuple[int, Measure, Measure, Measure]]
    left: dict[str, int]
    nights_done: int
    nights_prescribed: float
    hospital_days: int
    hospital_patients: int
    patient_days: int

    @property
    def missed_share(self) -> float | None:
        if self.nights_prescribed < 0.5:
            return None
        return max(0.0, 1 - self.nights_done / self.nights_prescribed)

    @property
    def hospital_days_per_year(self) -> float | None:
        return self.hospital_days / self.patient_days * YEAR if self.patient_days else None


def unit_report(month: date, *, today: date, months: int = 12) -> UnitReport:
    """The report to the end of a month, or to today in the running one. Some ten queries.

    Shares are of that month, rates of so many months up to it.
    """
    end = min(next_month(month), today + timedelta(days=1))
    since = _back(month, months - 1)
    there = Q(joined_on__lt=end) & (Q(left_on=None) | Q(left_on__gte=month))
    people = list(Patient.objects.filter(there))
    rows = list(PatientMonth.objects.filter(patient__in=people, month=month))
    done, wanted = _nights(since, end)
    everybody = list(Patient.objects.filter(joined_on__lt=end))
    technique, ranges = _technique(everybody, end), book()
    longest = max(map(_days_in(end), everybody), default=0.0)
    going_on = Q(discharged_on=None) | Q(discharged_on__gte=since)
    stays = list(HospitalStay.objects.standing().in_hospital().filter(going_on, admitted_on__lt=end))
    return UnitReport(
        month=month,
        since=since,
        patients=len(people),
        shares=[_share(number, rows, ranges, len(people)) for number in MONTH_NUMBERS.at(ShownIn.UNIT_REPORT)],
        infections=_infections(since, end),
        technique=technique,
        at_years=[_at(technique, years, longest) for years in YEARS],
        left=_left(everybody, since, end),
        nights_done=done,
        nights_prescribed=wanted,
        hospital_days=sum(_overlap(stay.admitted_on, stay.discharged_on, since, end) for stay in stays),
        hospital_patients=len({stay.patient_id for stay in stays}),
        patient_days=sum(_overlap(each.joined_on, each.left_on, since, end) for each in everybody),
    )


def _back(month: date, count: int) -> date:
    at = month.year * 12 + month.month - 1 - count
    return date(at // 12, at % 12 + 1, 1)


def _share(number: Number[Any], rows: Sequence[PatientMonth], ranges: RangeBook, patients: int) -> Share:
    usual = ranges.of(number.key)
    judged = [row for row in rows if usual is None or usual.holds_for(row.schedule)]
    asked = patients if usual is None or usual.schedule is GuidedSchedule.ANY else len(judged)
    values = [(row.numbers.get(number.key, {}).get("value"), row.schedule) for row in judged]
    known = [(value, schedule) for value, schedule in values if value is not None]
    within = sum(ranges.place(number.key, value, schedule) == 0 for value, schedule in known)
    return Share(number, range_words(number, usual), within, len(known), asked)


def _overlap(first: date, last: date | None, since: date, end: date) -> int:
    """Days from first to last (both counted; None: still going on) that lie in [since, end)."""
    begin = max(first, since)
    finish = min(last + timedelta(days=1) if last else end, end)
    return max(0, (finish - begin).days)


def _infections(since: date, end: date) -> list[Infections]:
    accesses = list(
        VascularAccess.objects.filter(
            Q(abandoned_on=None) | Q(abandoned_on__gte=since), created_on__lt=end
        ).select_related("patient")
    )
    found = AccessInfection.objects.standing().filter(began_on__gte=since, began_on__lt=end)
    events = list(found.values_list("access__kind", flat=True))
    rows = []
    groups = [(_("all accesses"), list(AccessKind.values)), *((str(kind.label), [kind.value]) for kind in AccessKind)]
    for label, kinds in groups:
        days = sum(_access_days(each, since, end) for each in accesses if each.kind in kinds)
        count = sum(kind in kinds for kind in events)
        rows.append(Infections(label, count, days, poisson_rate(events=count, exposure=days)))
    return rows


def _access_days(access: VascularAccess, since: date, end: date) -> int:
    """Days on which this access was in use in the programme."""
    person = access.patient
    begin = max(access.created_on, person.joined_on)
    lasts = [day for day in (access.abandoned_on, person.left_on) if day]
    return _overlap(begin, min(lasts) if lasts else None, since, end)


def _days_in(end: date) -> Callable[[Patient], float]:
    """How long somebody was in the programme up to a day."""

    def days(each: Patient) -> float:
        last = each.left_on if each.left_on and each.left_on < end else end
        return float((last - each.joined_on).days)

    return days


def _technique(people: Sequence[Patient], end: date) -> SurvivalCurve:
    """Time to going back to a centre; death, transplant and other ways out are censored, as is who is still there."""
    times = [*map(_days_in(end), people)]
    back = [
        each.left_on is not None and each.left_on < end and each.left_reason == LeftReason.CENTRE for each in people
    ]
    return kaplan_meier(times=times, observed=[float(each) for each in back])


def _at(curve: SurvivalCurve, years: int, longest: float) -> tuple[int, Measure, Measure, Measure]:
    """longest: days that anybody was followed for; nothing is said of a later time."""
    time = years * YEAR
    if time > longest:
        none = unknown("1", Reason("nobody_so_long"))
        return years, none, none, none
    if not curve.times.size:
        none = unknown("1", Reason("nobody_went_back"))
        return years, measure(1.0, "1"), none, none
    step = int((curve.times <= time).sum()) - 1
    if step < 0:
        sure = measure(1.0, "1")
        return years, sure, sure, sure
    low, high = (measure(float(band.value[step]), "1") for band in (curve.low, curve.high))
    return years, survival_at(curve=curve, times=time), low, high


def _left(people: Sequence[Patient], since: date, end: date) -> dict[str, int]:
    gone = [each for each in people if each.left_on and since <= each.left_on < end]
    labels = dict(LeftReason.choices)
    counts: dict[str, int] = {}
    for each in gone:
        label = str(labels.get(each.left_reason, _("reason not entered")))
        counts[label] = counts.get(label, 0) + 1
    return counts


def _nights(since: date, end: date) -> tuple[int, float]:
    """Treatments done and prescribed over the months, from the months' own numbers."""
    done, wanted = 0, 0.0
    for numbers in PatientMonth.objects.filter(month__gte=since, month__lt=end).values_list("numbers", flat=True):
        inputs: dict[str, Any] = numbers.get("nights", {}).get("inputs", {})
        done += inputs.get("delivered", 0)
        wanted += inputs.get("prescribed", 0.0)
    return done, wanted
