"""Two-pool urea kinetics of a repeating schedule: the steady week, and the curve through it.

Three things are called urea concentration. Here `_water` is plasma WATER, what the model moves; `_plasma`
is what a laboratory reports, 0.93 of it; a dialyser clearance counts blood-WATER, a kidney clearance plasma
water. V is the volume at the END of a treatment; all urea is made in the extracellular pool, which also
carries all fluid gained. One cycle is an affine map of the two concentrations: its fixed point is the steady
week, no weeks are run in.

Source of the model: Vartia, doctoral thesis on continuous-equivalent urea clearances, section 4.2.1 (seen);
its exact passage of one phase: `dosing.science.pools`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from dosing.science import sources as k
from dosing.science.reasons import Reason
from dosing.science.results import FloatArray, Measure, ReasonArray, answered
from dosing.science.schedule import PatientParameters, Schedule, ScheduleRows, batch_shape, flat, rows_of, weekly_starts
from dosing.science.steady import Steady, answerable, chunks, put, states_at, steady_cycle, told

__all__ = [
    "Curve",
    "PatientParameters",
    "Schedule",
    "SteadyWeek",
    "concentration_curve",
    "in_plasma",
    "weekly_starts",
    "weekly_steady_state",
]


def in_plasma(water: Measure) -> Measure:
    """Plasma concentration as a laboratory reports it, 0.93 of that in plasma water. Same unit and shape."""
    return Measure(value=k.PLASMA_WATER * water.value, unit=water.unit, why=water.why)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SteadyWeek:
    """The week that repeats itself; shape (...) of the batch, or (..., treatments) as in the schedule."""

    pre_water: Measure
    """urea in plasma water at the start of each treatment [mmol/L]"""
    post_water: Measure
    """at its end, before any rebound"""
    equilibrated_water: Measure
    """at its end, if the pools were mixed"""
    mean_pre_water: Measure
    """peak average: mean of pre_water over the treatments of the cycle [mmol/L]"""
    time_average_water: Measure
    """integral over the cycle divided by its length [mmol/L]"""
    standard_ktv: Measure
    """G x 10080/(mean_pre_water V) [1/wk]"""
    equivalent_clearance: Measure
    """EKR = G/time_average_water [mL/min of plasma water], kidney included"""
    equivalent_ktv: Measure
    """EKR x 10080/V [1/wk]"""
    kidney_share: Measure
    """share of the urea that leaves by the kidney"""
    balance_error: Measure
    """(made - removed)/made over the cycle: how far the solution fails its own mass balance"""
    clearance: Measure
    """blood-water clearance Kd of each treatment [mL/min]"""
    ultrafiltration: Measure
    """fluid removed by each treatment [L]"""

    @property
    def pre_plasma(self) -> Measure:
        return in_plasma(self.pre_water)

    @property
    def post_plasma(self) -> Measure:
        return in_plasma(self.post_water)

    @property
    def equilibrated_plasma(self) -> Measure:
        return in_plasma(self.equilibrated_water)

    @property
    def mean_pre_plasma(self) -> Measure:
        return in_plasma(self.mean_pre_water)

    @property
    def time_average_plasma(self) -> Measure:
        return in_plasma(self.time_average_water)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curve:
    """Concentrations at chosen times of the steady week, shape (..., times) [mmol/L of plasma water]."""

    extracellular_water: Measure
    intracellular_water: Measure

    @property
    def plasma(self) -> Measure:
        return in_plasma(self.extracellular_water)


_ROW_UNITS = {
    "mean_pre_water": "mmol/L",
    "time_average_water": "mmol/L",
    "standard_ktv": "1/wk",
    "equivalent_clearance": "mL/min",
    "equivalent_ktv": "1/wk",
    "kidney_share": "1",
    "balance_error": "1",
}
_TREATMENT_UNITS = {
    "pre_water": "mmol/L",
    "post_water": "mmol/L",
    "equilibrated_water": "mmol/L",
    "clearance": "mL/min",
    "ultrafiltration": "L",
}


def _per_row(r: ScheduleRows, steady: Steady) -> dict[str, FloatArray]:
    cycle = steady.cycle
    mean_pre = steady.states[0, 1::2].mean(axis=0, where=r.treated)
    exposures = steady.exposures()
    total = exposures.sum(axis=0)
    removed = (cycle.phases.clearance * exposures).sum(axis=0)
    weeks = k.MINUTES_PER_WEEK / r.volume
    return {
        "mean_pre_water": r.generation * mean_pre,
        "time_average_water": r.generation * total / cycle.minutes,
        "standard_ktv": weeks / mean_pre,
        "equivalent_clearance": k.ML_PER_L * cycle.minutes / total,
        "equivalent_ktv": weeks * cycle.minutes / total,
        "kidney_share": r.kidney_clearance / k.ML_PER_L * total / cycle.minutes,
        "balance_error": 1 - removed / cycle.minutes,
    }


def _per_treatment(r: ScheduleRows, steady: Steady) -> dict[str, FloatArray]:
    post = np.roll(steady.states[:, ::2], -1, axis=1)
    mixed = r.extracellular_share * post[0] + (1 - r.extracellular_share) * post[1]
    in_time = {
        "pre_water": r.generation * steady.states[0, 1::2],
        "post_water": r.generation * post[0],
        "equilibrated_water": r.generation * mixed,
        "clearance": steady.cycle.clearance,
        "ultrafiltration": steady.cycle.drained,
    }
    return {name: r.to_places(np.where(r.treated, value, np.nan)) for name, value in in_time.items()}


MOST_IMBALANCE = 1e-6
"""Share of the urea made that a steady week may fail to remove: beyond it the arithmetic was lost."""


def _in_balance(numbers: dict[str, FloatArray], why: ReasonArray) -> ReasonArray:
    """Reasons of all rows, with those whose answer fails its own mass balance."""
    off = np.abs(numbers["balance_error"]) > MOST_IMBALANCE
    if not off.any():
        return why
    full = why.copy()
    full[np.flatnonzero(answered(why))[off]] = Reason("balance_not_met")
    return full


def _why_of_places(schedule: Schedule, why: ReasonArray, places: int) -> ReasonArray:
    """The reason of each row for each of its places, and of the places that hold no treatment."""
    per_place = np.broadcast_to(why[..., None], (*why.shape, places))
    empty = np.isnan(np.asarray(schedule.starts, dtype=np.float64)) & answered(per_place)
    if not empty.any():
        return per_place
    why_each = per_place.copy()
    why_each[empty] = Reason("no_treatment_here")
    return why_each


def weekly_steady_state(*, schedule: Schedule, patient: PatientParameters) -> SteadyWeek:
    """The steady state of a repeating schedule in the two-pool, variable-volume urea model.

    schedule, patient: see `Schedule` and `PatientParameters` for symbols, units and ranges; one or many of each, shapes
    broadcast. ScheduleRows outside the ranges are unknown and say why; the others are answered.
    Relative error below 1e-9 in the stated ranges, near 1e-13 for usual prescriptions; the tests compare with
    a general solver. Real weeks are not steady: this is what a prescription leads to.

    >>> thrice = Schedule(starts=weekly_starts(days=[0, 2, 4], at=8), hours=4, koa=800, blood_flow=300,
    ...                   dialysate_flow=500)
    >>> week = weekly_steady_state(schedule=thrice, patient=PatientParameters(volume=35, generation=5.35/28.0134,
    ...                                                             fluid_gain=1.44))
    >>> round(week.standard_ktv.number, 4)
    2.4561
    """
    batch, places = batch_shape(schedule=schedule, patient=patient)
    count = math.prod(batch)
    rows = {name: np.full(count, np.nan) for name in _ROW_UNITS}
    each = {name: np.full((count, places), np.nan) for name in _TREATMENT_UNITS}
    reasons = []
    for chosen in chunks(count, 2 * places):
        good, cycle, why = answerable(rows_of(schedule=schedule, patient=patient, rows=chosen))
        steady = steady_cycle(cycle)
        per_row = _per_row(good, steady)
        put(rows, per_row, chosen, why)
        put(each, _per_treatment(good, steady), chosen, why)
        reasons.append(_in_balance(per_row, why))
    why = np.concatenate(reasons).reshape(batch)
    why_each = _why_of_places(schedule, why, places)
    told_rows = {name: told(rows[name], unit, why) for name, unit in _ROW_UNITS.items()}
    told_each = {name: told(each[name], unit, why_each) for name, unit in _TREATMENT_UNITS.items()}
    return SteadyWeek(**told_rows, **told_each)


def concentration_curve(*, schedule: Schedule, patient: PatientParameters, hours: ArrayLike) -> Curve:
    """Urea in both pools at chosen times of the steady week.

    hours: from the start of the cycle, shape (times,) or (..., times); any time, the cycle repeats. At the
    moment a treatment starts it gives the concentration before, at its end the one after.
    Ranges, errors and source: `weekly_steady_state`.

    >>> nights = Schedule(starts=[22], hours=8, cycle_days=2, clearance=160)
    >>> patient = PatientParameters(volume=35, generation=0.19)
    >>> curve = concentration_curve(schedule=nights, patient=patient, hours=[22, 30])
    >>> curve.plasma.value.round(2).tolist()
    [15.39, 2.89]
    """
    times = np.asarray(hours, dtype=np.float64)
    batch, places = batch_shape(schedule=schedule, patient=patient)
    batch = np.broadcast_shapes(batch, times.shape[:-1])
    everyone = replace(patient, volume=np.broadcast_to(np.asarray(patient.volume), batch))
    rows, width = math.prod(batch), times.shape[-1]
    values = {name: np.full((rows, width), np.nan) for name in ("outer", "inner")}
    reasons = []
    for chosen in chunks(rows, 2 * places + width):
        good, cycle, why = answerable(rows_of(schedule=schedule, patient=everyone, rows=chosen))
        asked = flat(times, batch=batch, places=width, rows=chosen)[:, answered(why)]
        outer, inner = states_at(steady_cycle(cycle), asked) * good.generation
        put(values, {"outer": outer.T, "inner": inner.T}, chosen, why)
        reasons.append(why)
    why_each = np.broadcast_to(np.concatenate(reasons).reshape(batch)[..., None], (*batch, width))
    outside, inside = (told(values[name], "mmol/L", why_each) for name in ("outer", "inner"))
    return Curve(extracellular_water=outside, intracellular_water=inside)
