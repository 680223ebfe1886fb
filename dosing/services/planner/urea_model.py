"""A patient's urea volume, generation and kidney clearance, fitted to the delivered course, and what it foretold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from statistics import median

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from dosing.science.body import expected_urea_volume
from dosing.science.course import DeliveredCourse, UreaPair
from dosing.science.course_urea import course_urea, fit_course, prior_of
from dosing.science.delivered_fit import DeliveredFit, UreaPrior
from dosing.science.delivered_search import LEVEL, UNKNOWNS
from dosing.science.fitted_dose import FittedPatient
from dosing.science.kidney import plasma_water_clearance
from dosing.science.reasons import Reason
from dosing.science.results import FloatArray
from dosing.services.course.reading import COURSE_COUNTS_FOR
from dosing.services.night.inputs import body_water
from dosing.services.numbers.standing import NumberInterval
from dosing.services.planner.fluid_history import gains_of
from sessions.facts.local_day import plain_day
from sessions.facts.local_number import decimals
from sessions.models import Patient, Prescription

HABITS = timedelta(days=30)
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


@dataclass(frozen=True, slots=True)
class UreaModel:
    """What the planner computes with, and what months are judged by.

    fitted: False where no pair of bloods is among what it rests on, as why says: then it is what is known of somebody
    of this body, with the width of that. basis: what it rests on, in words; checks: each later pair beside its
    forecast, oldest first; doses: of the periods that were asked for; conflict: how far the bloods moved V over
    delivered clearance from what the body says, in standard deviations of that.
    """

    person: FittedPatient
    volume_spread: float
    generation_spread: float
    fitted: bool
    why: Reason | None
    basis: tuple[str, ...] = ()
    pairs: int = 0
    conflict: float = 0.0
    checks: tuple[Foretold, ...] = ()
    doses: tuple[DeliveredDose | Reason, ...] = ()

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
    def gain(self) -> float:
        return self.person.fluid_gain

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


@dataclass(frozen=True)
class Habits:
    """What a model is made of: the delivered course of the last half year and the prescription at its end."""

    prescription: Prescription
    course: DeliveredCourse

    @cached_property
    def gains(self) -> list[float]:
        """Fluid gained a day off treatment in the last weeks [L/day], end to start."""
        since = self.course.until - HABITS
        found = (each for each in gains_of(self.course) if each.of.start >= since and 0.3 <= each.gap_days <= 5)
        return [max(0.0, each.gained_l / each.gap_days) for each in found]

    @property
    def gain(self) -> float:
        """Their middle; 1 where nothing is known."""
        return float(median(self.gains)) if self.gains else 1.0

    @property
    def basis(self) -> tuple[str, str]:
        """What a model rests on beside the bloods, in words."""
        gain = ngettext(
            "gain of %(gain)s L a day, the middle of %(count)s treatment in the last %(days)s days",
            "gain of %(gain)s L a day, the middle of %(count)s treatments in the last %(days)s days",
            len(self.gains),
        )
        parts = {"gain": decimals(self.gain, 2), "count": len(self.gains), "days": HABITS.days}
        return self._kidney_words(), gain % parts

    def _kidney_words(self) -> str:
        left = self.course.kidney_at(self.course.until)
        if left is None:
            return _("no kidney clearance: no urine collection in the last %(days)s days") % {
                "days": COURSE_COUNTS_FOR.days
            }
        return _("kidney clearance of %(clearance)s mL/min from the urine to %(ended_at)s") % {
            "clearance": decimals(left.clearance, 1),
            "ended_at": plain_day(left.collection.ended.date()),
        }


def urea_model(habits: Habits, periods: Sequence[tuple[datetime, datetime]] = ()) -> UreaModel:
    """The model of a patient at the end of a course: prior knowledge joined with every pair of bloods in it.

    periods: [from, until) whose delivered dose is wanted.
    """
    data = course_urea(habits.course)
    if isinstance(data, Reason):
        return _assumed(habits, data, len(periods))
    found = fit_course(habits.course, data, periods)
    if found.volume.number is None:
        return _assumed(habits, found.volume.reason or Reason("no_finite_answer"), len(periods))
    pairs = int(found.pairs)
    return UreaModel(
        person=_person(habits, found),
        volume_spread=found.volume_spread.number or 0.0,
        generation_spread=found.generation_spread.number or 0.0,
        fitted=pairs > 0,
        why=None if pairs else Reason("no_urea_pair_lately", days=COURSE_COUNTS_FOR.days),
        basis=(_pair_words(data.drawn) if pairs else _assumed_words(), *habits.basis),
        pairs=pairs,
        conflict=float(found.conflict),
        checks=_checks(data.drawn, found),
        doses=tuple(_dose(found, at) for at in range(len(periods))),
    )


def _person(habits: Habits, found: DeliveredFit) -> FittedPatient:
    numbers = (found.volume, found.generation, found.kidney_clearance, found.clearance_factor, found.exchange)
    volume, generation, kidney, factor, exchange = (float(each.value) for each in numbers)
    return FittedPatient(
        volume=volume,
        generation=generation,
        kidney_clearance=kidney,
        fluid_gain=habits.gain,
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


def _pair_words(drawn: Sequence[UreaPair]) -> str:
    words = ngettext(
        "urea before and after one treatment, the last on %(last)s",
        "urea before and after %(count)s treatments, the last on %(last)s",
        len(drawn),
    )
    return words % {"count": len(drawn), "last": plain_day(drawn[-1].pre_at.date())}


def _assumed_words() -> str:
    return _("volume assumed from height, weight, age and sex; generation assumed as usual for the weight")


def assumed_volume(person: Patient, *, weight_kg: float, on: date) -> float | None:
    """Urea volume to expect of this weight, height, age and sex [L], or None outside the equations' range."""
    return expected_urea_volume(watson_l=body_water(person, weight_kg=weight_kg, on=on).value).number


def _assumed(habits: Habits, why: Reason, periods: int) -> UreaModel:
    """What is known without a course that could be fitted: of the body, with the width of that."""
    prior = prior_of(habits.course, habits.prescription.target_weight_kg)
    volume, generation = float(np.asarray(prior.volume)), float(np.asarray(prior.generation))
    covariance = _width(prior)
    left = habits.course.kidney_at(habits.course.until)
    return UreaModel(
        person=FittedPatient(
            volume=volume,
            generation=generation,
            kidney_clearance=_in_water(left.clearance) if left else 0.0,
            fluid_gain=habits.gain,
            covariance=covariance,
        ),
        volume_spread=volume * float(np.sqrt(covariance[0, 0])),
        generation_spread=generation * float(np.sqrt(covariance[2, 2])),
        fitted=False,
        why=why,
        basis=(_assumed_words(), *habits.basis),
        doses=(why,) * periods,
    )


def _in_water(of_plasma: float) -> float:
    return plasma_water_clearance(clearance_ml_min=of_plasma).number or 0.0


def _width(prior: UreaPrior) -> FloatArray:
    """Covariance of the logarithms of the unknowns before any blood, (5, 5)."""
    spreads = [getattr(prior, f"{name}_spread") for name in UNKNOWNS]
    return np.asarray(np.diag(np.asarray(spreads, dtype=np.float64) ** 2))
