"""What fluid a schedule would have to take off, night by night, and on what share of nights above a rate."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dosing.science.fluid_need import FluidNights, fluid_to_take_off
from dosing.science.results import FloatArray
from dosing.services.planner.patterns import Pattern

WANTED_SHARE = 0.9
"""Nine in ten: of the nights for the fluid, of what may come for the dose."""


@dataclass(frozen=True, slots=True)
class NightFluid:
    """One night of a schedule.

    day: of its pattern's cycle; gap_days: off treatment before it, end to start; usual_l and most_l: the mean, and what
    nine nights in ten do not pass [L]; usual_rate, most_rate: the same by hours and weight [mL/kg/h]; over: share of
    nights above the limit.
    """

    day: int
    gap_days: float
    usual_l: float
    most_l: float
    usual_rate: float
    most_rate: float
    over: float


@dataclass(frozen=True, slots=True)
class ScheduleFluid:
    """The nights of a schedule, in the order of its cycle."""

    nights: tuple[NightFluid, ...]

    @property
    def worst(self) -> NightFluid:
        """The night that has most to take off: on most schedules the one after the longest gap."""
        return max(self.nights, key=lambda night: night.most_rate)

    @property
    def over(self) -> float:
        """Share of all nights above the limit."""
        return float(np.mean([night.over for night in self.nights]))

    @property
    def usual_l(self) -> float:
        """Mean over the nights [L]."""
        return float(np.mean([night.usual_l for night in self.nights]))


def fluid_of(pattern: Pattern, minutes: float, nights: FluidNights, *, weight_kg: float, limit: float) -> ScheduleFluid:
    """Each night of a pattern at a length. weight_kg: after treatment; limit: [mL/kg/h]."""
    hours = minutes / 60
    gaps = np.array(pattern.gaps()) - hours / 24
    spread = fluid_to_take_off(nights=nights, gap_days=gaps)
    per_litre = 1000 / hours / weight_kg
    columns = (spread.mean, spread.stays_under(WANTED_SHARE), spread.share_over(limit / per_litre))
    return ScheduleFluid(
        tuple(
            NightFluid(day, gap, usual, most, usual * per_litre, most * per_litre, over)
            for day, gap, usual, most, over in zip(pattern.days, *map(np.ndarray.tolist, (gaps, *columns)), strict=True)
        )
    )


def rates_of(patterns: list[Pattern], hours: FloatArray, nights: FluidNights, *, weight_kg: float) -> FloatArray:
    """The rate that nine in ten of the hardest nights do not pass [mL/kg/h], (patterns, hours).

    What `ScheduleFluid.worst` says of each of them, all at once: a gap from start to start is looked at once.
    """
    starts = np.unique([gap for pattern in patterns for gap in pattern.gaps()])
    spread = fluid_to_take_off(nights=nights, gap_days=starts[:, None] - hours / 24)
    by_gap = spread.stays_under(WANTED_SHARE) * 1000 / hours / weight_kg
    rows = [by_gap[np.isin(starts, pattern.gaps())].max(axis=0) for pattern in patterns]
    return np.stack(rows)
