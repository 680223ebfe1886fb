"""Urea volume, generation and kidney clearance that explain a patient's bloods on a steady schedule.

Concentrations are proportional to generation, so the ratio of the bloods decides the volume, and log(ratio)
is nearly a straight line in 1/V: Gauss-Newton in 1/V, log G and log Kru settles in a few steps. Only V per
clearance is seen: a clearance that is 5 % too high makes V and G about 5 % too high.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dosing.science import sources as k
from dosing.science.observations import (
    Observations,
    ObservedRows,
    observation_problems,
    places_of,
    seen_rows,
    shape_of_fit,
)
from dosing.science.reasons import Reason
from dosing.science.results import Check, FloatArray, Measure, ReasonArray, answered, measure
from dosing.science.schedule import (
    MOST_GAIN,
    MOST_VOLUMES,
    PatientParameters,
    Schedule,
    ScheduleRows,
    batch_shape,
    lay_out,
    problems,
    rows_of,
)
from dosing.science.steady import (
    NOT_FINITE,
    chunks,
    exposure_between,
    put,
    states_at,
    steady_cycle,
    told,
)

MOST_STEPS = 30
SETTLED = 1e-9
"""Relative step of volume, generation and clearance below which the search ends."""
_PROBE = 1e-6
_AS_GIVEN = Reason("kidney_as_given")
_LEAST, _MOST = 5.0, 250.0
"""[L] between which the search looks; answers outside the range of `PatientParameters` are refused afterwards."""
_KIDNEY = (1e-3, 60.0)
"""[mL/min] the same for the clearance of the kidney."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit:
    """What explains the bloods best; each of the shape of the batch.

    The spreads are one standard deviation that errors of measurement alone would cause. They say nothing of a
    wrong clearance, of a schedule not kept, or of a week that was not steady.
    """

    volume: Measure
    """V at the end of treatment [L]"""
    generation: Measure
    """[mmol/min]"""
    kidney_clearance: Measure
    """of plasma water [mL/min]: fitted where urine was collected, else as given"""
    volume_spread: Measure
    generation_spread: Measure
    kidney_spread: Measure
    misfit: Measure
    """root mean square of the relative differences between results and model"""
    steps: NDArray[np.intp]
    """steps taken by the search; 0 where none was made"""

    def patient(self, *, observations: Observations) -> PatientParameters:
        """The fitted patient, for `weekly_steady_state`; where the fit is unknown, so will be the week."""
        return PatientParameters(
            volume=self.volume.value,
            generation=self.generation.value,
            kidney_clearance=self.kidney_clearance.value,
            fluid_gain=observations.fluid_gain,
            exchange=observations.exchange,
            extracellular_share=observations.extracellular_share,
        )


_UNITS = {
    "volume": "L",
    "generation": "mmol/min",
    "kidney_clearance": "mL/min",
    "volume_spread": "L",
    "generation_spread": "mmol/min",
    "kidney_spread": "mL/min",
    "misfit": "1",
}


@dataclass(frozen=True, slots=True, eq=False)
class _Task:
    """What the search compares: logarithms of the results, when they were drawn, and their weights."""

    rows: ScheduleRows
    hours: FloatArray
    """of each blood, (2 pairs, rows)"""
    results: FloatArray
    """log of bloods and, last, of urine: (2 pairs + 1, rows)"""
    weights: FloatArray
    seen: ObservedRows

    def pick(self, rows: NDArray[np.intp]) -> _Task:
        arrays = (self.hours[:, rows], self.results[:, rows], self.weights[:, rows])
        return _Task(self.rows.pick(rows), *arrays, self.seen.pick(rows))


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    """Where the search ended, (rows,)."""

    volume: FloatArray
    generation: FloatArray
    kidney: FloatArray
    spread: FloatArray
    """of log V, log G and log Kru, (3, rows)"""
    misfit: FloatArray
    steps: NDArray[np.intp]
    checks: list[Check]
    """what keeps a row from an answer"""


def _first_guess(r: ScheduleRows, seen: ObservedRows) -> ScheduleRows:
    """V from the clearance and the ratio alone; Kru from the collection and the mean of the bloods."""
    place, _ = places_of(r, seen)
    kt = np.take_along_axis(r.to_places(lay_out(r).clearance * r.hours).T, place, axis=0) * 60 / k.ML_PER_L
    volume = (kt / np.log(seen.pre / seen.post)).mean(axis=0, where=seen.paired)
    mean = (seen.pre + seen.post).mean(axis=0, where=seen.paired) / 2 / k.PLASMA_WATER
    kidney = seen.urine_urea / (mean * seen.collection_hours * 60) * k.ML_PER_L
    return replace(
        r,
        volume=np.clip(np.nan_to_num(volume, nan=35.0), 10, 100),
        kidney_clearance=np.where(seen.collected, np.clip(kidney, 0.05, 25), r.kidney_clearance),
    )


