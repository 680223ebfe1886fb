"""What a patient's delivered treatments tell of fluid, and how the share of nights above the limit was foretold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise

import numpy as np

from dosing.science.course import DAY, Counts, DeliveredCourse, Order, Treatment
from dosing.science.fluid_need import FluidNights, fluid_nights
from dosing.services.planner.fluid_of_schedule import fluid_of
from dosing.services.planner.patterns import pattern_of
from sessions.facts.months import first_of, months_between

GAINS_COUNT_FOR = timedelta(days=60)
FEWEST = 6
"""Nights with a known gain from which a month is held against what was foretold (no source)."""


@dataclass(frozen=True, slots=True)
class Gain:
    """One treatment after another: what was gained between them, end to start, and what came in during it [L].

    given_l: None where the record does not tell.
    """

    of: Treatment
    gap_days: float
    gained_l: float
    given_l: float | None

    def rate_needed(self, usual_given: float, order: Order) -> float:
        """What had to come off to bring back the weight, over the prescribed hours [mL/kg/h]."""
        given = usual_given if self.given_l is None else self.given_l
        return 1000 * (self.gained_l + given) / (order.minutes / 60) / order.target_weight_kg

    @property
    def rate_taken(self) -> float | None:
        """What the machine really took off, over the hours that it was [mL/kg/h]."""
        litres, minutes, weight = self.of.fluid.taken_off, self.of.minutes, self.of.post_weight_kg
        return 1000 * litres / (minutes / 60) / weight if litres is not None and minutes and weight else None


def gains_of(course: DeliveredCourse) -> tuple[Gain, ...]:
    """Each treatment whose gain is known, in order of time.

    Left out is what may hide a treatment: a gap in which one was due and is not there, hospital, or days away.
    """
    records = [each for each in course.treatments if each.counts != Counts.TWICE]
    return tuple(gain for before, after in pairwise(records) if (gain := _gain(course, before, after)))


def _gain(course: DeliveredCourse, before: Treatment, after: Treatment) -> Gain | None:
    if before.end is None or before.post_weight_kg is None or after.pre_weight_kg is None:
        return None
    if any(_unclear(course, day) for day in course.days(before.day + DAY, after.day)):
        return None
    gap = (after.start - before.end) / DAY
    return Gain(after, gap, after.pre_weight_kg - before.post_weight_kg, _given(after)) if gap > 0 else None


def _unclear(course: DeliveredCourse, day: date) -> bool:
    return day in course.missing or course.absent_on(day) is not None


def _given(treatment: Treatment) -> float | None:
    """What came in during it, less what went by breath and sweat: by the scales where the machine's total is known."""
    fluid = treatment.fluid
    if not treatment.counted:
        return None
    if fluid.total is not None and fluid.weight_lost is not None:
        return fluid.total - fluid.weight_lost
    return fluid.given if fluid.rinse_back_known else None


def nights_before(gains: Sequence[Gain], until: datetime, weight_kg: float) -> FluidNights:
    """What the treatments of the two months before a moment tell, for a target weight."""
    tells = [each for each in gains if until - GAINS_COUNT_FOR <= each.of.start < until]
    return fluid_nights(
        gap_days=[each.gap_days for each in tells],
        gained_l=[each.gained_l for each in tells],
        given_l=[np.nan if each.given_l is None else each.given_l for each in tells],
        weight_kg=weight_kg,
    )


def nights_now(course: DeliveredCourse, weight_kg: float) -> FluidNights:
    """What the last treatments of a course tell, for a target weight."""
    return nights_before(gains_of(course), course.until, weight_kg)


@dataclass(frozen=True, slots=True)
class FluidCheck:
    """A month beside what the treatments before it foretold.

    nights: with a known gain, under the prescription with which the month began; from_nights: what it was foretold
    from. foretold, needed: share of nights that need more than the limit; ran: that really ran above it, None where no
    rate is known. foretold_l, taken_l: mean fluid of a night [L].
    """

    month: date
    nights: int
    done: int
    from_nights: int
    foretold: float
    needed: float
    ran: float | None
    foretold_l: float
    taken_l: float | None


def fluid_held_against(course: DeliveredCourse) -> list[FluidCheck]:
    """Each month of the course, from its second on, that has enough nights, oldest first."""
    gains = gains_of(course)
    months = months_between(first_of(course.first_day), first_of(course.last_day))[1:]
    checks = (_check(course, gains, month) for month in months)
    return [check for check in checks if check]


def _check(course: DeliveredCourse, gains: Sequence[Gain], month: date) -> FluidCheck | None:
    came = [each for each in gains if first_of(each.of.day) == month and each.of.counted]
    order = course.order_at(came[0].of.start) if came else None
    if order is None or order.uf_rate_limit is None:
        return None
    came = [each for each in came if order.holds(each.of.start)]
    before = nights_before(gains, came[0].of.start, order.target_weight_kg)
    if len(came) < FEWEST or before.gap_days.size < FEWEST:
        return None
    try:
        pattern = pattern_of(order.per_week, order.weekdays)
    except ValueError:
        return None
    limit, given = order.uf_rate_limit, before.usual_given
    foretold = fluid_of(pattern, order.minutes, before, weight_kg=order.target_weight_kg, limit=limit)
    rates = [rate for each in came if (rate := each.rate_taken) is not None]
    taken = [litres for each in came if (litres := each.of.fluid.taken_off) is not None]
    return FluidCheck(
        month=month,
        nights=len(came),
        done=sum(first_of(each.day) == month for each in course.counted),
        from_nights=int(before.gap_days.size),
        foretold=foretold.over,
        needed=float(np.mean([each.rate_needed(given, order) > limit for each in came])),
        ran=float(np.mean([rate > limit for rate in rates])) if rates else None,
        foretold_l=foretold.usual_l,
        taken_l=float(np.mean(taken)) if taken else None,
    )
