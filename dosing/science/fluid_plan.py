"""The ways in which tonight's fluid stays under a UF-rate limit without leaving the prescription.

Two things may give: the length, up to the longest that the prescription allows, and the volume, of which a part is
left for the next treatment. Nothing here chooses, and nothing here changes a prescription. The bedside app computes
the same, in the same order of operations, so that a phone without a network shows the same last digit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from dosing.science.checks import quiet, within
from dosing.science.fluid import minutes_to_stay_under, uf_rate, uf_volume_plan, uf_volume_under_limit
from dosing.science.reasons import Reason
from dosing.science.results import Measure, as_float, measure

__all__ = ["FluidChoice", "FluidPlan", "longer_minutes", "plan_fluid", "volume_within_limit"]

WHOLE_MINUTES = 5.0
"""[min] A longer treatment is named in whole steps of this (common practice, no source)."""
WHOLE_LITRES_PER_L = 10.0
"""[1/L] A smaller volume is named in whole tenths of a litre, rounded down (common practice, no source)."""
SLACK = 1e-9
"""Half a rounding error is no reason for a longer treatment: both roundings and `over` forgive this much."""


@quiet
def longer_minutes(
    *,
    uf_l: ArrayLike,
    minutes: ArrayLike,
    max_minutes: ArrayLike,
    limit_ml_kg_h: ArrayLike,
    weight_after_kg: ArrayLike,
) -> Measure:
    """Length at which the whole volume comes off under a rate limit, in steps of 5 minutes, rounded up [min].

    uf_l: 0 to 10 L; minutes, max_minutes: prescribed and longest allowed, 30 to 900; limit_ml_kg_h: 1 to 30;
    weight_after_kg: 20 to 300 kg. Shapes broadcast. Never shorter than prescribed; unknown where even the longest
    allowed would pass the limit. Source: inverse of `fluid.uf_rate` (Flythe 2011); the steps are common practice.

    >>> longer_minutes(uf_l=3, minutes=240, max_minutes=300, limit_ml_kg_h=10, weight_after_kg=70).number
    260.0
    """
    uf, t, longest, limit, weight = as_float(uf_l, minutes, max_minutes, limit_ml_kg_h, weight_after_kg)
    needed = minutes_to_stay_under(uf_l=uf, limit_ml_kg_h=limit, post_weight_kg=weight)
    whole = np.ceil(needed.value / WHOLE_MINUTES - SLACK) * WHOLE_MINUTES
    checks = needed.problems()
    checks += within(30, 900, "minutes", prescribed_time=t, longest_time=longest)
    checks.append((longest < t, Reason("longest_under_prescribed")))
    checks.append((needed.value > longest + SLACK, Reason("longest_passes_limit")))
    return measure(np.maximum(np.minimum(whole, longest), t), "min", checks)


@quiet
def volume_within_limit(
    *, uf_l: ArrayLike, minutes: ArrayLike, limit_ml_kg_h: ArrayLike, weight_after_kg: ArrayLike
) -> Measure:
    """The part of a volume that comes off under a rate limit in a given time, in tenths of a litre, rounded down [L].

    uf_l: the whole volume, 0 to 10 L; minutes: 30 to 900; limit_ml_kg_h: 1 to 30; weight_after_kg: the weight when
    all of it is off, 20 to 300 kg, which is the careful choice: what is left makes the weight higher and the rate
    lower. Shapes broadcast. The whole volume where it keeps under the limit.
    Source: inverse of `fluid.uf_rate` (Flythe 2011); the steps are common practice.

    >>> volume_within_limit(uf_l=3.4, minutes=240, limit_ml_kg_h=10, weight_after_kg=70).number
    2.8
    """
    uf, t, limit, weight = as_float(uf_l, minutes, limit_ml_kg_h, weight_after_kg)
    most = uf_volume_under_limit(minutes=t, limit_ml_kg_h=limit, post_weight_kg=weight)
    checks = most.problems()
    checks += within(0, 10, "L", fluid_to_remove=uf)
    tenths = np.floor(most.value * WHOLE_LITRES_PER_L + SLACK) / WHOLE_LITRES_PER_L
    return measure(np.where(uf <= most.value + SLACK, uf, tenths), "L", checks)


@dataclass(frozen=True, slots=True)
class FluidChoice:
    """One way: kind "as_prescribed", "longer", "leave_some" or "longer_and_leave"; what it takes and what it leaves.

    minutes [min]; uf_l [L]; left_kg: over the target afterwards [kg]; rate: per kilogram of target weight, which reads
    a little high where some is left: the careful side [mL/kg/h].
    """

    kind: str
    minutes: float
    uf_l: float
    left_kg: float
    rate: float


@dataclass(frozen=True, slots=True)
class FluidPlan:
    """The whole volume at the prescribed length, and the choices under the limit where it passes it.

    why: None, or the reason why there is no plan; then nothing else is to be read. at_most_over: whether even the
    longest allowed treatment passes the limit with the whole volume: a reason to ask the unit.
    """

    why: Reason | None
    uf_l: float = np.nan
    rate: float = np.nan
    over: bool = False
    at_most_over: bool = False
    choices: tuple[FluidChoice, ...] = ()


def plan_fluid(
    *,
    pre_weight_kg: float,
    target_weight_kg: float,
    rinse_back_l: float,
    intake_l: float,
    minutes: float,
    max_minutes: float,
    limit_ml_kg_h: float,
) -> FluidPlan:
    """Tonight's fluid for one patient: volume, rate, and the choices inside the prescription.

    Numbers, ranges and units as in `fluid.uf_volume_plan`, `longer_minutes` and `volume_within_limit`. The weight
    after, on which rates are judged, is taken to be the target. Source: the functions it calls.

    >>> plan = plan_fluid(pre_weight_kg=73, target_weight_kg=70, rinse_back_l=0.3, intake_l=0.2, minutes=240,
    ...                   max_minutes=330, limit_ml_kg_h=10)
    >>> [(choice.kind, choice.minutes, round(choice.uf_l, 2)) for choice in plan.choices]
    [('longer', 300.0, 3.5), ('leave_some', 240, 2.8)]
    """
    volume = uf_volume_plan(
        pre_weight_kg=pre_weight_kg, target_weight_kg=target_weight_kg, rinse_back_l=rinse_back_l, intake_l=intake_l
    )
    asked = _inside(minutes=minutes, max_minutes=max_minutes, limit_ml_kg_h=limit_ml_kg_h)
    if volume.number is None or asked is not None:
        return FluidPlan(volume.reason or asked)
    rate = uf_rate(uf_l=volume.number, minutes=minutes, post_weight_kg=target_weight_kg)
    if rate.number is None:
        return FluidPlan(rate.reason)
    if rate.number <= limit_ml_kg_h + SLACK:
        whole = FluidChoice("as_prescribed", minutes, volume.number, 0.0, rate.number)
        return FluidPlan(None, volume.number, rate.number, choices=(whole,))
    longer = longer_minutes(
        uf_l=volume.number,
        minutes=minutes,
        max_minutes=max_minutes,
        limit_ml_kg_h=limit_ml_kg_h,
        weight_after_kg=target_weight_kg,
    ).number
    choices = []
    if longer is not None:
        choices.append(_choice("longer", longer, volume.number, 0.0, target_weight_kg))
    elif max_minutes > minutes:
        choices.append(_less("longer_and_leave", max_minutes, volume.number, target_weight_kg, limit_ml_kg_h))
    choices.append(_less("leave_some", minutes, volume.number, target_weight_kg, limit_ml_kg_h))
    return FluidPlan(None, volume.number, rate.number, True, longer is None, tuple(choices))


@quiet
def _inside(*, minutes: float, max_minutes: float, limit_ml_kg_h: float) -> Reason | None:
    """Why a prescription is none that `longer_minutes` and `volume_within_limit` know, or None."""
    t, longest, limit = as_float(minutes, max_minutes, limit_ml_kg_h)
    checks = within(30, 900, "minutes", prescribed_time=t, longest_time=longest)
    checks += within(1, 30, "mL/kg/h", rate_limit=limit)
    checks.append((longest < t, Reason("longest_under_prescribed")))
    return measure(0.0, "1", checks).reason


def _less(kind: str, minutes: float, uf_l: float, target_kg: float, limit_ml_kg_h: float) -> FluidChoice:
    """Take off what the limit allows in a time and leave the rest."""
    part = volume_within_limit(uf_l=uf_l, minutes=minutes, limit_ml_kg_h=limit_ml_kg_h, weight_after_kg=target_kg)
    return _choice(kind, minutes, float(part.value), uf_l - float(part.value), target_kg)


def _choice(kind: str, minutes: float, uf_l: float, left_kg: float, target_kg: float) -> FluidChoice:
    rate = uf_rate(uf_l=uf_l, minutes=minutes, post_weight_kg=target_kg)
    return FluidChoice(kind, minutes, uf_l, left_kg, float(rate.value))
