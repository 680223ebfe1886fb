"""Two-pool urea through a course of treatments as they really were: no steady week is assumed.

Phases of constant rates follow each other in real time, filling from the end of one treatment to the start of the
next, draining or filling during it; each passes exactly (`dosing.science.pools`), and the maps of all treatments are
joined by a parallel prefix product, so that half a year is a few array operations. What came before the first
treatment is taken to be its first two weeks, over and over; a few treatments later nothing of that is left.

Concentrations are of plasma WATER for one unit of generation [mmol/L per mmol/min]. Treatments come first and rows
(patients) last inside, rows first in what is asked and answered. Source of the model: see `dosing.science.kinetics`.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dosing.science import sources as k
from dosing.science.checks import within
from dosing.science.pools import FINE, Passage, Phases, QuadratureRule, exposure, passage, transition
from dosing.science.reasons import Reason
from dosing.science.results import Check, FloatArray
from dosing.science.schedule import HOURS_PER_DAY, MOST_DRAIN, MOST_VOLUMES, flat
from dosing.science.steady import fixed_point

RUN_IN = 14 * HOURS_PER_DAY
"""[h] The first two weeks stand for all that came before: they hold whole cycles of every night and every other."""
MOST_FLUID = 0.5
"""Of V that may lie beyond it, up to which the passage was checked: what a week without treatment leaves."""
LEAST_FLUID = -0.15
"""Of V that may be missing, when somebody ends under the target weight."""
FEWEST = 2
"""Treatments below which a course says nothing of the days between them."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DeliveredTreatments:
    """Treatments as they were, of one patient (n,) or of many (..., n). NaN in `starts` fills the end of short rows.

    starts: hours from any moment, rising. hours: length of each, above 0 to 24 (one broken off is short).
    clearance: total BLOOD-WATER urea clearance as noted, ultrafiltration included [mL/min], 0 to 1000.
    fluid_before, fluid_after: extracellular fluid beyond that of V when it starts and when it ends [L]; V is the urea
        volume where both are 0, at the target weight.
    kidney_clearance: of plasma WATER, from the end of the treatment before to the end of this one [mL/min], 0 to 30.
    counts: whether the concentration before it is a peak of the patient's week: not of one broken off at once, nor of
        one that is only assumed.
    extracellular_share: of V, (...,).
    """

    starts: ArrayLike
    hours: ArrayLike
    clearance: ArrayLike
    fluid_before: ArrayLike = 0.0
    fluid_after: ArrayLike = 0.0
    kidney_clearance: ArrayLike = 0.0
    counts: ArrayLike = True
    extracellular_share: ArrayLike = float(k.EXTRACELLULAR_SHARE)


_PER_TREATMENT = ("starts", "hours", "clearance", "fluid_before", "fluid_after", "kidney_clearance", "counts")


def course_shape(given: DeliveredTreatments) -> tuple[tuple[int, ...], int]:
    """Leading shape of the batch, and the number of places for treatments."""
    each = np.broadcast_shapes((1,), *(np.shape(getattr(given, name)) for name in _PER_TREATMENT))
    return np.broadcast_shapes(each[:-1], np.shape(given.extracellular_share)), each[-1]


@dataclass(frozen=True, slots=True, eq=False)
class CourseRows:
    """The treatments of some rows: (treatments, rows), the share (rows,). Units as in `DeliveredTreatments`."""

    starts: FloatArray
    hours: FloatArray
    clearance: FloatArray
    fluid_before: FloatArray
    fluid_after: FloatArray
    kidney_clearance: FloatArray
    counts: FloatArray
    extracellular_share: FloatArray

    @property
    def there(self) -> NDArray[np.bool_]:
        return ~np.isnan(self.starts)

    def pick(self, rows: NDArray[np.intp] | NDArray[np.bool_]) -> CourseRows:
        """These rows only, in this order."""
        return CourseRows(*(getattr(self, field.name)[..., rows] for field in fields(self)))


def course_rows(given: DeliveredTreatments, *, batch: tuple[int, ...], rows: slice) -> CourseRows:
    """These rows of the flattened batch."""
    places = course_shape(given)[1]
    each = {name: flat(getattr(given, name), batch=batch, places=places, rows=rows) for name in _PER_TREATMENT}
    return CourseRows(**each, extracellular_share=flat(given.extracellular_share, batch=batch, places=None, rows=rows))


