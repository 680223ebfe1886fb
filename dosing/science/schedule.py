"""Patients and schedules of treatment for the urea model, and the phases of constant rates they make.

A schedule repeats with its cycle: any days, unequal lengths and clearances, alternate nights over two weeks.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dosing.science import sources as k
from dosing.science.checks import above_zero, not_negative, within
from dosing.science.dialyser import _michaels
from dosing.science.pools import Phases
from dosing.science.reasons import Reason
from dosing.science.results import Check, FloatArray

_T = TypeVar("_T", bound=np.generic)
HOURS_PER_DAY = 24.0
MOST_VOLUMES = 7.0
"""Clearance x time in urea volumes up to which one treatment was checked against a general solver."""
MOST_GAIN = 0.25
"""Fluid gain between two treatments, as a share of the urea volume, up to which it was checked."""
MOST_DRAIN = 0.1
"""Rate of ultrafiltration over clearance plus exchange up to which it was checked."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PatientParameters:
    """One patient or many: each field a number or an array; the shapes broadcast.

    volume: urea distribution volume V at the END of a treatment [L], 8 to 120.
    generation: urea made, all of it into the extracellular pool [mmol/min] (mg N/min / 28.01).
    kidney_clearance: residual urea clearance of plasma WATER [mL/min] (one from plasma urea x 0.93), 0 to 30.
    fluid_gain: gain between treatments [L/day]; unused where the schedule gives ultrafiltration.
    exchange: between the pools per litre of V [1/min]: Kc = 0.016 V. 0.004 or more; large makes one pool.
    extracellular_share: of V, 0.2 to 0.5. The extracellular pool carries every change of volume.
    clearance_factor: delivered over noted clearance of the dialyser, 0.3 to 3.
    """

    volume: ArrayLike
    generation: ArrayLike
    kidney_clearance: ArrayLike = 0.0
    fluid_gain: ArrayLike = 0.0
    exchange: ArrayLike = float(k.POOL_EXCHANGE)
    extracellular_share: ArrayLike = float(k.EXTRACELLULAR_SHARE)
    clearance_factor: ArrayLike = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Schedule:
    """When treatments begin, how long they last and what they clear. Arrays have the treatments LAST.

    starts: hours from the start of the cycle, shape (n,) or (..., n), in any order. NaN: no treatment in
        this place, so patterns of three and of six treatments can share one array.
    hours: length of each treatment, 0.5 to 24.
    cycle_days: after which everything repeats: 7, 2 or 14 for alternate nights; shape of the rows.
    clearance: total BLOOD-WATER urea clearance Kd, ultrafiltration included [mL/min]; 0 to 1000. Where it is
        not given it comes from the dialyser: koa (in vivo), blood_flow (of whole blood), dialysate_flow, all
        [mL/min], with blood water = water_share x blood.
    ultrafiltration: fluid removed by each treatment [L]; None: what was gained since the one before.
    gains_during: whether the patient goes on gaining during treatment; it then comes off as well.
    The leading shapes broadcast with those of the patient; per-row values need a last axis of 1.
    """

    starts: ArrayLike
    hours: ArrayLike
    cycle_days: ArrayLike = 7.0
    clearance: ArrayLike | None = None
    koa: ArrayLike | None = None
    blood_flow: ArrayLike | None = None
    dialysate_flow: ArrayLike | None = None
    water_share: ArrayLike = float(k.BLOOD_WATER)
    ultrafiltration: ArrayLike | None = None
    gains_during: bool = False


def weekly_starts(*, days: ArrayLike, at: float) -> FloatArray:
    """Hours from the start of the week at which treatments begin on days 0 (first) to 6, at this hour.

    >>> weekly_starts(days=[0, 2, 4], at=8).tolist()
    [8.0, 56.0, 104.0]
    """
    return np.asarray(np.asarray(days, dtype=np.float64) * HOURS_PER_DAY + at)


