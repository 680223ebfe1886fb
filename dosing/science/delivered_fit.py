"""The patient that the bloods of the last months point to, and the weekly dose of any of its weeks with its interval.

Prior knowledge and pairs of bloods are joined by Bayes' rule, to first order around the most probable patient. Five
things are unknown, each as a logarithm: V, the share of the noted clearance that is delivered, G, the share of the
noted kidney clearance that is there, and the exchange between the pools. The first two cannot be told apart by bloods:
only their ratio is seen, and it is nearly all of the dose, so the dose is known better than V.

What a pair misses by is more than the error of its laboratory: one night clears more than another, people eat more in
one week than in another, and both drift in the months between. The sizes below are in `ModelError`; how well a
patient's own later pairs were foretold by the earlier ones then widens or narrows the interval.

Source: Gauss-Newton and the covariance of a linear Gaussian model, Tarantola, Inverse Problem Theory, 2005, chapter 3
(from memory); the standardised errors of forecasts are the rows of a Cholesky factor, Harvey 1989 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dosing.science import sources as k
from dosing.science.checks import above_zero, within
from dosing.science.delivered import (
    CourseRows,
    DeliveredTreatments,
    course_problems,
    course_rows,
    course_shape,
    plan_of,
)
from dosing.science.delivered_search import UNKNOWNS, CourseTask, ModelError, found_of_rows, person_of
from dosing.science.reasons import Reason
from dosing.science.results import Check, FloatArray, Measure, ReasonArray, answered, measure
from dosing.science.schedule import flat
from dosing.science.steady import NOT_FINITE, PHASES_AT_ONCE, told


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UreaPrior:
    """What is known before any blood, (...,) each; spreads are standard deviations of the logarithms.

    volume: at the target weight [L], 8 to 120; generation [mmol/min], above zero. clearance_spread: of delivered over
    noted clearance, around 1. kidney_spread: of the kidney's clearance around what the course says.
    """

    volume: ArrayLike
    generation: ArrayLike
    volume_spread: ArrayLike = float(k.VOLUME_SPREAD)
    generation_spread: ArrayLike = float(k.GENERATION_SPREAD)
    clearance_spread: ArrayLike = float(k.CLEARANCE_SPREAD)
    kidney_spread: ArrayLike = float(k.KIDNEY_SPREAD)
    exchange_spread: ArrayLike = float(k.EXCHANGE_SPREAD)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DeliveredPairs:
    """Urea before and after treatments of the course, in order of time, (pairs,) or (..., pairs).

    treatment: its place in the course, from 0; a negative one, or a NaN in a pair, leaves the pair out, as does urea
    that did not fall. pre, post: of PLASMA as the laboratory reports it [mmol/L]. post_delay: minutes from the end to
    the sample after, 0 to 120.
    """

    treatment: ArrayLike
    pre: ArrayLike
    post: ArrayLike
    post_delay: ArrayLike = 0.0


NO_PAIRS = DeliveredPairs(treatment=np.zeros(0), pre=np.zeros(0), post=np.zeros(0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ForetoldPair:
    """Each pair beside what the prior and the earlier pairs foretold, (..., pairs); NaN where there is no pair.

    pre, post: foretold [mmol/L of plasma]; score: of the ratio after/before, given the value before, in standard
    deviations of its forecast: those of later pairs tell whether the interval is true.
    """

    pre: FloatArray
    post: FloatArray
    score: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Dose:
    """Weekly standard Kt/V of each period asked for, (..., periods) [1/wk]; low and high hold `LEVEL`.

    of_kidney: the kidney's part of `whole`, by its share of the urea removed; alone: the rest.
    """

    whole: Measure
    low: Measure
    high: Measure
    of_kidney: Measure
    alone: Measure
    alone_low: Measure
    alone_high: Measure


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DeliveredFit:
    """The most probable patient and how sure that is; (...,) of the batch."""

    volume: Measure
    """at the target weight [L]"""
    generation: Measure
    """[mmol/min]"""
    kidney_clearance: Measure
    """at the end of the course [mL/min of plasma water]"""
    clearance_factor: Measure
    """delivered over noted clearance"""
    exchange: Measure
    """X/V [1/min]"""
    covariance: FloatArray
    """of the logarithms, in the order of `UNKNOWNS`, (..., 5, 5); calibrated"""
    volume_spread: Measure
    """one standard deviation [L]"""
    generation_spread: Measure
    kidney_spread: Measure
    scale: FloatArray
    """by which the later pairs widen (above 1) or narrow what was thought of the model's error"""
    pairs: NDArray[np.intp]
    """used"""
    conflict: FloatArray
    """how far V over delivered clearance was moved from prior knowledge, in standard deviations of that"""
    foretold: ForetoldPair
    dose: Dose
    steps: NDArray[np.intp]


