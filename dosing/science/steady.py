"""The steady cycle of many patients at once: the fixed point of one cycle's affine map, and what it implies.

Concentrations are of plasma WATER for one unit of generation [mmol/L per mmol/min]: all are proportional to
it. ScheduleRows (patients or schedules) are the last axis inside and the first in answers.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dosing.science.pools import Passage, Phases, exposure, passage, transition
from dosing.science.reasons import Reason
from dosing.science.results import FloatArray, Measure, ReasonArray, answered, measure
from dosing.science.schedule import Cycle, ScheduleRows, lay_out, problems

NOT_FINITE = Reason("no_finite_answer")
PHASES_AT_ONCE = 4096
"""Phases worked on together: keeps their arrays in the processor's cache and the memory flat."""
_VARYING = ("volume", "slope", "clearance")


@dataclass(frozen=True, slots=True, eq=False)
class Steady:
    """The steady cycle for one unit of generation; every concentration is proportional to generation."""

    cycle: Cycle
    passage: Passage
    states: FloatArray
    """(Ce, Ci) at the start of each phase, shape (2, phases, rows) [mmol/L per mmol/min]"""

    def exposures(self) -> FloatArray:
        """Integral of Ce over each phase, (phases, rows)."""
        return exposure(self.cycle.phases, self.passage, self.states[0], self.states[1])


def _after(later: FloatArray, earlier: FloatArray) -> FloatArray:
    """One affine map after another, each (3, 3, rows)."""
    return np.asarray((later[:, :, None] * earlier[None]).sum(axis=1))


def fixed_point(whole: FloatArray) -> FloatArray:
    """Where one cycle's map leaves the state unchanged: (I - A)^-1 b, shape (2, rows)."""
    stay_e, stay_i = 1 - whole[0, 0], 1 - whole[1, 1]
    size = stay_e * stay_i - whole[0, 1] * whole[1, 0]
    outer = stay_i * whole[0, 2] + whole[0, 1] * whole[1, 2]
    inner = whole[1, 0] * whole[0, 2] + stay_e * whole[1, 2]
    return np.asarray(np.stack([outer, inner]) / size)


def steady_cycle(cycle: Cycle) -> Steady:
    """The state at the start of each phase that comes back after one cycle."""
    solutions = passage(cycle.phases)
    maps = transition(solutions)
    so_far = [np.broadcast_to(np.eye(3)[:, :, None], (3, 3, maps.shape[-1]))]
    for phase in range(maps.shape[2]):
        so_far.append(_after(maps[:, :, phase], so_far[-1]))
    start = fixed_point(so_far[-1])
    until = np.stack(so_far[:-1], axis=2)[:2]
    states = until[:, 0] * start[0] + until[:, 1] * start[1] + until[:, 2]
    return Steady(cycle=cycle, passage=solutions, states=states)


def _part_phases(steady: Steady, hours: FloatArray) -> tuple[NDArray[np.intp], Phases]:
    """For times (times, rows) in hours: the phase each falls in, and that phase up to the time."""
    cycle, full = steady.cycle, steady.cycle.phases
    elapsed = np.mod(hours * 60 - cycle.origin, cycle.minutes)
    which = (cycle.opens[:, None] <= elapsed).sum(axis=0) - 1
    at = {name: np.take_along_axis(getattr(full, name), which, axis=0) for name in _VARYING}
    minutes = elapsed - np.take_along_axis(cycle.opens, which, axis=0)
    return which, Phases(minutes=minutes, **at, exchange=full.exchange, turnover=full.turnover)


def states_at(steady: Steady, hours: FloatArray) -> FloatArray:
    """(Ce, Ci) at times (times, rows) in hours from the start of the cycle; shape (2, times, rows)."""
    which, part = _part_phases(steady, hours)
    maps = transition(passage(part))[:2]
    outer, inner = (np.take_along_axis(state, which, axis=0) for state in steady.states)
    return np.asarray(maps[:, 0] * outer + maps[:, 1] * inner + maps[:, 2])


def answerable(r: ScheduleRows) -> tuple[ScheduleRows, Cycle, ReasonArray]:
    """The rows that can be answered, their cycle, and for every row why not (None where it can)."""
    with np.errstate(all="ignore"):
        cycle = lay_out(r)
        why = measure(np.zeros(r.volume.shape), "", problems(r, cycle)).why
        good = answered(why)
        if not good.all():
            r = r.pick(good)
            cycle = lay_out(r)
    return r, cycle, why


def chunks(rows: int, phases: int) -> Iterator[slice]:
    """Slices of the rows that hold about PHASES_AT_ONCE phases each."""
    step = max(1, PHASES_AT_ONCE // max(1, phases))
    return (slice(first, min(first + step, rows)) for first in range(0, max(rows, 1), step))


def put(into: dict[str, FloatArray], numbers: dict[str, FloatArray], rows: slice, why: ReasonArray) -> None:
    """Numbers of the answerable rows of a chunk into their places; the other rows stay as they are."""
    for name, value in numbers.items():
        into[name][rows][answered(why)] = value


def told(values: FloatArray, unit: str, why: ReasonArray, gap: Reason = NOT_FINITE) -> Measure:
    """A measure of the shape of why; gap: the reason for a number that is missing although why names none.

    Measures of one answer share their reasons.
    """
    known = answered(why)
    value = np.where(known, values.reshape(why.shape), np.nan)
    lost = ~np.isfinite(value) & known
    if not lost.any():
        return Measure(value=value, unit=unit, why=why)
    reasons = why.copy()
    reasons[lost] = gap
    return Measure(value=np.where(lost, np.nan, value), unit=unit, why=reasons)