@dataclass(frozen=True, slots=True, eq=False)
class ScheduleRows:
    """Patients with their schedules, flat: (rows,), or (treatments, rows) in order of time in the cycle.

    Units as in `PatientParameters` and `Schedule`; places without a treatment come last and hold NaN.
    """

    volume: FloatArray
    generation: FloatArray
    kidney_clearance: FloatArray
    fluid_gain: FloatArray
    exchange: FloatArray
    extracellular_share: FloatArray
    clearance_factor: FloatArray
    cycle_days: FloatArray
    starts: FloatArray
    hours: FloatArray
    clearance: FloatArray
    koa: FloatArray
    blood_flow: FloatArray
    dialysate_flow: FloatArray
    water_share: FloatArray
    ultrafiltration: FloatArray
    order: NDArray[np.intp]
    """the place in the schedule each treatment came from"""
    gains_during: bool

    @property
    def treated(self) -> NDArray[np.bool_]:
        return ~np.isnan(self.starts)

    def pick(self, rows: NDArray[np.intp] | NDArray[np.bool_]) -> ScheduleRows:
        """These rows only, in this order."""
        arrays = {f.name: getattr(self, f.name) for f in fields(self) if f.name != "gains_during"}
        return replace(self, **{name: value[..., rows] for name, value in arrays.items()})

    def to_places(self, values: NDArray[_T]) -> NDArray[_T]:
        """Values per treatment, back from order of time to the places of the schedule: (rows, treatments)."""
        placed = np.empty_like(values)
        np.put_along_axis(placed, self.order, values, axis=0)
        return placed.T


_PER_PATIENT = tuple(field.name for field in fields(PatientParameters))
_PER_TREATMENT = (
    "starts",
    "hours",
    "clearance",
    "koa",
    "blood_flow",
    "dialysate_flow",
    "water_share",
    "ultrafiltration",
)


def batch_shape(*, schedule: Schedule, patient: PatientParameters) -> tuple[tuple[int, ...], int]:
    """Leading shape of the answers, and the number of places for treatments."""
    given = (getattr(schedule, name) for name in _PER_TREATMENT)
    places = np.broadcast_shapes((1,), *(np.shape(value) for value in given if value is not None))
    per_row = [np.shape(getattr(patient, name)) for name in _PER_PATIENT]
    return np.broadcast_shapes(places[:-1], np.shape(schedule.cycle_days), *per_row), places[-1]


def flat(value: ArrayLike | None, *, batch: tuple[int, ...], places: int | None, rows: slice) -> FloatArray:
    """These rows of an input: (rows,) where places is None, else (places, rows); a value of None becomes NaN."""
    shape = batch if places is None else (*batch, places)
    array = np.broadcast_to(np.asarray(np.nan if value is None else value, dtype=np.float64), shape)
    chosen = np.arange(*rows.indices(math.prod(batch)))
    return np.ascontiguousarray(array[np.unravel_index(chosen, batch) if batch else (np.newaxis,)].T)


def rows_of(*, schedule: Schedule, patient: PatientParameters, rows: slice = slice(None)) -> ScheduleRows:
    """These rows of the flattened batch; only they are copied."""
    batch, places = batch_shape(schedule=schedule, patient=patient)
    one = {name: flat(getattr(patient, name), batch=batch, places=None, rows=rows) for name in _PER_PATIENT}
    each = {name: flat(getattr(schedule, name), batch=batch, places=places, rows=rows) for name in _PER_TREATMENT}
    cycle = flat(schedule.cycle_days, batch=batch, places=None, rows=rows)
    with np.errstate(all="ignore"):
        each["starts"] = np.mod(each["starts"], cycle * HOURS_PER_DAY)
    order = np.argsort(each["starts"], axis=0, kind="stable")
    if np.any(np.diff(order, axis=0) < 0):
        each = {name: np.take_along_axis(value, order, axis=0) for name, value in each.items()}
    return ScheduleRows(**one, **each, cycle_days=cycle, order=order, gains_during=schedule.gains_during)


@dataclass(frozen=True, slots=True, eq=False)
class Cycle:
    """One cycle from the end of its last treatment: phases off, on, off, on ... of shape (2 n, rows).

    The phases of a place without a treatment last no time.
    """

    phases: Phases
    opens: FloatArray
    """start of each phase after the start of the first [min]"""
    origin: FloatArray
    """start of the first phase after the start of the cycle [min], zero or below"""
    minutes: FloatArray
    """length of the cycle [min]"""
    clearance: FloatArray
    """Kd of each treatment [mL/min]"""
    drained: FloatArray
    """fluid removed by each treatment [L]"""


def _in_turn(off: FloatArray, on: FloatArray) -> FloatArray:
    """Phases off, on, off, on ... from one array of each, (n, rows)."""
    return np.stack([off, on], axis=1).reshape(2 * off.shape[0], off.shape[1])


def _over(amount: FloatArray, minutes: FloatArray) -> FloatArray:
    """A rate; nothing moves in no time."""
    return np.divide(amount, minutes, out=np.zeros_like(minutes), where=minutes > 0)


def _cleared(r: ScheduleRows, drain: FloatArray) -> FloatArray:
    """Kd delivered [mL/min]: as given, or of the dialyser at this rate of ultrafiltration [mL/min]."""
    water = r.water_share * r.blood_flow
    diffusive = _michaels(r.koa, water, r.dialysate_flow)
    return r.clearance_factor * np.where(np.isnan(r.clearance), diffusive * (1 - drain / water) + drain, r.clearance)