_OF_PATIENT = {
    "volume": "L",
    "generation": "mmol/min",
    "kidney_clearance": "mL/min",
    "clearance_factor": "1",
    "exchange": "1/min",
    "volume_spread": "L",
    "generation_spread": "mmol/min",
    "kidney_spread": "mL/min",
}
_OF_DOSE = tuple(field.name for field in fields(Dose))


def fit_delivered(
    *,
    treatments: DeliveredTreatments,
    prior: UreaPrior,
    pairs: DeliveredPairs = NO_PAIRS,
    periods: ArrayLike = (),
    error: ModelError | None = None,
) -> DeliveredFit:
    """The patient behind a delivered course, and the weekly standard Kt/V of its periods with intervals.

    treatments: see `DeliveredTreatments`; prior: see `UreaPrior`; pairs: see `DeliveredPairs`, none leaves the prior
    and its width; periods: (from, until) in the hours of the treatments, (periods, 2) or (..., periods, 2): a
    treatment belongs to the period in which it starts. Leading shapes broadcast; a row outside the ranges is unknown
    and says why, a period without a treatment that counts as well.

    The dose is 10080 G/(mean concentration before x V) with the concentrations of the treatments as they were, per
    unit of generation: weeks need not be alike. Sources: this module's head; dose, Gotch, Nephrol Dial Transplant
    13(S6):10, 1998 (from memory).

    >>> nights = DeliveredTreatments(starts=22 + 48.0 * np.arange(28), hours=8, clearance=161.37, fluid_before=2.4)
    >>> found = fit_delivered(treatments=nights, prior=UreaPrior(volume=35, generation=0.19), periods=[(672, 1344)])
    >>> round(float(found.dose.whole.value[0]), 3), found.dose.low.value.round(1), found.dose.high.value.round(1)
    (3.519, array([3.2]), array([3.9]))
    """
    spans = np.asarray(periods, dtype=np.float64)
    spans = spans.reshape(0, 2) if not spans.size else spans
    batch, places = course_shape(treatments)
    shapes = [np.shape(getattr(prior, f.name)) for f in fields(prior)] + [_pair_shape(pairs)[:-1], spans.shape[:-2]]
    batch = np.broadcast_shapes(batch, *shapes)
    asked = _Asked(treatments, prior, pairs, spans, error or ModelError(), batch, places)
    return _gathered([asked.part(rows) for rows in asked.chunks()], asked)


def _pair_shape(pairs: DeliveredPairs) -> tuple[int, ...]:
    return np.broadcast_shapes(*(np.shape(getattr(pairs, f.name)) for f in fields(pairs)))


class _Part(NamedTuple):
    """Numbers of the rows of a chunk and of their periods, rows first, and the reason of each row without."""

    numbers: dict[str, FloatArray]
    doses: dict[str, FloatArray]
    why: ReasonArray


