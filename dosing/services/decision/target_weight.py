"""All that speaks about a target weight on one axis of days: weights, pressures, drops, cramps, and changes of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from itertools import groupby, pairwise
from statistics import fmean
from typing import Any

from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from dosing.services.decision.chart import DayLevel, DayPoint, Frame, SmallChart, small_chart
from dosing.services.decision.decided import Mark, SignedMark, signed
from homedialysis.accounts.services.units import told_in
from sessions.facts.choices import EventKind
from sessions.facts.local_number import decimals
from sessions.models import Event, HospitalStay, Medication, Patient, Prescription, TreatmentRecord
from sessions.models.local_time import zone_of
from sessions.services.medications import taken_between

TOLD = (EventKind.HYPOTENSION, EventKind.CRAMP, EventKind.DIZZY, EventKind.FAINTED, EventKind.BREATHLESS)
"""What a wrong target weight makes be noted; one lane each, the first on top."""
WIDE = 1160.0
NOT_KNOWN = "–"


@dataclass(frozen=True, slots=True)
class WeighedNight:
    """What is drawn of one treatment. target: as ordered [kg]; noted: kinds of events."""

    day: date
    pre_kg: float | None
    post_kg: float | None
    pre_systolic: float | None
    post_systolic: float | None
    lowest: float | None
    target: float | None
    noted: frozenset[str]


@dataclass(frozen=True, slots=True)
class TargetPeriod:
    """The treatments under one target weight, in words; nights: how many."""

    target: str
    first: date
    last: date
    nights: int
    post: str
    pressures: str
    lowest: str
    noted: str


@dataclass(frozen=True, slots=True)
class TargetWeight:
    """The page: charts over the same days, marks with their letters, and what each target weight brought."""

    charts: list[SmallChart]
    marks: list[SignedMark]
    periods: list[TargetPeriod]
    nights: int


def target_weight(patient: Patient, first: date, last: date) -> TargetWeight:
    """Of the treatments of [first, last]: six queries."""
    nights = _nights(patient, first, last)
    marks = signed([*_targets(patient, first, last), *_stays(patient, first, last), *_medicines(patient, first, last)])
    signs = [(each.mark.day, each.sign) for each in marks]
    charts = [_weights(nights, first, last, signs), _pressures(nights, first, last, signs)]
    charts.append(_happened(nights, first, last, signs))
    return TargetWeight(
        charts=[chart for chart in charts if chart],
        marks=marks,
        periods=_periods(nights),
        nights=len(nights),
    )


def _nights(patient: Patient, first: date, last: date) -> list[WeighedNight]:
    zone = zone_of(patient)
    since = datetime.combine(first, time(), zone)
    until = datetime.combine(last + timedelta(days=1), time(), zone)
    events: dict[Any, set[str]] = {}
    noted = Event.objects.filter(record__patient=patient, kind__in=TOLD, at__range=(since, until)).order_by()
    for record, kind in noted.values_list("record_id", "kind"):
        events.setdefault(record, set()).add(kind)
    rows = TreatmentRecord.objects.filter(patient=patient).between(since, until).order_by("started_at")
    asked = (
        "night", "pre_weight_kg", "post_weight_kg", "pre_systolic", "post_systolic",
        "computed__numbers__lowest_systolic__value", "prescription__target_weight_kg",
    )  # fmt: skip
    found = rows.values_list("pk", *asked)
    return [
        WeighedNight(day, pre, post, pre_systolic, post_systolic, lowest, target, frozenset(events.get(pk, ())))
        for pk, day, pre, post, pre_systolic, post_systolic, lowest, target in found
    ]


def _targets(patient: Patient, first: date, last: date) -> list[Mark]:
    """Each new target weight on the day from which it is in force, as a review tells it."""
    zone, told, found = zone_of(patient), told_in("kg"), []
    since, until = (datetime.combine(day, time(), zone) for day in (first, last + timedelta(days=1)))
    orders = Prescription.objects.filter(patient=patient, in_force__overlap=(since, until)).order_by("in_force")
    for before, after in pairwise(orders):
        if before.target_weight_kg != after.target_weight_kg:
            was, now = (decimals(told.of(each.target_weight_kg), 1) for each in (before, after))
            words = _("target %(was)s → %(now)s %(unit)s") % {"was": was, "now": now, "unit": told.unit}
            found.append(Mark(localtime(after.in_force.lower).date(), words))
    return found


def _stays(patient: Patient, first: date, last: date) -> list[Mark]:
    stays = HospitalStay.objects.standing().in_hospital().filter(patient=patient, admitted_on__range=(first, last))
    return [Mark(each.admitted_on, str(each)) for each in stays.order_by("admitted_on")]


def _medicines(patient: Patient, first: date, last: date) -> list[Mark]:
    """Medicines against high pressure that were begun or given in another dose."""
    taken: Iterable[Medication] = taken_between(patient, first, last, ["pressure"])
    return [Mark(each.from_on, str(each)) for each in taken if each.from_on > first]


Signs = Sequence[tuple[date, str]]


def _weights(nights: Sequence[WeighedNight], first: date, last: date, signs: Signs) -> SmallChart | None:
    told = told_in("kg")
    series = [
        ("small-dots", [DayPoint(night.day, told.of(night.pre_kg)) for night in nights if night.pre_kg is not None]),
        (
            "small-first",
            [DayPoint(night.day, told.of(night.post_kg)) for night in nights if night.post_kg is not None],
        ),
    ]
    title = _("Weight, %(unit)s: dots before, line after; dashed: target") % {"unit": told.unit}
    levels = [
        DayLevel(own[0].day, own[-1].day, told.of(target))
        for target, rows in groupby((each for each in nights if each.target is not None), key=lambda each: each.target)
        if target is not None and (own := list(rows))
    ]
    return small_chart(title, Frame(first, last, WIDE, 190.0), series, levels=levels, marks=signs)


def _pressures(nights: Sequence[WeighedNight], first: date, last: date, signs: Signs) -> SmallChart | None:
    series = [
        (
            "small-dots",
            [DayPoint(night.day, night.pre_systolic) for night in nights if night.pre_systolic is not None],
        ),
        (
            "small-first",
            [DayPoint(night.day, night.post_systolic) for night in nights if night.post_systolic is not None],
        ),
        ("small-told", [DayPoint(night.day, night.lowest) for night in nights if night.lowest is not None]),
    ]
    title = _("Systolic pressure, mmHg: dots before, line after, filled the lowest of the treatment")
    return small_chart(title, Frame(first, last, WIDE, 170.0), series, marks=signs, places=0)


def _happened(nights: Sequence[WeighedNight], first: date, last: date, signs: Signs) -> SmallChart | None:
    """A lane for each kind of event, in the order in which the title names them."""
    points = [
        DayPoint(night.day, float(len(TOLD) - TOLD.index(EventKind(kind))))
        for night in nights
        for kind in sorted(night.noted)
    ]
    title = _("Noted, a lane each from the top: %(lanes)s") % {"lanes": ", ".join(str(kind.label) for kind in TOLD)}
    levels = [DayLevel(first, first, each) for each in (0.0, float(len(TOLD)))]
    frame = Frame(first, last, WIDE, 110.0)
    chart = small_chart(title, frame, [("small-told", points)], levels=levels, marks=signs, places=0)
    return replace(chart, ticks=_lanes(chart.ticks)) if chart else None


def _lanes(ticks: Sequence[tuple[float, str]]) -> list[tuple[float, str]]:
    """A line for each lane, between those at the ends of the axis; without a number, which would read as a count."""
    (low_y, low), (high_y, high) = ticks
    step = (high_y - low_y) / (float(high) - float(low))
    return [(round(low_y + step * (lane - float(low)), 1), "") for lane in range(1, len(TOLD) + 1)]


def _periods(nights: Sequence[WeighedNight]) -> list[TargetPeriod]:
    """The newest first."""
    known = [night for night in nights if night.target is not None]
    return [_period(list(rows)) for _target, rows in groupby(known, key=lambda night: night.target)][::-1]


def _period(rows: list[WeighedNight]) -> TargetPeriod:
    told = told_in("kg")
    after = [row.post_kg for row in rows if row.post_kg is not None]
    before, later = ([getattr(row, name) for row in rows] for name in ("pre_systolic", "post_systolic"))
    counted = [(kind.label, sum(kind in row.noted for row in rows)) for kind in TOLD]
    return TargetPeriod(
        target=f"{decimals(told.of(rows[0].target or 0.0), 1)} {told.unit}",
        first=rows[0].day,
        last=rows[-1].day,
        nights=len(rows),
        post=f"{decimals(told.of(fmean(after)), 1)} {told.unit}" if after else NOT_KNOWN,
        pressures=f"{_mean(before)} → {_mean(later)}",
        lowest=_mean([row.lowest for row in rows]),
        noted=", ".join(f"{label} {count}" for label, count in counted if count) or _("nothing"),
    )


def _mean(values: Iterable[float | None]) -> str:
    known = [value for value in values if value is not None]
    return decimals(fmean(known), 0) if known else NOT_KNOWN