def _task(r: ScheduleRows, seen: ObservedRows) -> _Task:
    """What to compare for rows with a first guess in them."""
    place, _ = places_of(r, seen)
    begin, length = (np.take_along_axis(r.to_places(x).T, place, axis=0) for x in (r.starts, r.hours))
    paired = np.concatenate([seen.paired, seen.paired, seen.collected[None]])
    drawn = np.concatenate([seen.pre, seen.post, seen.urine_urea[None]])
    error = np.concatenate([np.broadcast_to(seen.blood_error, begin.shape)] * 2 + [seen.urine_error[None]])
    return _Task(
        rows=r,
        hours=np.concatenate([begin, begin + length + seen.post_delay / 60]),
        results=np.log(np.where(paired, drawn, 1.0)),
        weights=paired / error**2,
        seen=seen,
    )


def _expected(task: _Task, volume: FloatArray, kidney: FloatArray) -> FloatArray:
    """Logarithms of the results for one unit of generation, shape as the task's results."""
    moved = replace(task.rows, volume=volume, kidney_clearance=kidney)
    steady = steady_cycle(lay_out(moved))
    bloods = np.log(k.PLASMA_WATER * states_at(steady, task.hours)[0])
    urine = np.zeros_like(volume)
    collected = task.seen.collected
    if collected.any():
        start = np.where(collected, task.seen.collection_start, 0.0)
        hours = np.where(collected, task.seen.collection_hours, 1.0)
        lost = kidney / k.ML_PER_L * exposure_between(steady, start, hours)
        urine = np.log(np.where(collected, lost, 1.0))
    return np.concatenate([bloods, urine[None]])


