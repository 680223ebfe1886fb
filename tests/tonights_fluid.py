"""Tonight's fluid worked out in plain Python: what the script of the bedside is held to, digit by digit.

It shares only the rate with the product, whose figure the unit sees. The order of the operations is that of the script,
so that binary numbers round alike. Mass balance, and the inverse of the rate; steps of five minutes and of a tenth of a
litre are common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from dosing.science.fluid import uf_rate

SLACK = 1e-9
"""Half a rounding error is no reason for a longer treatment."""


@dataclass(frozen=True, slots=True)
class FluidChoice:
    """One way: kind "as_prescribed", "longer", "leave_some" or "longer_and_leave"; what it takes and what it leaves.

    minutes [min]; uf_l [L]; left_kg: over the target afterwards [kg]; rate: per kilogram of target weight [mL/kg/h].
    """

    kind: str
    minutes: float
    uf_l: float
    left_kg: float
    rate: float


@dataclass(frozen=True, slots=True)
class FluidPlan:
    """The whole volume [L] at the prescribed length, and the choices under the limit where it passes it."""

    uf_l: float
    rate: float
    over: bool
    at_most_over: bool
    choices: tuple[FluidChoice, ...]


def plan_fluid(
    *, pre: float, target: float, rinse: float, drinks: float, minutes: float, longest: float, limit: float
) -> FluidPlan | None:
    """The plan of one evening, or None where there is none: under the target, or beyond what the phone takes.

    Weights in kg, volumes in L, lengths in min, limit in mL/kg/h.

    >>> plan = plan_fluid(pre=73, target=70, rinse=0.3, drinks=0.2, minutes=240, longest=330, limit=10)
    >>> [(choice.kind, choice.minutes, round(choice.uf_l, 2)) for choice in plan.choices]
    [('longer', 300.0, 3.5), ('leave_some', 240, 2.8)]
    """
    volume = pre - target + rinse + drinks
    if not _possible(pre, target, rinse, drinks) or volume < 0:
        return None
    rate = _rate(volume, minutes, target)
    if rate is None or not (30 <= longest <= 900 and 1 <= limit <= 30 and longest >= minutes):
        return None
    if rate <= limit + SLACK:
        return FluidPlan(volume, rate, False, False, (FluidChoice("as_prescribed", minutes, volume, 0.0, rate),))
    needed = volume * 1000 * 60 / (limit * target)
    whole = max(minutes, min(longest, math.ceil(needed / 5 - SLACK) * 5.0))
    enough = needed <= longest + SLACK
    choices = []
    if enough:
        choices.append(_choice("longer", whole, volume, 0.0, target))
    elif longest > minutes:
        choices.append(_less("longer_and_leave", longest, volume, target, limit))
    choices.append(_less("leave_some", minutes, volume, target, limit))
    return FluidPlan(volume, rate, True, not enough, tuple(choices))


def _possible(pre: float, target: float, rinse: float, drinks: float) -> bool:
    weights = 20 <= pre <= 300 and 20 <= target <= 300 and abs(pre - target) <= 0.2 * target
    return weights and 0 <= rinse <= 2 and 0 <= drinks <= 5


def _rate(uf_l: float, minutes: float, target: float) -> float | None:
    return uf_rate(uf_l=uf_l, minutes=minutes, post_weight_kg=target).number


def _less(kind: str, minutes: float, uf_l: float, target: float, limit: float) -> FluidChoice:
    """Take off what the limit allows in a time, in tenths of a litre rounded down, and leave the rest."""
    most = limit * target * minutes / (60 * 1000)
    part = uf_l if uf_l <= most + SLACK else math.floor(most * 10 + SLACK) / 10
    return _choice(kind, minutes, part, uf_l - part, target)


def _choice(kind: str, minutes: float, uf_l: float, left_kg: float, target: float) -> FluidChoice:
    rate = _rate(uf_l, minutes, target)
    assert rate is not None
    return FluidChoice(kind, minutes, uf_l, left_kg, rate)
