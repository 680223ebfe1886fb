"""Schedules tried on a patient's model, many at once: dose with its range, urea through the week, and fluid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from dosing.science import sources as k
from dosing.science.dialyser import delivered_blood_flow, in_vivo_koa
from dosing.science.fitted_dose import sure_dose
from dosing.science.fluid_need import FluidNights
from dosing.science.kinetics import Schedule, SteadyWeek, concentration_curve, weekly_steady_state
from dosing.science.results import FloatArray, ReasonArray
from dosing.services.planner.fluid_of_schedule import WANTED_SHARE, rates_of
from dosing.services.planner.patterns import NIGHTS, Pattern, pattern_of
from dosing.services.planner.urea_model import UreaModel
from sessions.models import Dialyser

LEAST_HOURS, MOST_HOURS, STEP_MINUTES = 2.0, 10.0, 5
LEAST_FLOW, MOST_FLOW, TEN_FLOWS = 150, 450, 10
CURVE_POINTS = 7 * 24 * 2 + 1
MOST_SURE = 0.999
"""No dose is surer than that: what a model leaves out is not in its range."""
NOT_ABOVE_NOW = 1.005
"""Of phosphate: what reads as the level of now."""
NINE_IN_TEN = NormalDist().inv_cdf(WANTED_SHARE)
"""Standard deviations that nine in ten lie above, so far below the middle."""


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

    dose: weekly standard Kt/V of dialysis and kidney together [1/wk]; spread: standard deviation of its logarithm;
    of_kidney: the kidney's part of it; pre, post: urea of plasma [mmol/L], highest before and lowest after a treatment
    of the week. Fluid is another matter: see `fluid_of_schedule`.
    """

    dose: FloatArray
    spread: FloatArray
    of_kidney: FloatArray
    pre: FloatArray
    post: FloatArray
    why: ReasonArray

    @property
    def sure_dose(self) -> FloatArray:
        """What nine in ten of the possible doses reach [1/wk]."""
        return np.asarray(self.dose * np.exp(-NINE_IN_TEN * self.spread))

    def range_of(self, at: int) -> tuple[float, float]:
        """Between which the dose of one schedule lies with nine chances in ten [1/wk]."""
        reach = NormalDist().inv_cdf(0.95) * self.spread[at]
        return float(self.dose[at] * np.exp(-reach)), float(self.dose[at] * np.exp(reach))

    def reaches(self, at: int, wanted: float) -> float:
        """Chance that the dose of one schedule is at least this; NaN where it has none."""
        if self.why[at]:
            return float("nan")
        chance = NormalDist(0, float(self.spread[at])).cdf(float(np.log(self.dose[at] / wanted)))
        return min(chance, MOST_SURE)


def living_koa(label: float) -> float:
    """KoA in the patient from the data sheet's [mL/min]."""
    return in_vivo_koa(label_koa=label).number or label


def real_flow(setting: float) -> float:
    """Blood flow behind a pump setting [mL/min]."""
    return delivered_blood_flow(set_flow=setting).number or setting


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


def try_out(candidates: Sequence[Candidate], model: UreaModel) -> Tried:
    """The steady week of each schedule for this patient, with how sure its dose is."""
    return _tried_each(schedule_of(candidates), model)


def _tried_each(schedule: Schedule, model: UreaModel) -> Tried:
    week = weekly_steady_state(schedule=schedule, patient=model.person.parameters())
    return _tried(week, sure_dose(schedule=schedule, patient=model.person).spread)


def _tried(week: SteadyWeek, spread: FloatArray) -> Tried:
    with np.errstate(all="ignore"):
        dose = week.standard_ktv.value
        return Tried(
            dose=dose,
            spread=spread,
            of_kidney=dose * week.kidney_share.value,
            pre=_over(np.fmax, week.pre_plasma.value),
            post=_over(np.fmin, week.post_plasma.value),
            why=week.standard_ktv.why,
        )


def _tried_alike(schedule: Schedule, model: UreaModel, like: Candidate) -> Tried:
    """Many schedules beside one: each is computed once more for the patient in whom that one gives less.

    What makes the dose of one schedule unsure makes that of its neighbours unsure in the same direction.
    """
    careful = sure_dose(schedule=schedule_of([like]), patient=model.person).careful[0]
    week, less = (
        weekly_steady_state(schedule=schedule, patient=model.person.parameters(moved)) for moved in (0.0, careful)
    )
    with np.errstate(all="ignore"):
        known = np.log(week.standard_ktv.value / less.standard_ktv.value)
    return _tried(week, np.hypot(known, float(k.DOSE_ERROR)))


