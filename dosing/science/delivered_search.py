"""The search behind `dosing.science.delivered_fit`: the most probable patient of one chunk of rows, to first order.

Arrays have their rows (patients) last; the joint distribution of unknowns and bloods has them first, as matrices do.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from dosing.science import sources as k
from dosing.science.delivered import CourseRows, Plan, UreaBody, Walk, course_problems, later_on, plan_of, walk
from dosing.science.pools import FINE, ROUGH, QuadratureRule
from dosing.science.reasons import Reason
from dosing.science.results import Check, FloatArray
from dosing.science.schedule import HOURS_PER_DAY

UNKNOWNS = ("volume", "clearance", "generation", "kidney", "exchange")
"""What is looked for, in the order of every covariance: of the logarithms."""
_V, _K, _G, _R, _X = range(5)
MOST_STEPS = 25
FULL_STEPS = 2
"""Steps with slopes of their own; those after them go on with the last."""
SETTLED = 1e-6
LONGEST_STEP = 0.5
_PROBE = 1e-5
LEVEL = 0.90
"""The share of intervals that hold the true dose."""
QUANTILE = 1.6448536269514722
"""Of the normal distribution, two-sided, for `LEVEL`."""
DAYS_PER_MONTH = 30.4


@dataclass(frozen=True, slots=True, kw_only=True)
class ModelError:
    """What the model cannot foretell; standard deviations of logarithms.

    laboratory: of one result. rounding: of one result [mmol/L], by its last digit. night: of the clearance of one
    treatment. diet: of generation from one pair to another. clearance_drift, diet_drift: of what wanders in a month.
    dose: of the model of the dose itself.
    """

    laboratory: float = float(k.LABORATORY_ERROR)
    rounding: float = float(k.ROUNDING_ERROR)
    night: float = float(k.NIGHT_ERROR)
    diet: float = float(k.DIET_ERROR)
    clearance_drift: float = float(k.CLEARANCE_DRIFT)
    diet_drift: float = float(k.DIET_DRIFT)
    dose: float = float(k.DOSE_ERROR)


@dataclass(frozen=True, slots=True, eq=False)
class CourseTask:
    """One chunk: rows last."""

    course: CourseRows
    plan: Plan
    middle: FloatArray
    """prior mean of the logarithms, (5, rows)"""
    spread: FloatArray
    """its standard deviations, (5, rows)"""
    place: NDArray[np.intp]
    """(pairs, rows)"""
    used: NDArray[np.bool_]
    pre: FloatArray
    post: FloatArray
    delay: FloatArray
    asked: NDArray[np.bool_]
    """(periods, treatments, rows): treatments of each period that count"""
    stretch: NDArray[np.bool_]
    """the same with those that do not"""
    scale: FloatArray
    """of the model's error in the clearance, (rows,)"""
    error: ModelError

    def pick(self, rows: NDArray[np.bool_]) -> CourseTask:
        apart = ("course", "plan", "error")
        arrays = {f.name: getattr(self, f.name)[..., rows] for f in fields(self) if f.name not in apart}
        course = self.course.pick(rows)
        return replace(self, course=course, plan=plan_of(course), **arrays)


def person_of(logs: FloatArray) -> UreaBody:
    """The person of logarithms (5, trials, rows)."""
    return UreaBody(*np.exp(logs[[_V, _K, _R, _X]]))


def _bloods(task: CourseTask, way: Walk) -> FloatArray:
    """Logarithms of plasma urea before and after, for one unit of generation, (2, pairs, trials, rows)."""
    place = task.place[:, None]
    before = np.take_along_axis(way.before[0], place, axis=0)
    return np.log(k.PLASMA_WATER * np.stack([before, later_on(way, place, task.delay[:, None])]))


def _doses(task: CourseTask, way: Walk, person: UreaBody) -> FloatArray:
    """Logarithm of the dose of each period, and the kidney's share of the urea removed: (2, periods, trials, rows)."""
    if not task.asked.shape[0]:
        return np.zeros((2, 0, *person.volume.shape))
    peaks = np.einsum("ptr,tar->par", task.asked, way.before[0]) / task.asked.sum(axis=1)[:, None]
    off, on = way.exposures()
    by_kidney = task.plan.kidney[1::2] * person.kidney_factor * (off + on)
    by_dialyser = task.plan.dialyser[1::2] * person.clearance_factor * on
    kidney, dialyser = (np.einsum("ptr,tar->par", task.stretch, each) for each in (by_kidney, by_dialyser))
    return np.stack([np.log(k.MINUTES_PER_WEEK / person.volume / peaks), kidney / (kidney + dialyser)])


