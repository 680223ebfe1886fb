"""The course of one patient as it was delivered: what every dose and every fluid figure is computed from.

Plain frozen facts, no equation and no query. Moments are aware datetimes; `DeliveredCourse.hours` turns them into hours
from the origin, for whoever integrates. Days are dates where the patient lives. None means not known, never nought.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum

from dosing.science.body import total_body_water_watson
from dosing.science.course_fluid import Fluid
from dosing.science.due_days import DueBy
from dosing.science.kidney import aged_clearance
from dosing.science.results import Measure

HOUR = timedelta(hours=1)
DAY = timedelta(days=1)
KIDNEY_COUNTS_FOR = 180.0
"""[days] How long after a collection its clearance still says something (common practice, no source)."""


class Counts(StrEnum):
    """Whether a treatment counts as one, for the time since the last and for the number a week."""

    FULL = "full"
    SHORT = "short"
    """shorter than two thirds of what was prescribed: counts, and what rests on it is doubtful"""
    RUNNING = "running"
    """no end is noted: it was begun, and how long it was nobody knows"""
    BROKEN_OFF = "broken_off"
    """too short to count"""
    TWICE = "twice"
    """another record of the same treatment, which counts instead"""


COUNTING = frozenset({Counts.FULL, Counts.SHORT, Counts.RUNNING})


class ClearanceBy(StrEnum):
    """Where a clearance comes from."""

    DIALYSER = "dialyser"
    """mass-transfer coefficient and the flows that were read"""
    PRESCRIBED = "prescribed"
    """the same at the flows prescribed, as none was read"""
    MACHINE = "machine"
    """the machine's own Kt/V, with V by Watson"""


class AbsenceKind(StrEnum):
    """Why somebody was not in treatment at home."""

    BEFORE = "before"
    AFTER = "after"
    HOSPITAL = "hospital"
    AWAY = "away"
    CENTRE = "centre"
    PAUSED = "paused"


class SampleWay(StrEnum):
    """How the sample after a treatment was drawn, as `adequacy.POST_SAMPLES` has it."""

    SLOW_FLOW = "slow_flow"
    STOP_DIALYSATE = "stop_dialysate"
    LATE = "late"
    UNPROTECTED = "unprotected"