def _over(choose: np.ufunc, values: FloatArray) -> FloatArray:
    """Over the treatments of each row, those that are not there left out."""
    return np.asarray(choose.reduce(values, axis=-1))


@dataclass(frozen=True, slots=True)
class RateMap:
    """Dose and UF rate over nights a week (rows) and hours (columns); good: where both are as wanted, nine in ten.

    dose: [1/wk]; uf_rate: what nine in ten of the hardest nights do not pass [mL/kg/h].
    """

    nights: tuple[float, ...]
    hours: FloatArray
    dose: FloatArray
    uf_rate: FloatArray
    good: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]

    def least_hours(self, least_weekly: float, phosphate: FloatArray | None) -> FewestHours | None:
        """The fewest hours a week among the good ones, or None. least_weekly: no answer has fewer [h].

        phosphate: before treatment as a ratio to now, of the shape of the map: what would raise it is no answer; None
        where it is not known.
        """
        weekly = np.asarray(self.nights)[:, None] * self.hours[None, :]
        allowed = self.good & (weekly >= least_weekly)
        if phosphate is not None:
            allowed &= phosphate <= NOT_ABOVE_NOW
        if not allowed.any():
            return None
        row, column = np.unravel_index(np.where(allowed, weekly, np.inf).argmin(), weekly.shape)
        return FewestHours(self.nights[row], float(self.hours[column]), at_edge=bool(column == 0))


@dataclass(frozen=True, slots=True)
class FewestHours:
    """Nights a week and hours each; at_edge: no shorter treatment was looked at, so that fewer may do as well."""

    nights: float
    hours: float
    at_edge: bool


def map_of(
    like: Candidate, model: UreaModel, fluid: FluidNights, *, weight_kg: float, dose: float, uf_rate: float
) -> RateMap:
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
    tried, rates = _tried_alike(schedule, model, like), rates_of(patterns, hours, fluid, weight_kg=weight_kg)
    with np.errstate(invalid="ignore"):
        good = (tried.sure_dose >= dose) & (rates <= uf_rate)
    return RateMap(NIGHTS, hours, tried.dose, rates, good)


@dataclass(frozen=True, slots=True)
class LeastFlow:
    """A blood flow as set [mL/min]; at_edge: it is the lowest that was looked at, so that a lower one may do."""

    ml_min: float
    at_edge: bool


def least_flow(like: Candidate, model: UreaModel, *, dose: float) -> LeastFlow | None:
    """The lowest blood flow that gives the dose, nine in ten, in the hours of a schedule, or None within 150-450.

    The dose grows with the flow: tens are looked at first, then the flows below the lowest of them that does.
    """
    tens = np.arange(LEAST_FLOW, MOST_FLOW + 1.0, TEN_FLOWS)
    found = _first_enough(like, model, tens, dose)
    if found is None or found == LEAST_FLOW:
        return None if found is None else LeastFlow(found, at_edge=True)
    flow = _first_enough(like, model, np.arange(found - TEN_FLOWS + 1, found + 1), dose)
    return LeastFlow(found if flow is None else flow, at_edge=False)


def _first_enough(like: Candidate, model: UreaModel, flows: FloatArray, dose: float) -> float | None:
    """The first of these flows [mL/min, as set] that gives the dose, nine in ten."""
    schedule = Schedule(
        starts=like.pattern.starts[None, :],
        hours=like.minutes / 60,
        cycle_days=float(like.pattern.cycle_days),
        koa=living_koa(like.dialyser.koa_ml_min),
        blood_flow=delivered_blood_flow(set_flow=flows).value[:, None],
        dialysate_flow=like.qd_ml_min,
    )
    with np.errstate(invalid="ignore"):
        enough = np.flatnonzero(_tried_each(schedule, model).sure_dose >= dose)
    return float(flows[enough[0]]) if enough.size else None


def curves(candidates: Sequence[Candidate], model: UreaModel) -> tuple[FloatArray, FloatArray]:
    """Hours of a week, and the urea of plasma [mmol/L] of each schedule at them, (rows, times)."""
    hours = np.linspace(0, 7 * 24, CURVE_POINTS)
    curve = concentration_curve(schedule=schedule_of(candidates), patient=model.person.parameters(), hours=hours)
    return hours, curve.plasma.value
