"""Schedules tried on a urea model, many at once: dose, urea through the week, fluid, hours, blood and dialysate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dosing.science.dialyser import delivered_blood_flow
from dosing.science.kinetics import Schedule, concentration_curve, weekly_steady_state
from dosing.science.results import FloatArray, ReasonArray
from dosing.services.planner.patterns import NIGHTS, Pattern, pattern_of
from dosing.services.planner.urea_model import UreaModel, living_koa, real_flow
from sessions.models import Dialyser

LEAST_HOURS, MOST_HOURS, STEP_MINUTES = 2.0, 10.0, 5
LEAST_FLOW, MOST_FLOW = 150, 450
CURVE_POINTS = 7 * 24 * 2 + 1


@dataclass(frozen=True, slots=True)
class Candidate:
    """One schedule to try. Flows in mL/min as set on the machine."""

    pattern: Pattern
    minutes: float
    qb_ml_min: float
    qd_ml_min: float
    dialyser: Dialyser

    @property
    def weekly_hours(self) -> float:
        return self.pattern.per_week * self.minutes / 60

    @property
    def blood_l_week(self) -> float:
        return self.pattern.per_week * self.minutes * self.qb_ml_min / 1000

    @property
    def dialysate_l_week(self) -> float:
        return self.pattern.per_week * self.minutes * self.qd_ml_min / 1000


@dataclass(frozen=True, slots=True)
class Tried:
    """What a batch of schedules leads to, row by row; NaN where `why` gives a reason.

    dose: weekly standard Kt/V of dialysis and kidney together [1/wk]; of_kidney: the kidney's part of it; pre, post:
    urea of plasma [mmol/L], highest before and lowest after a treatment of the week; uf_rate: of the night with the
    longest interval [mL/kg/h].
    """

    dose: FloatArray
    of_kidney: FloatArray
    pre: FloatArray
    post: FloatArray
    uf_l: FloatArray
    uf_rate: FloatArray
    why: ReasonArray


def schedule_of(candidates: Sequence[Candidate]) -> Schedule:
    """All of them as one batch, (rows, 7 places)."""
    return Schedule(
        starts=np.stack([each.pattern.starts for each in candidates]),
        hours=np.array([[each.minutes / 60] for each in candidates]),
        cycle_days=np.array([float(each.pattern.cycle_days) for each in candidates]),
        koa=np.array([[living_koa(each.dialyser.koa_ml_min)] for each in candidates]),
        blood_flow=np.array([[real_flow(each.qb_ml_min)] for each in candidates]),
        dialysate_flow=np.array([[each.qd_ml_min] for each in candidates]),
    )


def try_out(candidates: Sequence[Candidate], model: UreaModel, *, weight_kg: float, volumes: float = 0.0) -> Tried:
    """The steady week of each schedule for this patient; weight_kg: after a treatment, as the target is."""
    return _tried(schedule_of(candidates), model, weight_kg=weight_kg, volumes=volumes)


def _tried(schedule: Schedule, model: UreaModel, *, weight_kg: float, volumes: float = 0.0) -> Tried:
    week = weekly_steady_state(schedule=schedule, patient=model.patient(volumes))
    with np.errstate(all="ignore"):
        fluid = week.ultrafiltration.value
        rate = 1000 * fluid / np.asarray(schedule.hours) / weight_kg
        dose = week.standard_ktv.value
        return Tried(
            dose=dose,
            of_kidney=dose * week.kidney_share.value,
            pre=_over(np.fmax, week.pre_plasma.value),
            post=_over(np.fmin, week.post_plasma.value),
            uf_l=_over(np.fmax, fluid),
            uf_rate=_over(np.fmax, rate),
            why=week.standard_ktv.why,
        )


def _over(choose: np.ufunc, values: FloatArray) -> FloatArray:
    """Over the treatments of each row, those that are not there left out."""
    return np.asarray(choose.reduce(values, axis=-1))


@dataclass(frozen=True, slots=True)
class RateMap:
    """Dose and UF rate over nights a week (rows) and hours (columns); good: where both are as wanted."""

    nights: tuple[float, ...]
    hours: FloatArray
    dose: FloatArray
    uf_rate: FloatArray
    good: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]

    def least_hours(self) -> tuple[float, float] | None:
        """(nights a week, hours) with the fewest hours a week among the good ones, or None."""
        weekly = np.asarray(self.nights)[:, None] * self.hours[None, :]
        if not self.good.any():
            return None
        row, column = np.unravel_index(np.where(self.good, weekly, np.inf).argmin(), weekly.shape)
        return self.nights[row], float(self.hours[column])


def map_of(like: Candidate, model: UreaModel, *, weight_kg: float, dose: float, uf_rate: float) -> RateMap:
    """Every number of nights with every length, at the flows and the dialyser of one schedule."""
    hours = np.arange(LEAST_HOURS, MOST_HOURS + 1e-9, STEP_MINUTES / 60)
    patterns = [pattern_of(nights) for nights in NIGHTS]
    schedule = Schedule(
        starts=np.stack([pattern.starts for pattern in patterns])[:, None, :],
        hours=hours[None, :, None],
        cycle_days=np.array([float(pattern.cycle_days) for pattern in patterns])[:, None],
        koa=living_koa(like.dialyser.koa_ml_min),
        blood_flow=real_flow(like.qb_ml_min),
        dialysate_flow=like.qd_ml_min,
    )
    tried = _tried(schedule, model, weight_kg=weight_kg)
    with np.errstate(invalid="ignore"):
        good = (tried.dose >= dose) & (tried.uf_rate <= uf_rate)
    return RateMap(NIGHTS, hours, tried.dose, tried.uf_rate, good)


def least_flow(like: Candidate, model: UreaModel, *, weight_kg: float, dose: float) -> float | None:
    """The lowest blood flow [mL/min, as set] that gives the dose in the hours of a schedule, or None within 150-450."""
    flows = np.arange(LEAST_FLOW, MOST_FLOW + 1)
    schedule = Schedule(
        starts=like.pattern.starts[None, :],
        hours=like.minutes / 60,
        cycle_days=float(like.pattern.cycle_days),
        koa=living_koa(like.dialyser.koa_ml_min),
        blood_flow=delivered_blood_flow(set_flow=flows).value[:, None],
        dialysate_flow=like.qd_ml_min,
    )
    tried = _tried(schedule, model, weight_kg=weight_kg)
    with np.errstate(invalid="ignore"):
        enough = np.flatnonzero(tried.dose >= dose)
    return float(flows[enough[0]]) if enough.size else None


def curves(candidates: Sequence[Candidate], model: UreaModel) -> tuple[FloatArray, FloatArray]:
    """Hours of a week, and the urea of plasma [mmol/L] of each schedule at them, (rows, times)."""
    hours = np.linspace(0, 7 * 24, CURVE_POINTS)
    curve = concentration_curve(schedule=schedule_of(candidates), patient=model.patient(), hours=hours)
    return hours, curve.plasma.value