def _slopes(task: _Task, volume: FloatArray, kidney: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Expected results and their slopes by log(1/V), log G and log Kru, (results, 3, rows)."""
    fitted = task.seen.collected
    trials = np.arange(3 if fitted.any() else 2)
    many = task.pick(np.tile(np.arange(volume.size), trials.size))
    smaller, more = 1 / (1 + _PROBE * (trials == 1)), 1 + _PROBE * (trials == 2)
    trial_volume, trial_kidney = np.outer(smaller, volume).ravel(), np.outer(more, kidney).ravel()
    logs = _expected(many, trial_volume, trial_kidney)
    logs = logs.reshape(logs.shape[0], trials.size, volume.size)
    slope = np.zeros((logs.shape[0], 3, volume.size))
    slope[:, 0] = (logs[:, 1] - logs[:, 0]) / _PROBE
    slope[:, 1] = task.weights > 0
    if fitted.any():
        slope[:, 2] = np.where(fitted, (logs[:, 2] - logs[:, 0]) / _PROBE, 0.0)
    return logs[:, 0], slope


def _normal(task: _Task, slope: FloatArray) -> FloatArray:
    """Matrix of the weighted least squares, (rows, 3, 3), never singular."""
    normal = np.einsum("opr,or,oqr->rpq", slope, task.weights, slope)
    # A clearance that is given keeps its value; bloods that say nothing of V must not stop the others.
    normal[:, 2, 2] += ~task.seen.collected
    ridge = 1e-14 * np.trace(normal, axis1=1, axis2=2)
    return np.asarray(normal + ridge[:, None, None] * np.eye(3))


def _least_volume(task: _Task) -> FloatArray:
    """V below which the model was not checked: it keeps the search where it can be trusted."""
    cycle = lay_out(task.rows)
    on = cycle.phases.minutes[1::2]
    cleared = (cycle.clearance / k.ML_PER_L * on).max(axis=0) / MOST_VOLUMES
    swing = (-cycle.phases.slope[1::2] * on).max(axis=0) / MOST_GAIN
    return np.asarray(np.maximum(_LEAST, np.maximum(cleared, swing)))


def _step(task: _Task, volume: FloatArray, kidney: FloatArray, made: FloatArray) -> tuple[FloatArray, ...]:
    """Wanted relative changes of 1/V, G and Kru (3, rows); what is left to explain; the normal matrix."""
    logs, slope = _slopes(task, volume, kidney)
    left, normal = task.results - logs - made, _normal(task, slope)
    wanted = np.einsum("opr,or,or->rp", slope, task.weights, left)
    return np.linalg.solve(normal, wanted[..., None])[..., 0].T, left, normal


def _search(task: _Task) -> _Found:
    """Gauss-Newton from the guess in the task's rows, each step held to between half and twice V."""
    volume, kidney, made = task.rows.volume, task.rows.kidney_clearance, np.zeros_like(task.rows.volume)
    least, fitted = _least_volume(task), task.seen.collected
    steps = np.zeros(volume.shape, dtype=np.intp)
    for _ in range(MOST_STEPS):
        (inverse, more, factor), left, normal = _step(task, volume, kidney, made)
        moved = np.clip(volume / (1 + np.clip(inverse, -0.5, 1.0)), least, _MOST)
        grown = np.where(fitted, np.clip(kidney * np.exp(np.clip(factor, -1, 1)), *_KIDNEY), kidney)
        turn = (grown - kidney) / np.maximum(kidney, _KIDNEY[0])
        settled = np.abs(np.stack([moved / volume - 1, more, turn])).max(axis=0) <= SETTLED
        volume, kidney, made = moved, grown, made + more
        steps += (steps == 0) | ~settled
        if settled.all():
            break
    stuck = (volume <= least) | (volume >= _MOST)
    return _Found(
        volume=volume,
        generation=np.exp(made),
        kidney=kidney,
        spread=np.sqrt(np.diagonal(np.linalg.inv(normal), axis1=1, axis2=2).T),
        misfit=np.sqrt((left**2).mean(axis=0, where=task.weights > 0)),
        steps=steps,
        checks=[
            (stuck, Reason("no_volume_explains")),
            (~settled, Reason("search_not_settled", steps=MOST_STEPS)),
        ],
    )


def _reasons(checks: list[Check], rows: int) -> ReasonArray:
    return measure(np.zeros(rows), "", checks).why


def _also(why: ReasonArray, later: ReasonArray) -> ReasonArray:
    """Reasons of all rows, with those found later for the rows that had none."""
    full = why.copy()
    full[answered(why)] = later
    return full


def _numbers(task: _Task, found: _Found, good: NDArray[np.bool_]) -> dict[str, FloatArray]:
    """The fields of `Fit` for those rows of the task that are answered."""
    spread_volume, spread_made, spread_kidney = found.spread
    named = {
        "volume": found.volume,
        "generation": found.generation,
        "kidney_clearance": found.kidney,
        "volume_spread": found.volume * spread_volume,
        "generation_spread": found.generation * spread_made,
        "kidney_spread": np.where(task.seen.collected, found.kidney * spread_kidney, np.nan),
        "misfit": found.misfit,
    }
    return {name: value[good] for name, value in named.items()}


def _reasons_after(task: _Task, found: _Found) -> ReasonArray:
    """What only the search could show: of every row of the task."""
    answer = replace(task.rows, volume=found.volume, generation=found.generation, kidney_clearance=found.kidney)
    outside = [(bad, Reason("fit_out_of_range", why=why)) for bad, why in problems(answer, lay_out(answer))]
    return _reasons(found.checks + outside, found.volume.size)


def _fit_rows(r: ScheduleRows, seen: ObservedRows) -> tuple[dict[str, FloatArray], ReasonArray, NDArray[np.intp]]:
    """Numbers of the rows that can be answered; of every row the reason why not, and the steps taken."""
    why = _reasons(observation_problems(r, seen), r.volume.size)
    r, seen = r.pick(answered(why)), seen.pick(answered(why))
    r = _first_guess(r, seen)
    before = _reasons(problems(r, lay_out(r)), r.volume.size)
    why = _also(why, before)
    task = _task(r.pick(answered(before)), seen.pick(answered(before)))
    found = _search(task)
    steps = np.zeros(why.shape, dtype=np.intp)
    steps[answered(why)] = found.steps
    after = _reasons_after(task, found)
    return _numbers(task, found, answered(after)), _also(why, after), steps


def fit(*, observations: Observations, schedule: Schedule) -> Fit:
    """Volume, generation and, from a urine collection, kidney clearance of the two-pool model.

    observations: paired bloods, see `Observations`; schedule: as treated, in steady state, see `Schedule`.
    Least squares of log(result/model) weighted with the errors of measurement; one pair is met exactly.
    ScheduleRows whose bloods, clearance and length cannot belong together are unknown and say why.
    Source: inverse of the model in `weekly_steady_state`; spread from the curvature of the sum of squares.

    >>> nights = Schedule(starts=[22], hours=8, cycle_days=2, clearance=161.37)
    >>> found = fit(schedule=nights, observations=Observations(treatment=[0], pre=[14.535], post=[2.9886],
    ...                                                        fluid_gain=1.44))
    >>> round(found.volume.number, 2), round(found.generation.number, 3)
    (35.0, 0.191)
    """
    batch, pairs, patient = shape_of_fit(observations, schedule)
    places = batch_shape(schedule=schedule, patient=patient)[1]
    rows = {name: np.full(math.prod(batch), np.nan) for name in _UNITS}
    reasons, taken = [], []
    for chosen in chunks(math.prod(batch), 3 * (2 * places + 2 * pairs)):
        seen = seen_rows(observations, batch=batch, pairs=pairs, rows=chosen)
        with np.errstate(all="ignore"):
            numbers, why, steps = _fit_rows(rows_of(schedule=schedule, patient=patient, rows=chosen), seen)
        put(rows, numbers, chosen, why)
        reasons.append(why)
        taken.append(steps)
    why = np.concatenate(reasons).reshape(batch)
    gaps = {"kidney_spread": _AS_GIVEN}
    found = {name: told(rows[name], unit, why, gaps.get(name, NOT_FINITE)) for name, unit in _UNITS.items()}
    return Fit(**found, steps=np.concatenate(taken).reshape(batch))
