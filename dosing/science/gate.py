"""What has to be asked of a treatment before any dose or fluid figure rests on it, and what makes a figure doubtful.

Each function answers reasons of `dosing.science.reasons`: codes with their parts, no words.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from dosing.science.body import volume_ratio
from dosing.science.course import DAY, Counts, DeliveredCourse, SampleWay, Treatment, UreaPair
from dosing.science.course_fluid import Fluid, FluidBy
from dosing.science.due_days import usual_gap
from dosing.science.reasons import Reason

LATELY = 28
"""[days] over which the treatments a week that were really done are counted."""
LEAST_LATELY = 14
"""[days] in treatment from which that count says something (common practice, no source)."""
SHORT_TREATMENT = 300.0
"""[min] from which the urea reduction ratio says nothing of the dose: KDOQI 2006, guideline 2."""
PRE_EARLY, PRE_LATE = 12 * 60.0, 15.0
"""[min] before and after the start between which a sample before may be drawn (common practice, no source)."""
POST_LATE = 20.0
"""[min] after the end by which a protected sample must be drawn: the rebound from the organs is over then (common
practice, no source)."""
LATE_FROM, LATE_TO = 30.0, 60.0
"""[min] after the end between which a late sample is drawn."""
LEAST_RATIO, MOST_RATIO = 0.7, 1.1
"""Of a urea volume to Watson's body water, as `body.volume_ratio` says (common practice, no source)."""
STILL_SHARE = 0.15
"""Of a treatment in which the blood stood still, from which its length says too much (common practice, no source)."""
BIASED_FROM = 4.0
"""Treatments a week from which it matters on which of them bloods are drawn."""


FIGURE_NEAR = timedelta(minutes=10)
"""Of a noted low pressure within which a reading is its figure (common practice, no source); the phone's way through it
takes as old a one."""
CATHETER = "catheter"
"""The kind of access that has no needle."""


@dataclass(frozen=True, slots=True)
class Gap:
    """Days from the start of the treatment before to the start of this one, as the generation factor takes them.

    days: None where it is not known, as `why` says; usual: as prescribed, None without a prescription; not_entered:
    treatments that were due in between and are not there; others: what else makes it doubtful.
    """

    days: float | None
    usual: float | None
    why: Reason | None = None
    not_entered: int = 0
    others: tuple[Reason, ...] = ()


def gap_before(course: DeliveredCourse, treatment: Treatment) -> Gap:
    """The interval before a treatment. One that was broken off is no treatment before; absences hide what was done."""
    order = course.order_at(treatment.start)
    usual = usual_gap(treatment.day, order.due_by) if order else None
    last = course.before(treatment)
    if last is None:
        return _as_prescribed(usual, "first_treatment")
    between = list(course.days(last.day + DAY, treatment.day - DAY))
    if any(course.absent_on(day) for day in between):
        return _as_prescribed(usual, "away_between")
    days = (treatment.start - last.start) / DAY
    return Gap(days, usual, not_entered=sum(day in course.missing for day in between), others=tuple(_of_last(last)))


def _as_prescribed(usual: float | None, code: str) -> Gap:
    if usual is None:
        return Gap(None, None, why=Reason("no_interval"))
    return Gap(usual, usual, others=(Reason(code, days=round(usual, 1)),))


def _of_last(last: Treatment) -> Iterator[Reason]:
    if last.counts == Counts.RUNNING:
        yield Reason("open_before")
    elif last.counts == Counts.SHORT:
        yield Reason("short_before", minutes=round(last.minutes or 0), prescribed=last.prescribed_minutes or 0)


def not_counted_between(course: DeliveredCourse, treatment: Treatment) -> list[Treatment]:
    """What was broken off since the treatment before: it does not begin the interval anew."""
    last = course.before(treatment)
    earlier = (each for each in course.treatments if each.start < treatment.start and each.counts == Counts.BROKEN_OFF)
    return [each for each in earlier if last is None or each.start > last.start]


def fluid_doubts(fluid: Fluid) -> Iterator[Reason]:
    """Why the fluid of a treatment is doubtful."""
    if fluid.by == FluidBy.WEIGHTS:
        yield Reason("fluid_by_weights")
    elif fluid.by == FluidBy.READINGS:
        before_end = (fluid.minutes or 0) - (fluid.read_at or 0)
        yield Reason("fluid_by_reading", minutes=round(before_end))
    elif not fluid.balances:
        weights = fluid.by_weights if fluid.by_weights is not None else 0.0
        yield Reason("fluid_off_balance", total=fluid.total, weights=round(weights, 2))


def why_no_fluid(fluid: Fluid) -> Reason:
    """Why no way of knowing the fluid of a treatment is believed."""
    if fluid.by_readings is not None and fluid.read_at is not None and fluid.minutes:
        return Reason("fluid_read_early", minute=round(fluid.read_at), length=round(fluid.minutes))
    return Reason("not_noted", what="fluid_removed")


def length_doubts(treatment: Treatment) -> Iterator[Reason]:
    """Why the length of a treatment says too much of its dose, and whether it is written twice."""
    minutes, at_flow = treatment.minutes, treatment.at_flow
    if minutes and at_flow is not None and at_flow < (1 - STILL_SHARE) * minutes:
        yield Reason("stood_still", minutes=round(minutes - at_flow), length=round(minutes))
    if treatment.counts == Counts.TWICE:
        yield Reason("written_twice")