@dataclass(frozen=True, slots=True, eq=False)
class UreaBody:
    """What the course does not say, each (trials, rows): several guesses at the same course are tried at once.

    volume: V [L]; clearance_factor: delivered over noted; kidney_factor: of the noted; exchange: X/V [1/min].
    """

    volume: FloatArray
    clearance_factor: FloatArray
    kidney_factor: FloatArray
    exchange: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """What a course is whoever the person is: phases off, on, off, on ... (2 treatments, 1, rows). Empty places last
    no time."""

    minutes: FloatArray
    fluid: FloatArray
    """beyond V at the start of each phase [L]"""
    slope: FloatArray
    """of that [L/min]"""
    kidney: FloatArray
    """[L/min]"""
    dialyser: FloatArray
    """[L/min]"""
    share: FloatArray
    """of V that is extracellular, (1, rows)"""
    run_in: NDArray[np.intp]
    """the last treatment of the first two weeks, (1, rows)"""


def _before_first(c: CourseRows) -> tuple[FloatArray, NDArray[np.intp]]:
    """[h] from the last treatment of the run-in to the first one of the next round; that last one's place, (rows,)."""
    # A treatment two weeks after the first may begin some hours early: it is the first one again, not one more.
    again = c.starts[0] + RUN_IN
    last = np.maximum((c.starts < again - HOURS_PER_DAY / 2).sum(axis=0) - 1, 0)
    ended = np.take_along_axis(c.starts + c.hours, last[None], axis=0)[0]
    return np.fmax(again - ended, 1.0), last


def plan_of(c: CourseRows) -> Plan:
    """The phases of a course, once for all that is tried on it."""
    there = c.there
    first, last = _before_first(c)
    gaps = np.concatenate([first[None], c.starts[1:] - (c.starts + c.hours)[:-1]])
    earlier = np.concatenate([np.take_along_axis(c.fluid_after, last[None], axis=0), c.fluid_after[:-1]])
    off, on = np.where(there, gaps * 60, 0.0), np.where(there, c.hours * 60, 0.0)
    levels = [np.where(there, fluid, 0.0) for fluid in (earlier, c.fluid_before, c.fluid_after)]
    kidney = np.where(there, c.kidney_clearance, 0.0) / k.ML_PER_L
    dialyser = np.where(there, c.clearance, 0.0) / k.ML_PER_L
    return Plan(
        minutes=_in_turn(off, on),
        fluid=_in_turn(levels[0], levels[1]),
        slope=_in_turn(_rate(levels[1] - levels[0], off), _rate(levels[2] - levels[1], on)),
        kidney=_in_turn(kidney, kidney),
        dialyser=_in_turn(np.zeros_like(dialyser), dialyser),
        share=c.extracellular_share[None],
        run_in=last[None],
    )


def phases_of(plan: Plan, person: UreaBody) -> Phases:
    """The phases for some people, (2 treatments, trials, rows)."""
    outer = person.volume * plan.share
    exchange = person.exchange * person.volume
    return Phases(
        minutes=plan.minutes,
        volume=outer + plan.fluid,
        slope=plan.slope,
        clearance=plan.kidney * person.kidney_factor + plan.dialyser * person.clearance_factor,
        exchange=exchange,
        turnover=exchange / (person.volume - outer),
    )


def _in_turn(off: FloatArray, on: FloatArray) -> FloatArray:
    """Phases from (treatments, rows) each."""
    both = np.empty((2 * off.shape[0], 1, off.shape[1]))
    both[::2, 0], both[1::2, 0] = off, on
    return both


def _rate(amount: FloatArray, minutes: FloatArray) -> FloatArray:
    """[L/min]; nothing moves in no time."""
    return np.divide(amount, minutes, out=np.zeros_like(minutes), where=minutes > 0)


@dataclass(frozen=True, slots=True, eq=False)
class Walk:
    """The course for one unit of generation. States are (Ce, Ci), shape (2, treatments, trials, rows)."""

    phases: Phases
    """off, on, off, on ... in order of time; shape (2 treatments, trials, rows)"""
    solutions: Passage
    earlier: FloatArray
    """at the end of the treatment before"""
    before: FloatArray
    """at the start of each treatment"""
    after: FloatArray
    """at its end"""

    def exposures(self) -> FloatArray:
        """Integral of Ce over the gap before each treatment and over the treatment, (2, treatments, trials, rows)."""
        states = np.stack([self.earlier, self.before], axis=2)
        outer, inner = states.reshape(2, 2 * states.shape[1], *states.shape[3:])
        each = exposure(self.phases, self.solutions, outer, inner)
        return np.asarray(np.stack([each[::2], each[1::2]]))


