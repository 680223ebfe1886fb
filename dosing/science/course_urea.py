"""A delivered course as the urea model takes it: treatments with clearance and fluid, pairs, and what is known before.

What the course does not say is taken from the patient's own other treatments: a clearance or a weight that is missing
is their middle. Days in hospital or away, on which somebody else treats the patient, are filled with treatments as
ordered, and so are a gap of more than a week, as nobody goes so long without, and the two weeks before records of less
than that. They carry urea from one treatment of ours to the next and count in no dose. A single treatment that was due
and is not there is taken as not done.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise
from statistics import median

import numpy as np

from dosing.science.body import expected_urea_volume
from dosing.science.course import DAY, Counts, DeliveredCourse, Order, SampleWay, Treatment, UreaPair
from dosing.science.delivered import RUN_IN, DeliveredTreatments
from dosing.science.delivered_fit import DeliveredFit, DeliveredPairs, UreaPrior, fit_delivered
from dosing.science.gate import post_sample_doubts, pre_sample_doubts
from dosing.science.kidney import plasma_water_clearance
from dosing.science.reasons import Reason

USUAL_GENERATION = 0.19
"""mmol/min where nothing is measured: about 1 g of protein per kg and day at 70 kg (common practice, no source)."""
WATER_OF_WEIGHT = 0.58
"""Share of the weight that is taken for the urea volume where the equations of body water do not reach."""
BESIDE_EQUATIONS = 0.20
"""Spread of the volume, as a logarithm, that is only a share of the weight (common practice, no source)."""
FAR_FROM_TARGET = 0.15
"""Share of the target weight beyond which a weight is not believed (common practice, no source)."""
LONGEST_WITHOUT = 7 * 24.0
"""[h] from start to start, beyond which treatments were done and not written down (common practice, no source)."""
MINUTE = 1 / 60
"""[h]"""


@dataclass(frozen=True, slots=True)
class Bout:
    """One treatment for the model: hours from the origin of the course, litres beyond the target weight."""

    key: str
    start: float
    hours: float
    clearance: float
    before: float | None
    after: float | None
    net: float | None
    kidney: float
    counts: bool


@dataclass(frozen=True, slots=True)
class CourseUrea:
    """What is fitted: the arrays, the pairs in their order, and how many treatments of others were filled in."""

    treatments: DeliveredTreatments
    pairs: DeliveredPairs
    drawn: tuple[UreaPair, ...]
    prior: UreaPrior
    filled_in: int


def course_urea(course: DeliveredCourse) -> CourseUrea | Reason:
    """The arrays of a course, or why it has none. Units: `DeliveredTreatments`, `DeliveredPairs`, `UreaPrior`."""
    order = course.orders[-1] if course.orders else None
    if order is None:
        return Reason("no_prescription")
    own = _own(course)
    if len(own) < 2:
        return Reason("few_treatments", least=2)
    bouts = sorted([*_before(course, own), *own, *_elsewhere(course, own)], key=lambda bout: bout.start)
    bouts = _apart(_with_fluid(bouts))
    drawn = _pairs(course, {bout.key for bout in bouts if bout.counts})
    places = {bout.key: at for at, bout in enumerate(bouts)}
    return CourseUrea(
        treatments=DeliveredTreatments(
            starts=[bout.start for bout in bouts],
            hours=[bout.hours for bout in bouts],
            clearance=[bout.clearance for bout in bouts],
            fluid_before=[_number(bout.before) for bout in bouts],
            fluid_after=[_number(bout.after) for bout in bouts],
            kidney_clearance=[bout.kidney for bout in bouts],
            counts=[bout.counts for bout in bouts],
        ),
        pairs=DeliveredPairs(
            treatment=np.array([places[pair.treatment] for pair in drawn], dtype=np.float64),
            pre=np.array([pair.pre for pair in drawn]),
            post=np.array([pair.post for pair in drawn]),
            post_delay=np.array([_delay(pair) for pair in drawn]),
        ),
        drawn=drawn,
        prior=prior_of(course, order.target_weight_kg),
        filled_in=len(bouts) - len(own),
    )


def fit_course(
    course: DeliveredCourse, data: CourseUrea, periods: Sequence[tuple[datetime, datetime]] = ()
) -> DeliveredFit:
    """The patient behind a course, and the dose of each period [from, until). data: the arrays of that course."""
    spans = [(course.hours(since), course.hours(until)) for since, until in periods]
    return fit_delivered(treatments=data.treatments, prior=data.prior, pairs=data.pairs, periods=spans)


def _own(course: DeliveredCourse) -> list[Bout]:
    """The treatments on record that have a length."""
    records = [each for each in course.treatments if each.counts != Counts.TWICE]
    known = [each.clearance.ml_min * _flowing(each) for each in records if each.clearance]
    usual = median(known) if known else None
    kidneys = _kidneys(course)
    found = (_bout(course, each, usual, kidneys) for each in records)
    return [bout for bout in found if bout is not None]


def _bout(course: DeliveredCourse, of: Treatment, usual: float | None, kidneys: float) -> Bout | None:
    minutes = of.minutes if of.minutes is not None else of.prescribed_minutes
    clearance = of.clearance.ml_min * _flowing(of) if of.clearance else usual
    if not minutes or minutes <= 0 or clearance is None:
        return None
    order = course.order_at(of.start) or course.orders[-1]
    return Bout(
        key=of.key,
        start=course.hours(of.start),
        hours=min(minutes / 60, 24.0),
        clearance=clearance,
        before=_beyond(of.pre_weight_kg, order),
        after=_beyond(of.post_weight_kg, order),
        net=of.fluid.net,
        kidney=_kidney_at(course, of.start, kidneys),
        counts=of.counted,
    )


def _flowing(of: Treatment) -> float:
    """Share of the treatment in which blood flowed."""
    return of.at_flow / of.minutes if of.at_flow is not None and of.minutes else 1.0


def _beyond(weight: float | None, order: Order) -> float | None:
    """Fluid beyond the target [L]; None where there is no weight, or one that cannot be."""
    if weight is None or abs(weight / order.target_weight_kg - 1) > FAR_FROM_TARGET:
        return None
    return weight - order.target_weight_kg


def _kidneys(course: DeliveredCourse) -> float:
    """Clearance of plasma before the first collection: what that one found; 0 where there is none [mL/min]."""
    known = (each.clearance for each in course.collections if each.clearance is not None)
    return next(known, 0.0)


def _kidney_at(course: DeliveredCourse, at: datetime, before: float) -> float:
    """Clearance of plasma WATER [mL/min]."""
    left = course.kidney_at(at)
    earlier = before if not any(each.ended <= at for each in course.collections) else 0.0
    return plasma_water_clearance(clearance_ml_min=left.clearance if left else earlier).number or 0.0


def _before(course: DeliveredCourse, own: Sequence[Bout]) -> Iterator[Bout]:
    """Two weeks of treatments as ordered before a course of less: who begins with us was treated elsewhere, or here
    without records, and what the first days alone say of a week would be a week half left out.
    """
    first = own[0]
    if own[-1].start - first.start >= RUN_IN:
        return
    begin = course.origin + first.start / 24 * DAY
    order = course.order_at(begin) or course.orders[-1]
    every = 7 * 24 / order.per_week
    for number in range(1, math.ceil(RUN_IN / every) + 1):
        yield _as_ordered(first, order, f"{first.key}-{number}", first.start - number * every)


def _as_ordered(like: Bout, order: Order, key: str, start: float) -> Bout:
    """A treatment that nobody recorded: it clears like one of ours and counts in no dose."""
    return replace(
        like, key=key, start=start, hours=order.minutes / 60, before=None, after=None, net=None, counts=False
    )


def _elsewhere(course: DeliveredCourse, own: Sequence[Bout]) -> Iterator[Bout]:
    """Treatments as ordered between two of ours: on days of an absence, and in a gap that nobody goes without."""
    for last, following in pairwise(own):
        begin = course.origin + last.start / 24 * DAY
        order = course.order_at(begin) or course.orders[-1]
        every = 7 * 24 / order.per_week
        at, number, long = last.start + every, 0, following.start - last.start > LONGEST_WITHOUT
        while at < following.start - every / 2:
            day = (course.origin + at / 24 * DAY).astimezone(begin.tzinfo).date()
            if long or course.absent_on(day):
                number += 1
                yield _as_ordered(last, order, f"{last.key}+{number}", at)
            at += every


def _with_fluid(bouts: list[Bout]) -> list[Bout]:
    """The same with fluid before and after each: by the scales, by what came off, by the usual gain."""
    ends = [bout.after for bout in bouts if bout.after is not None]
    usual_end = median(ends) if ends else 0.0
    gains = _usual_gain(bouts)
    found: list[Bout] = []
    for bout in bouts:
        after = usual_end if bout.after is None else bout.after
        before = bout.before
        if before is None and bout.net is not None:
            before = after + bout.net
        if before is None:
            last = found[-1] if found else None
            gap = bout.start - (last.start + last.hours) if last else 48.0
            before = _number(last.after if last else usual_end) + gains * max(0.0, gap) / 24
        if bout.after is None and bout.net is not None and bout.before is not None:
            after = before - bout.net
        found.append(replace(bout, before=before, after=after))
    return found


def _usual_gain(bouts: Sequence[Bout]) -> float:
    """[L/day] between treatments of ours; 1 where nothing is known (common practice, no source)."""
    daily = []
    for last, bout in pairwise(bouts):
        gap = (bout.start - last.start - last.hours) / 24
        if bout.before is not None and last.after is not None and 0.3 <= gap <= 5:
            daily.append((bout.before - last.after) / gap)
    return max(0.0, median(daily)) if daily else 1.0


def _apart(bouts: Sequence[Bout]) -> list[Bout]:
    """The same, each ended before the next begins: clocks and hands are off by minutes."""
    starts = [*(bout.start for bout in bouts[1:]), math.inf]
    kept = [replace(b, hours=min(b.hours, then - b.start - MINUTE)) for b, then in zip(bouts, starts, strict=True)]
    return [bout for bout in kept if bout.hours > 0]


def _pairs(course: DeliveredCourse, counted: set[str]) -> tuple[UreaPair, ...]:
    """The pairs that nothing speaks against: drawn when and as they should be, of treatments that count."""
    found = []
    for pair in course.pairs:
        treatment = course.treatment(pair.treatment)
        if treatment is None or pair.treatment not in counted or pair.way == SampleWay.UNPROTECTED:
            continue
        if not any((*pre_sample_doubts(pair, treatment), *post_sample_doubts(pair))):
            found.append(pair)
    return tuple(sorted(found, key=lambda pair: pair.pre_at))


def _delay(pair: UreaPair) -> float:
    """[min] from the end to the sample after. A protected one is drawn at the end whatever the clock says."""
    return pair.minutes_after or 0.0 if pair.way == SampleWay.LATE else 0.0


def prior_of(course: DeliveredCourse, weight: float) -> UreaPrior:
    """What is known of somebody of this sex, age, height and target weight [kg]."""
    water = course.person.body_water(weight_kg=weight, on=course.last_day)
    volume = expected_urea_volume(watson_l=water.value).number
    generation = USUAL_GENERATION * weight / 70
    if volume is None:
        return UreaPrior(volume=WATER_OF_WEIGHT * weight, generation=generation, volume_spread=BESIDE_EQUATIONS)
    return UreaPrior(volume=volume, generation=generation)


def _number(value: float | None) -> float:
    return math.nan if value is None else value