def access_doubts(treatment: Treatment) -> Iterator[Reason]:
    """Whether what is noted of the access agrees: the rebound of a catheter is another than that of needles."""
    if treatment.access == CATHETER and treatment.needle is not None:
        yield Reason("needle_with_catheter", gauge=treatment.needle)


def pressure_doubts(drops: Sequence[datetime], read: Sequence[datetime]) -> Iterator[Reason]:
    """Whether a low pressure was noted without a figure near it. drops: without a figure; read: moments of figures."""
    bare = [each for each in drops if not any(abs(at - each) <= FIGURE_NEAR for at in read)]
    if bare:
        yield Reason("drop_without_figure", count=len(bare))


def pre_sample_doubts(pair: UreaPair, treatment: Treatment) -> Iterator[Reason]:
    """Whether the sample before was drawn before."""
    after_start = (pair.pre_at - treatment.start) / timedelta(minutes=1)
    if after_start > PRE_LATE:
        yield Reason("pre_sample_late", minutes=round(after_start))
    elif after_start < -PRE_EARLY:
        yield Reason("pre_sample_early", hours=round(-after_start / 60))


def post_sample_doubts(pair: UreaPair) -> Iterator[Reason]:
    """Whether the sample after was drawn when its way says."""
    minutes = pair.minutes_after
    if pair.way == SampleWay.LATE:
        if minutes is None:
            yield Reason("late_sample_without_time")
        elif not LATE_FROM <= minutes <= LATE_TO:
            yield Reason("late_sample_off", minutes=round(minutes))
    elif minutes is not None and not -POST_LATE <= minutes <= POST_LATE:
        yield Reason("post_sample_off", minutes=round(minutes))


def volume_doubts(course: DeliveredCourse, treatment: Treatment, dose: float) -> Iterator[Reason]:
    """Whether the volume that a dose stands for with the clearance delivered, V = K t / dose, fits the body.

    dose: single-pool Kt/V [1], whose V lies some per cent below that of two pools.
    """
    if treatment.clearance is None or treatment.at_flow is None or treatment.post_weight_kg is None or dose <= 0:
        return
    modelled = treatment.clearance.ml_min * treatment.at_flow / 1000 / dose
    yield from volume_unlike_body(course, modelled, weight_kg=treatment.post_weight_kg, on=treatment.day)


def volume_unlike_body(course: DeliveredCourse, volume_l: float, *, weight_kg: float, on: date) -> Iterator[Reason]:
    """Whether a urea volume [L] lies far from Watson's body water for the patient on a day."""
    water = course.person.body_water(weight_kg=weight_kg, on=on)
    ratio = volume_ratio(modelled_l=volume_l, watson_l=water.value).number
    if ratio is not None and not LEAST_RATIO <= ratio <= MOST_RATIO:
        yield Reason("volume_unlike_body", litres=round(volume_l, 1), percent=round(100 * ratio))


@dataclass(frozen=True, slots=True)
class Frequency:
    """Treatments a week before a treatment, this one counted. done: really done, in so many days in treatment."""

    per_week: float | None
    days: int
    done: int
    not_entered: int
    as_prescribed: bool


def frequency_at(course: DeliveredCourse, treatment: Treatment) -> Frequency:
    """Treatments a week that were really done in the last four weeks in treatment; as prescribed before there are two.

    per_week: at most 7; None where neither records nor a prescription say it.
    """
    first = max(course.first_day, treatment.day - (LATELY - 1) * DAY, course.records_since or treatment.day)
    days = course.in_treatment(first, treatment.day)
    done = [each for each in course.counted if first <= each.day <= treatment.day]
    not_entered = sum(first <= day <= treatment.day for day in course.missing)
    if len(days) < LEAST_LATELY:
        order = course.order_at(treatment.start)
        return Frequency(order.per_week if order else None, len(days), len(done), not_entered, as_prescribed=True)
    return Frequency(min(7.0, 7 * len(done) / len(days)), len(days), len(done), not_entered, as_prescribed=False)


def frequency_doubts(found: Frequency) -> Iterator[Reason]:
    """Why the treatments a week are doubtful."""
    if found.as_prescribed:
        yield Reason("prescribed_frequency", days=LEAST_LATELY)
    if found.not_entered:
        yield Reason("due_not_entered_lately", count=found.not_entered, days=LATELY)


def week_doubts(course: DeliveredCourse, treatment: Treatment) -> Iterator[Reason]:
    """Whether bloods are from the last treatment before the longest interval, where the weekly equation reads high."""
    order = course.order_at(treatment.start)
    if order is None or order.per_week < BIASED_FROM or treatment.day.weekday() not in order.weekdays:
        return
    if place_in_week(treatment.day.weekday(), order.weekdays) == "last":
        yield Reason("last_of_week")


def place_in_week(weekday: int, weekdays: tuple[int, ...]) -> str:
    """Where a treatment stands to the longest interval of the week: "first" after it, "last" before it, "between".

    >>> [place_in_week(day, (0, 1, 2, 3, 4)) for day in range(5)]
    ['first', 'between', 'between', 'between', 'last']
    >>> place_in_week(2, (0, 1, 2, 3, 4, 5, 6))
    'between'
    """
    days = sorted(weekdays)
    gaps = [(day - days[at - 1]) % 7 or 7 for at, day in enumerate(days)]
    if min(gaps) == max(gaps):
        return "between"
    at = days.index(weekday)
    if gaps[at] == max(gaps):
        return "first"
    return "last" if gaps[(at + 1) % len(days)] == max(gaps) else "between"