@dataclass(frozen=True, slots=True, eq=False)
class _Asked:
    """Everything that was asked, before it is cut into chunks of rows."""

    treatments: DeliveredTreatments
    prior: UreaPrior
    pairs: DeliveredPairs
    periods: FloatArray
    error: ModelError
    batch: tuple[int, ...]
    places: int

    @property
    def width(self) -> int:
        return _pair_shape(self.pairs)[-1]

    def chunks(self) -> list[slice]:
        count = math.prod(self.batch)
        step = max(1, ROOM // (2 * self.places * len(UNKNOWNS)))
        return [slice(first, min(first + step, count)) for first in range(0, max(count, 1), step)]

    def _per_row(self, value: ArrayLike, rows: slice) -> FloatArray:
        return flat(value, batch=self.batch, places=None, rows=rows)

    def _per_pair(self, value: ArrayLike, rows: slice) -> FloatArray:
        return flat(value, batch=self.batch, places=self.width, rows=rows)

    def _spans(self, rows: slice) -> FloatArray:
        """(2, periods, rows)."""
        count = self.periods.shape[-2]
        ends = (flat(self.periods[..., at], batch=self.batch, places=count, rows=rows) for at in (0, 1))
        return np.stack(list(ends))

    def task(self, rows: slice) -> tuple[CourseTask, list[Check]]:
        """One chunk, and what keeps its rows from an answer before anything is computed."""
        course = course_rows(self.treatments, batch=self.batch, rows=rows)
        known = {f.name: self._per_row(getattr(self.prior, f.name), rows) for f in fields(self.prior)}
        places, pre, post, delay = (self._per_pair(getattr(self.pairs, f.name), rows) for f in fields(self.pairs))
        since, until = self._spans(rows)[:, :, None]
        stretch = (course.starts >= since) & (course.starts < until)
        used, place = _usable(course, places, pre, post, delay)
        ones = np.ones_like(known["volume"])
        middle = [known["volume"], ones, known["generation"], ones, float(k.POOL_EXCHANGE) * ones]
        task = CourseTask(
            course=course,
            plan=plan_of(course),
            middle=np.log(np.stack(middle)),
            spread=np.stack([known[f"{name}_spread"] for name in UNKNOWNS]),
            place=place,
            used=used,
            pre=np.where(used, pre, 2.0),
            post=np.where(used, post, 1.0),
            delay=np.where(used, delay, 0.0),
            asked=stretch & (course.counts == 1),
            stretch=stretch,
            scale=ones,
            error=self.error,
        )
        return task, _of_prior(known) + course_problems(course, person_of(task.middle[:, None]))

    def part(self, rows: slice) -> _Part:
        """One chunk."""
        with np.errstate(all="ignore"):
            task, checks = self.task(rows)
            why = measure(np.zeros(task.middle.shape[1]), "", checks).why
            good = answered(why)
            numbers, doses, later = found_of_rows(task.pick(good))
            after = measure(np.zeros(int(good.sum())), "", later).why
        why = why.copy()
        why[good] = after
        return _Part(_spread_out(numbers, good), _spread_out({n: v.T for n, v in doses.items()}, good), why)


ROOM = 8 * PHASES_AT_ONCE
"""Phases of all trials worked on together."""


def _usable(course: CourseRows, place: FloatArray, *drawn: FloatArray) -> tuple[NDArray[np.bool_], NDArray[np.intp]]:
    """Pairs that can be used, and the place of each (0 for the others)."""
    pre, post, delay = drawn
    count = course.starts.shape[0]
    whole = (place >= 0) & (place < count) & (place == np.floor(place))
    at = np.where(whole, place, 0).astype(np.intp)
    there = np.take_along_axis(course.there, at, axis=0)
    used = whole & there & (post > 0) & (pre > post) & np.isfinite(pre) & (delay >= 0) & (delay <= 120)
    return used, np.where(used, at, 0)


def _of_prior(known: dict[str, FloatArray]) -> list[Check]:
    checks = within(8, 120, "L", urea_volume=known["volume"]) + above_zero(urea_generation=known["generation"])
    for name in UNKNOWNS:
        checks += within(0.0, 2.0, spread_of_prior_knowledge=known[f"{name}_spread"])
    return checks


def _spread_out(numbers: dict[str, FloatArray], good: NDArray[np.bool_]) -> dict[str, FloatArray]:
    """Answers of the good rows in the places of all rows, NaN in the others."""
    whole = {}
    for name, value in numbers.items():
        whole[name] = np.full((good.size, *value.shape[1:]), np.nan)
        whole[name][good] = value
    return whole


def _gathered(parts: list[_Part], asked: _Asked) -> DeliveredFit:
    """The answer of all rows in the shape of the batch."""
    numbers = {name: np.concatenate([part.numbers[name] for part in parts]) for name in parts[0].numbers}
    doses = {name: np.concatenate([part.doses[name] for part in parts]) for name in parts[0].doses}
    why = np.concatenate([part.why for part in parts]).reshape(asked.batch)
    shaped = {name: value.reshape((*asked.batch, *value.shape[1:])) for name, value in numbers.items()}
    periods = asked.periods.shape[-2]
    why_each = np.broadcast_to(why[..., None], (*asked.batch, periods))
    measures = {name: told(shaped[name], unit, why, NOT_FINITE) for name, unit in _OF_PATIENT.items()}
    nothing = Reason("no_treatment_then")
    return DeliveredFit(
        **measures,
        covariance=shaped["covariance"],
        scale=shaped["scale"],
        pairs=np.nan_to_num(shaped["pairs"]).astype(np.intp),
        conflict=shaped["conflict"],
        foretold=ForetoldPair(pre=shaped["foretold_pre"], post=shaped["foretold_post"], score=shaped["score"]),
        dose=Dose(**{name: told(doses[name], "1/wk", why_each, nothing) for name in _OF_DOSE}),
        steps=np.nan_to_num(shaped["steps"]).astype(np.intp),
    )