def lay_out(r: ScheduleRows) -> Cycle:
    """The phases of each row; in rows that `problems` names they have no meaning."""
    minutes = r.cycle_days * k.MINUTES_PER_DAY
    on = np.where(r.treated, r.hours * 60, 0.0)
    last = np.max(r.starts * 60 + on, axis=0, where=r.treated, initial=-np.inf)
    begin = np.where(r.treated, r.starts * 60, last)
    off = begin - np.concatenate([(last - minutes)[None], (begin + on)[:-1]])
    gaining = off + on if r.gains_during else off
    gained = r.fluid_gain / k.MINUTES_PER_DAY * gaining
    drained = np.where(np.isnan(r.ultrafiltration), gained, r.ultrafiltration)
    # Fluid gained during treatment is taken off at once: only what came before it moves the volume.
    swing = drained * _over(off, gaining)
    kd = np.where(r.treated, _cleared(r, k.ML_PER_L * _over(drained, on)), 0.0)
    durations = _in_turn(off, on)
    outer = r.volume * r.extracellular_share
    exchange = r.exchange * r.volume
    return Cycle(
        phases=Phases(
            minutes=durations,
            volume=_in_turn(np.broadcast_to(outer, off.shape), outer + swing),
            slope=_in_turn(_over(swing, off), -_over(swing, on)),
            clearance=(r.kidney_clearance + _in_turn(np.zeros_like(kd), kd)) / k.ML_PER_L,
            exchange=exchange,
            turnover=exchange / (r.volume - outer),
        ),
        opens=np.concatenate([np.zeros_like(durations[:1]), np.cumsum(durations, axis=0)[:-1]]),
        origin=last - minutes,
        minutes=minutes,
        clearance=kd,
        drained=drained,
    )


def _of_patient(r: ScheduleRows) -> list[Check]:
    checks = within(8, 120, "L", urea_volume=r.volume)
    checks += above_zero(urea_generation=r.generation)
    checks += within(0, 30, "mL/min", kidney_clearance=r.kidney_clearance)
    checks += within(0, 10, "L/day", fluid_gain=r.fluid_gain)
    checks += within(0.004, 1e6, "1/min", exchange_between_the_pools=r.exchange)
    checks += within(0.2, 0.5, extracellular_share=r.extracellular_share)
    return checks + within(0.3, 3, delivered_clearance=r.clearance_factor)


def _of_dialyser(r: ScheduleRows, kd: FloatArray, drain: FloatArray) -> list[Check]:
    asked = r.treated & np.isnan(r.clearance)
    parts = above_zero(koa=r.koa, blood_flow=r.blood_flow, dialysate_flow=r.dialysate_flow)
    parts += within(0.7, 1.0, blood_water_share=r.water_share)
    parts.append((drain >= r.water_share * r.blood_flow, Reason("ultrafiltration_above_flow")))
    checks = [(bad & asked, Reason("no_clearance", why=why)) for bad, why in parts]
    return checks + within(0, 1000, "mL/min", clearance=kd)


def _of_treatments(r: ScheduleRows, c: Cycle) -> list[Check]:
    off, on = c.phases.minutes[::2], c.phases.minutes[1::2]
    swing, drain = np.abs(c.phases.slope[::2] * off), _over(c.drained, on)
    checks = within(0.5, 24, "h", length_of_a_treatment=r.hours)
    checks.append((off <= 0, Reason("treatments_overlap")))
    checks += not_negative(ultrafiltration=c.drained) + _of_dialyser(r, c.clearance, k.ML_PER_L * drain)
    too_fast = drain > MOST_DRAIN * (c.phases.clearance[1::2] + c.phases.exchange)
    checks.append((too_fast, Reason("drained_too_fast", most=MOST_DRAIN)))
    checks.append((swing > MOST_GAIN * r.volume, Reason("gain_too_large", most=MOST_GAIN)))
    cleared = c.clearance / k.ML_PER_L * on
    checks.append((cleared > MOST_VOLUMES * r.volume, Reason("cleared_too_much", most=MOST_VOLUMES)))
    return [((np.asarray(bad) & r.treated).any(axis=0), why) for bad, why in checks]


def problems(r: ScheduleRows, c: Cycle) -> list[Check]:
    """What keeps each row from an answer, in the order in which people would look for it."""
    checks = _of_patient(r) + within(1, 28, "days", cycle=r.cycle_days)
    checks.append((~r.treated.any(axis=0), Reason("empty_schedule")))
    return checks + _of_treatments(r, c)