PROTECTED = frozenset({SampleWay.SLOW_FLOW, SampleWay.STOP_DIALYSATE})
"""Drawn so that neither recirculation nor rebound has changed it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Who it is, as the equations of body water need it."""

    birth: date
    sex: str
    height_cm: float

    def age_on(self, day: date) -> float:
        """Age [years]."""
        return (day - self.birth).days / 365.25

    def body_water(self, *, weight_kg: float, on: date) -> Measure:
        """V by Watson [L] at a weight on a day; see the equation for its range."""
        return total_body_water_watson(
            sex=self.sex, age_years=self.age_on(on), height_cm=self.height_cm, weight_kg=weight_kg
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """A prescription and when it was in force; weekdays: 0 is Monday, none means by number.

    koa_ml_min: of the data sheet; uf_rate_limit: [mL/kg/h]; until: None where it holds still.
    """

    key: str
    since: datetime
    until: datetime | None
    per_week: float
    weekdays: tuple[int, ...]
    minutes: float
    qb_ml_min: float
    qd_ml_min: float
    koa_ml_min: float
    target_weight_kg: float
    uf_rate_limit: float | None = None

    @property
    def due_by(self) -> DueBy:
        return DueBy(self.per_week, self.weekdays)

    def holds(self, at: datetime) -> bool:
        return self.since <= at and (self.until is None or at < self.until)


@dataclass(frozen=True, slots=True, kw_only=True)
class Clearance:
    """Blood-water urea clearance of a treatment, ultrafiltration included [mL/min]."""

    ml_min: float
    by: ClearanceBy


@dataclass(frozen=True, slots=True, kw_only=True)
class Treatment:
    """One treatment as it was.

    key: of its record; day: the one it was taken to serve when it was recorded; minutes: from start to end; at_flow: of
    these, so many at blood_flow, that is what was pumped over it; blood_flow, dialysate_flow: as the machine shows
    [mL/min]; machine_ktv: as the machine shows it; access: fistula, graft, catheter or "" of what was in use that day;
    needle: gauge of the needle noted [G]; handed_over: False where the record is still being filled in;
    prescribed_minutes: of the prescription in force.
    """

    key: str
    day: date
    start: datetime
    end: datetime | None
    minutes: float | None
    at_flow: float | None
    prescribed_minutes: float | None
    blood_flow: float | None
    dialysate_flow: float | None
    clearance: Clearance | None
    machine_ktv: float | None
    fluid: Fluid
    pre_weight_kg: float | None
    post_weight_kg: float | None
    access: str
    needle: float | None
    handed_over: bool
    counts: Counts

    @property
    def counted(self) -> bool:
        return self.counts in COUNTING


@dataclass(frozen=True, slots=True, kw_only=True)
class UreaPair:
    """Urea before and after one treatment [mmol/L of plasma].

    treatment: its key; minutes_after: from the end to the sample after, as noted with a late one, else by the moments
    of both; None where not known.
    """

    treatment: str
    pre: float
    post: float
    pre_at: datetime
    post_at: datetime
    way: SampleWay
    minutes_after: float | None

    @property
    def protected(self) -> bool:
        return self.way in PROTECTED


@dataclass(frozen=True, slots=True, kw_only=True)
class KidneyCollection:
    """A urine collection: residual urea clearance of PLASMA as measured [mL/min], and all of its urine [mL]."""

    began: datetime
    ended: datetime
    clearance: float | None
    urine_ml: float

    @property
    def minutes(self) -> float:
        return (self.ended - self.began) / timedelta(minutes=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class KidneyLeft:
    """The newest collection, the days since it, and the clearance of PLASMA that is left of it by now [mL/min]."""

    collection: KidneyCollection
    days: float
    clearance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeAway:
    """Days on which nobody expects a treatment at home, both ends counted.

    first: None before joining; last: None where it goes on.
    """

    kind: AbsenceKind
    first: date | None
    last: date | None

    def holds(self, day: date) -> bool:
        return (self.first is None or self.first <= day) and (self.last is None or day <= self.last)


@dataclass(frozen=True, slots=True, kw_only=True)
class DeliveredCourse:
    """One patient between since and until. All in order of time; see the parts for units.

    origin: where hours begin; first_day, last_day: of since and until where the patient lives, both counted; missing:
    days on which a treatment was due by the prescription and none is there, without those of an absence; left_out: days
    of which the patient said that no treatment is done, so that nothing is unknown about them; records_since:
    the day of the patient's first record of all, None where there is none.
    """

    person: Person
    origin: datetime
    since: datetime
    until: datetime
    first_day: date
    last_day: date
    records_since: date | None = None
    treatments: tuple[Treatment, ...] = ()
    missing: tuple[date, ...] = ()
    left_out: tuple[date, ...] = ()
    absences: tuple[TimeAway, ...] = ()
    pairs: tuple[UreaPair, ...] = ()
    collections: tuple[KidneyCollection, ...] = ()
    orders: tuple[Order, ...] = ()

    def hours(self, at: datetime) -> float:
        """Hours from the origin to a moment."""
        return (at - self.origin) / HOUR

    @property
    def counted(self) -> tuple[Treatment, ...]:
        """The treatments that count as such."""
        return tuple(each for each in self.treatments if each.counted)

    def treatment(self, key: str) -> Treatment | None:
        return next((each for each in self.treatments if each.key == key), None)

    def pair_of(self, key: str) -> UreaPair | None:
        return next((each for each in self.pairs if each.treatment == key), None)

    def order_at(self, at: datetime) -> Order | None:
        """The prescription in force at a moment."""
        return next((each for each in self.orders if each.holds(at)), None)

    def before(self, treatment: Treatment) -> Treatment | None:
        """The treatment before this one that counts; never another record of the same one."""
        earlier = [each for each in self.counted if (each.end or each.start + HOUR) <= treatment.start]
        return earlier[-1] if earlier else None

    def last_ended(self, treatment: Treatment) -> Treatment | None:
        """What went before this one, whether it counts or was broken off; never another record of the same one."""
        others = (each for each in self.treatments if each.counts != Counts.TWICE)
        earlier = [each for each in others if (each.end or each.start + HOUR) <= treatment.start]
        return earlier[-1] if earlier else None

    def kidney_at(self, at: datetime) -> KidneyLeft | None:
        """What the kidneys do at a moment by the newest collection before it; None where none counts."""
        known = [(each, each.clearance) for each in self.collections if each.ended <= at]
        for collection, clearance in reversed(known):
            days = (at - collection.ended) / DAY
            if clearance is not None and days <= KIDNEY_COUNTS_FOR:
                left = aged_clearance(clearance_ml_min=clearance, days=days).number
                return None if left is None else KidneyLeft(collection=collection, days=days, clearance=left)
        return None

    def absent_on(self, day: date) -> TimeAway | None:
        """Why nobody expects a treatment at home that day, or None."""
        return next((each for each in self.absences if each.holds(day)), None)

    def days(self, first: date, last: date) -> Iterator[date]:
        """Every day from one to the other, both counted."""
        for count in range((last - first).days + 1):
            yield first + count * DAY

    def in_treatment(self, first: date, last: date) -> list[date]:
        """The days from first to last, both counted, on which the patient was in treatment at home."""
        return [day for day in self.days(first, last) if self.absent_on(day) is None]
