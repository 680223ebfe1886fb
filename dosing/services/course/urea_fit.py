"""Urea volume, generation and kidney clearance fitted to a delivered course, its doses, and what it foretold.

The one fit of night, month, board, review and planner.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from dosing.science.course import DeliveredCourse, UreaPair
from dosing.science.course_urea import course_urea, fit_course, prior_of
from dosing.science.delivered_fit import DeliveredFit, UreaPrior
from dosing.science.delivered_search import LEVEL, UNKNOWNS
from dosing.science.fitted_dose import FittedPatient
from dosing.science.kidney import plasma_water_clearance
from dosing.science.reasons import Reason
from dosing.science.results import FloatArray
from dosing.services.course.reading import COURSE_COUNTS_FOR
from dosing.services.numbers.standing import NumberInterval

MOST_SCORE = 2.58
"""Standard deviations of its forecast by which one pair in a hundred is off by chance: beyond, a model has drifted."""


@dataclass(frozen=True, slots=True)
class Foretold:
    """A later pair beside what the model of the earlier ones foretold [mmol/L]; score: in standard deviations."""

    pair: UreaPair
    pre: float
    post: float
    score: float

    @property
    def ratio_off(self) -> float:
        return (self.pair.post / self.pair.pre) / (self.post / self.pre) - 1

    @property
    def ratio_percent(self) -> str:
        return f"{100 * self.ratio_off:+.0f}".replace("-", "−")

    @property
    def drifted(self) -> bool:
        return abs(self.score) > MOST_SCORE


@dataclass(frozen=True, slots=True)
class DeliveredDose:
    """Weekly standard Kt/V of a period as it was delivered [1/wk], each with its interval; or why there is none."""

    whole: float
    alone: float
    of_kidney: float
    whole_interval: NumberInterval
    alone_interval: NumberInterval


@dataclass(frozen=True, slots=True, kw_only=True)
class UreaFit:
    """The patient that a course points to, and the doses of the periods that were asked for.

    person: without a gain of fluid. fitted: False where no pair of bloods is among what it rests on, as why says: then
    it is what is known of somebody of this body, with the width of that. drawn: the pairs used, oldest first; checks:
    each later pair beside its forecast, oldest first; conflict: how far the bloods moved V over delivered clearance
    from what the body says, in standard deviations of that.
    """

    person: FittedPatient
    volume_spread: float
    generation_spread: float
    fitted: bool
    why: Reason | None
    drawn: tuple[UreaPair, ...] = ()
    conflict: float = 0.0
    checks: tuple[Foretold, ...] = ()
    doses: tuple[DeliveredDose | Reason, ...] = ()

    @property
    def pairs(self) -> int:
        return len(self.drawn)

    @property
    def volume(self) -> float:
        return self.person.volume

    @property
    def generation(self) -> float:
        return self.person.generation

    @property
    def kidney(self) -> float:
        return self.person.kidney_clearance

    @property
    def delivered_percent(self) -> float:
        """Clearance that reached the patient, of that noted."""
        return 100 * self.person.clearance_factor

    @property
    def volume_as_noted(self) -> float:
        """The volume that the bloods would mean if the noted clearance were the delivered one [L]."""
        return self.volume / self.person.clearance_factor

    def spread_of(self, *signs: float) -> float:
        """Standard deviation of a sum of the logarithms of the unknowns, in their order."""
        weights = np.zeros(len(UNKNOWNS))
        weights[: len(signs)] = signs
        return float(np.sqrt(weights @ self.person.covariance @ weights))


def urea_fit(course: DeliveredCourse, periods: Sequence[tuple[datetime, datetime]] = ()) -> UreaFit:
    """Prior knowledge joined with every pair of bloods of a course that has a prescription.

    periods: [from, until) whose delivered dose is wanted.
    """
    data = course_urea(course)
    if isinstance(data, Reason):
        return _assumed(course, data, len(periods))
    found = fit_course(course, data, periods)
    if found.volume.number is None:
        return _assumed(course, found.volume.reason or Reason("no_finite_answer"), len(periods))
    fitted = int(found.pairs) > 0
    return UreaFit(
        person=_person(found),
        volume_spread=found.volume_spread.number or 0.0,
        generation_spread=found.generation_spread.number or 0.0,
        fitted=fitted,
        why=None if fitted else Reason("no_urea_pair_lately", days=COURSE_COUNTS_FOR.days),
        drawn=data.drawn if fitted else (),
        conflict=float(found.conflict),
        checks=_checks(data.drawn, found),
        doses=tuple(_dose(found, at) for at in range(len(periods))),
    )


def _person(found: DeliveredFit) -> FittedPatient:
    numbers = (found.volume, found.generation, found.kidney_clearance, found.clearance_factor, found.exchange)
    volume, generation, kidney, factor, exchange = (float(each.value) for each in numbers)
    return FittedPatient(
        volume=volume,
        generation=generation,
        kidney_clearance=kidney,
        clearance_factor=factor,
        exchange=exchange,
        covariance=found.covariance,
    )


def _dose(found: DeliveredFit, at: int) -> DeliveredDose | Reason:
    dose = found.dose
    why: Reason | None = dose.whole.why[at]
    if why is not None:
        return why
    low, high, alone_low, alone_high = (
        float(each.value[at]) for each in (dose.low, dose.high, dose.alone_low, dose.alone_high)
    )
    return DeliveredDose(
        whole=float(dose.whole.value[at]),
        alone=float(dose.alone.value[at]),
        of_kidney=float(dose.of_kidney.value[at]),
        whole_interval=NumberInterval(low, high, LEVEL),
        alone_interval=NumberInterval(alone_low, alone_high, LEVEL),
    )


def _checks(drawn: Sequence[UreaPair], found: DeliveredFit) -> tuple[Foretold, ...]:
    """Each used pair but the first."""
    known = [
        Foretold(pair, float(pre), float(post), float(score))
        for pair, pre, post, score in zip(
            drawn, found.foretold.pre, found.foretold.post, found.foretold.score, strict=True
        )
        if score == score
    ]
    return tuple(known[1:])


def _assumed(course: DeliveredCourse, why: Reason, periods: int) -> UreaFit:
    """What is known without a course that could be fitted: of the body, with the width of that."""
    prior = prior_of(course, course.orders[-1].target_weight_kg)
    volume, generation = float(np.asarray(prior.volume)), float(np.asarray(prior.generation))
    covariance = _width(prior)
    left = course.kidney_at(course.until)
    return UreaFit(
        person=FittedPatient(
            volume=volume,
            generation=generation,
            kidney_clearance=_in_water(left.clearance) if left else 0.0,
            covariance=covariance,
        ),
        volume_spread=volume * float(np.sqrt(covariance[0, 0])),
        generation_spread=generation * float(np.sqrt(covariance[2, 2])),
        fitted=False,
        why=why,
        doses=(why,) * periods,
    )


def _in_water(of_plasma: float) -> float:
    return plasma_water_clearance(clearance_ml_min=of_plasma).number or 0.0


def _width(prior: UreaPrior) -> FloatArray:
    """Covariance of the logarithms of the unknowns before any blood, (5, 5)."""
    spreads = [getattr(prior, f"{name}_spread") for name in UNKNOWNS]
    return np.asarray(np.diag(np.asarray(spreads, dtype=np.float64) ** 2))