def _joined(later: FloatArray, earlier: FloatArray) -> FloatArray:
    """One affine map after another: (2, 3, ...) each, the last column is what is added."""
    joined = later[:, :1] * earlier[:1] + later[:, 1:2] * earlier[1:]
    joined[:, 2] += later[:, 2]
    return np.asarray(joined)


def _so_far(maps: FloatArray) -> FloatArray:
    """The map from the start of the course to the end of each treatment: (2, 3, treatments, ...)."""
    whole, step = maps.copy(), 1
    while step < maps.shape[2]:
        whole[:, :, step:] = _joined(whole[:, :, step:], whole[:, :, :-step])
        step *= 2
    return whole


def _applied(maps: FloatArray, state: FloatArray) -> FloatArray:
    return np.asarray(maps[:2, 0] * state[0] + maps[:2, 1] * state[1] + maps[:2, 2])


def walk(plan: Plan, person: UreaBody, rule: QuadratureRule = FINE) -> Walk:
    """The course of each person, from where its first two weeks lead when they come again and again."""
    phases = phases_of(plan, person)
    solutions = passage(phases, rule)
    maps = transition(solutions)[:2]
    off, on = maps[:, :, ::2], maps[:, :, 1::2]
    whole = _so_far(_joined(on, off))
    first = fixed_point(np.take_along_axis(whole, plan.run_in[None, None, None], axis=2)[:, :, 0])
    after = _applied(whole, first[:, None])
    earlier = np.concatenate([first[:, None], after[:, :-1]], axis=1)
    return Walk(phases, solutions, earlier, _applied(off, earlier), after)


def later_on(w: Walk, place: NDArray[np.intp], minutes: FloatArray) -> FloatArray:
    """Ce some minutes after the end of treatments, on the rates of the gap before each; all (pairs, 1, rows)."""
    state = np.stack([np.take_along_axis(each, place, axis=0) for each in w.after])
    if not np.any(minutes > 0):
        return np.asarray(state[0])
    gap, there = 2 * place, 2 * place + 1
    volume = np.take_along_axis(w.phases.volume + w.phases.slope * w.phases.minutes, there, axis=0)
    slope = np.take_along_axis(w.phases.slope, gap, axis=0)
    kidney = np.take_along_axis(w.phases.clearance, gap, axis=0)
    part = Phases(minutes, volume, slope, kidney, w.phases.exchange, w.phases.turnover)
    return np.asarray(_applied(transition(passage(part, w.solutions.rule)), state)[0])


def course_problems(c: CourseRows, person: UreaBody) -> list[Check]:
    """What keeps each row from an answer, (rows,) each; the ranges are those in which the passage was checked."""
    phases = phases_of(plan_of(c), person)
    off, on = phases.minutes[::2, 0], phases.minutes[1::2, 0]
    cleared = phases.clearance[1::2, 0]
    checks = within(0, 1000, "mL/min", clearance=c.clearance)
    checks += within(0, 30, "mL/min", kidney_clearance=c.kidney_clearance)
    bad_length = ~((c.hours > 0) & (c.hours <= HOURS_PER_DAY))
    checks.append((bad_length, Reason("outside", what="length_of_a_treatment", low=0, high=24, unit="h")))
    checks.append((~(off > 0), Reason("treatments_overlap")))
    checks.append((~np.isfinite(c.fluid_before + c.fluid_after), Reason("not_given", what="fluid_gain")))
    levels = np.stack([c.fluid_before, c.fluid_after]) / person.volume[0]
    far = ((levels > MOST_FLUID) | (levels < LEAST_FLUID)).any(axis=0)
    checks.append((far, Reason("fluid_far_from_target", low=LEAST_FLUID, high=MOST_FLUID)))
    too_fast = np.abs(phases.slope[1::2, 0]) > MOST_DRAIN * (cleared + phases.exchange[0])
    checks.append((too_fast, Reason("drained_too_fast", most=MOST_DRAIN)))
    checks.append((cleared * on > MOST_VOLUMES * person.volume[0], Reason("cleared_too_much", most=MOST_VOLUMES)))
    few = [(c.there.sum(axis=0) < FEWEST, Reason("few_treatments", least=FEWEST))]
    each = [((np.asarray(bad) & c.there).any(axis=0), why) for bad, why in checks]
    return few + each + within(0.2, 0.5, extracellular_share=c.extracellular_share)