def _at(task: CourseTask, logs: FloatArray, rule: QuadratureRule = FINE) -> tuple[FloatArray, FloatArray]:
    """Logarithms of the bloods of people (5, trials, rows), (2, pairs, trials, rows); and what `_doses` says."""
    person = person_of(logs)
    way = walk(task.plan, person, rule)
    return _bloods(task, way) + logs[_G], _doses(task, way, person)


def _without_doses(task: CourseTask) -> CourseTask:
    nothing = np.zeros((0, *task.asked.shape[1:]), dtype=bool)
    return replace(task, asked=nothing, stretch=nothing)


def _moving(task: CourseTask, logs: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How bloods, (2, pairs, 5, rows), and doses, (2, periods, 5, rows), move with each unknown at (5, rows)."""
    which_tried = _tried(task)
    tried = np.repeat(logs[:, None], len(which_tried) + 1, axis=1)
    for at, which in enumerate(which_tried, start=1):
        tried[which, at] += _PROBE
    bloods, doses = (_slopes(each, which_tried) for each in _at(task, tried, ROUGH))
    bloods[:, :, _G] = 1.0
    return bloods * task.used[:, None], doses


def _tried(task: CourseTask) -> tuple[int, ...]:
    """Unknowns whose slopes have to be tried: bloods are in proportion to generation, and not every kidney works."""
    return (_V, _K, _R, _X) if np.any(task.plan.kidney > 0) else (_V, _K, _X)


def _slopes(tried: FloatArray, which: tuple[int, ...]) -> FloatArray:
    """Slopes by each unknown, (2, n, 5, rows), from what each trial gave, (2, n, trials, rows)."""
    slope = np.zeros((2, tried.shape[1], 5, tried.shape[-1]))
    slope[:, :, which] = (tried[:, :, 1:] - tried[:, :, :1]) / _PROBE
    return slope


def _scatter(task: CourseTask) -> FloatArray:
    """Covariance of the pairs around the model without what wanders: (2, 2, pairs, rows)."""
    e = task.error
    lost = np.log(task.post / task.pre)
    common = np.full(lost.shape, e.diet**2)
    before = common + e.laboratory**2 + (e.rounding / task.pre) ** 2
    after = common + e.laboratory**2 + (e.rounding / task.post) ** 2 + (e.night * task.scale * lost) ** 2
    whole = np.stack([np.stack([before, common]), np.stack([common, after])])
    unit = np.broadcast_to(np.eye(2)[:, :, None, None], whole.shape)
    return np.where(task.used, whole, unit)


def _wandered(task: CourseTask, slope: FloatArray) -> FloatArray:
    """Covariance between pairs by what drifted from them to the last treatment: (rows, 2 pairs, 2 pairs)."""
    starts = task.course.starts
    end = np.nanmax(starts, axis=0)
    age = (end - np.take_along_axis(starts, task.place, axis=0)) / HOURS_PER_DAY / DAYS_PER_MONTH
    shared = np.minimum(age[:, None], age[None])
    steps = ((_K, task.error.clearance_drift * task.scale), (_G, task.error.diet_drift + 0 * task.scale))
    whole = sum(
        np.einsum("apr,bqr,pqr->rapbq", slope[:, :, which], slope[:, :, which], shared * size**2)
        for which, size in steps
    )
    return _flat(np.asarray(whole))


def _flat(whole: FloatArray) -> FloatArray:
    """(rows, 2, pairs, 2, pairs) to (rows, 2 pairs, 2 pairs), the two of a pair beside each other."""
    rows, _, pairs = whole.shape[:3]
    return np.ascontiguousarray(whole.transpose(0, 2, 1, 4, 3)).reshape(rows, 2 * pairs, 2 * pairs)


def _beside(values: FloatArray) -> FloatArray:
    """(2, pairs, ..., rows) to (rows, 2 pairs, ...)."""
    moved = np.moveaxis(values, -1, 0)
    turned = np.swapaxes(moved, 1, 2)
    rows, pairs = turned.shape[:2]
    return np.ascontiguousarray(turned).reshape(rows, 2 * pairs, *turned.shape[3:])


@dataclass(frozen=True, slots=True, eq=False)
class _Gaussian:
    """The joint normal distribution of unknowns and bloods, to first order: rows first."""

    factor: FloatArray
    """Cholesky factor of the covariance of the bloods, (rows, 2 pairs, 2 pairs)"""
    gain: FloatArray
    """covariance of unknowns and bloods over that factor, (rows, 5, 2 pairs)"""

    def moved(self, off: FloatArray) -> FloatArray:
        """(5, rows): by how much bloods that are off the prior's by so much (rows, 2 pairs) move the unknowns."""
        return np.asarray(np.einsum("rup,rp->ur", self.gain, self.scores(off)))

    def scores(self, off: FloatArray) -> FloatArray:
        """Errors of each forecast from those before, in its standard deviations, (rows, 2 pairs)."""
        return np.asarray(np.linalg.solve(self.factor, off[..., None])[..., 0], dtype=np.float64)

    def foretold(self, off: FloatArray, drawn: FloatArray) -> FloatArray:
        """What the earlier pairs foretold of each, both values of a pair at once; like `drawn`, (rows, 2 pairs)."""
        rows, places = off.shape
        blocks = self.factor.reshape(rows, places // 2, 2, places // 2, 2)
        own = np.einsum("rpaqb,pq->rpab", blocks, np.eye(places // 2))
        missed = np.einsum("rpab,rpb->rpa", own, self.scores(off).reshape(rows, places // 2, 2))
        return np.asarray(drawn - missed.reshape(rows, places))

    def left(self, spread: FloatArray) -> FloatArray:
        """Covariance of the unknowns after the bloods, (rows, 5, 5)."""
        prior = np.einsum("ur,uv->ruv", spread**2, np.eye(5))
        return np.asarray(prior - np.einsum("rup,rvp->ruv", self.gain, self.gain))


def _gaussian(task: CourseTask, slope: FloatArray) -> _Gaussian:
    scatter = np.einsum("abpr,pq->rapbq", _scatter(task), np.eye(task.place.shape[0]))
    beside = _beside(slope)
    crossed = np.einsum("ur,rpu->rup", task.spread**2, beside)
    whole = _flat(scatter) + _wandered(task, slope) + np.einsum("rpu,ruq->rpq", beside, crossed)
    factor = np.linalg.cholesky(whole)
    gain = np.swapaxes(np.linalg.solve(factor, np.swapaxes(crossed, 1, 2)), 1, 2)
    return _Gaussian(factor, gain)


@dataclass(frozen=True, slots=True, eq=False)
class _CourseFound:
    """Where the search ended: the logarithms (5, rows), and what the bloods say there."""

    scale: FloatArray
    logs: FloatArray
    off: FloatArray
    """bloods less what the prior's patient would have, to first order at the answer, (rows, 2 pairs)"""
    settled: NDArray[np.bool_]
    steps: NDArray[np.intp]


def _off(task: CourseTask, slope: FloatArray, left: FloatArray, logs: FloatArray) -> FloatArray:
    """Bloods less what the prior's patient would have, to first order, (rows, 2 pairs)."""
    moved = np.einsum("apur,ur->apr", slope, logs - task.middle)
    return _beside(np.where(task.used, left + moved, 0.0))


def _search(task: CourseTask) -> _CourseFound:
    """Gauss-Newton from prior knowledge. After a few steps the slopes are kept, and the model's error is calibrated."""
    drawn, logs = np.log(np.stack([task.pre, task.post])), task.middle
    steps = np.zeros(logs.shape[-1], dtype=np.intp)
    for step in range(MOST_STEPS):
        if step < FULL_STEPS:
            slope = _moving(task, logs)[0]
            joint = _gaussian(task, slope)
        off = _off(task, slope, drawn - _at(task, logs[:, None], ROUGH)[0][:, :, 0], logs)
        if step == FULL_STEPS - 1:
            task = replace(task, scale=_scale(task, joint.scores(off)))
            joint = _gaussian(task, slope)
        move = np.clip(task.middle + joint.moved(off) - logs, -LONGEST_STEP, LONGEST_STEP)
        settled = ~(np.abs(move).max(axis=0, initial=0.0) > SETTLED)
        if settled.all() and step >= FULL_STEPS - 1:
            break
        logs, steps = logs + move, steps + ~settled
    return _CourseFound(task.scale, logs, off, settled, steps)


def _scale(task: CourseTask, each: FloatArray) -> FloatArray:
    """By how much later pairs missed their forecasts, over what was expected: (rows,), drawn towards 1.

    each: their scores, (rows, 2 pairs).
    """
    scores = each[:, 1::2].T
    later = task.used & (np.cumsum(task.used, axis=0) > 1)
    weight = float(k.FORECAST_WEIGHT)
    missed = (np.clip(scores, -MOST_SCORE, MOST_SCORE) ** 2).sum(axis=0, where=later)
    return np.asarray(np.sqrt((weight + missed) / (weight + later.sum(axis=0))))


MOST_SCORE = 4.0
"""A single wild pair tells of a wrong sample and not of the model: it counts as this many standard deviations."""


def _interval(variance: FloatArray) -> FloatArray:
    return np.asarray(QUANTILE * np.sqrt(variance))


def _variance(task: CourseTask, slope: FloatArray, covariance: FloatArray) -> FloatArray:
    """Of the logarithm of a dose with these slopes (periods, 5, rows): (periods, rows)."""
    e, count = task.error, task.asked.sum(axis=1)
    known = np.einsum("pur,ruv,pvr->pr", slope, covariance, slope)
    age = (np.nanmax(task.course.starts, axis=0) - _mean_start(task)) / HOURS_PER_DAY / DAYS_PER_MONTH
    wandered = e.clearance_drift**2 * age + e.night**2 / count
    return np.asarray(known + (slope[:, _K] * task.scale) ** 2 * wandered + e.dose**2)


def _mean_start(task: CourseTask) -> FloatArray:
    starts = np.nan_to_num(task.course.starts)
    return np.asarray(np.einsum("ptr,tr->pr", task.asked, starts) / task.asked.sum(axis=1))


def _dose_numbers(
    task: CourseTask, dose: FloatArray, moving: FloatArray, covariance: FloatArray
) -> dict[str, FloatArray]:
    """The fields of `Dose`, (periods, rows)."""
    (log_whole, share), (slope, share_slope) = dose, moving
    log_alone = log_whole + np.log1p(-share)
    slope_alone = slope - share_slope / (1 - share)[:, None]
    wide, wide_alone = (_interval(_variance(task, each, covariance)) for each in (slope, slope_alone))
    ends = {"low": log_whole - wide, "high": log_whole + wide}
    ends |= {"alone_low": log_alone - wide_alone, "alone_high": log_alone + wide_alone}
    logs = {"whole": log_whole, "alone": log_alone} | ends
    return {name: np.exp(value) for name, value in logs.items()} | {"of_kidney": share * np.exp(log_whole)}


def found_of_rows(task: CourseTask) -> tuple[dict[str, FloatArray], dict[str, FloatArray], list[Check]]:
    """Numbers of the patients (..., rows) and of their periods, and what keeps a row from them."""
    found = _search(_without_doses(task))
    task = replace(task, scale=found.scale)
    (slope, dose_slope), (_, dose) = _moving(task, found.logs), _at(task, found.logs[:, None])
    joint = _gaussian(task, slope)
    covariance = joint.left(task.spread)
    spread = np.sqrt(np.diagonal(covariance, axis1=1, axis2=2).T)
    values = np.exp(found.logs)
    drawn = _beside(np.log(np.stack([task.pre, task.post])))
    foretold = np.exp(joint.foretold(found.off, drawn))
    kidney = values[_R] * _last(task.course.kidney_clearance)
    moved = (found.logs - task.middle)[_V] - (found.logs - task.middle)[_K]
    gap = (~task.used).T
    numbers = {
        "volume": values[_V],
        "generation": values[_G],
        "kidney_clearance": kidney,
        "clearance_factor": values[_K],
        "exchange": values[_X],
        "volume_spread": values[_V] * spread[_V],
        "generation_spread": values[_G] * spread[_G],
        "kidney_spread": kidney * spread[_R],
        "covariance": covariance,
        "scale": task.scale,
        "pairs": task.used.sum(axis=0),
        "conflict": moved / np.hypot(task.spread[_V], task.spread[_K]),
        "foretold_pre": np.where(gap, np.nan, foretold[:, ::2]),
        "foretold_post": np.where(gap, np.nan, foretold[:, 1::2]),
        "score": np.where(gap, np.nan, joint.scores(found.off)[:, 1::2]),
        "steps": found.steps,
    }
    checks: list[Check] = [(~found.settled, Reason("search_not_settled", steps=MOST_STEPS))]
    answer = course_problems(task.course, person_of(found.logs[:, None]))
    checks += [(bad, Reason("fit_out_of_range", why=why)) for bad, why in answer]
    return numbers, _dose_numbers(task, dose[:, :, 0], dose_slope, covariance), checks


def _last(values: FloatArray) -> FloatArray:
    """The last that is not NaN, along the first axis."""
    known = ~np.isnan(values)
    last = values.shape[0] - 1 - np.argmax(known[::-1], axis=0)
    return np.asarray(np.take_along_axis(values, last[None], axis=0)[0])
