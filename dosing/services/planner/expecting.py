"""What a model expects of a schedule, dose and fluid, and whether that is as wanted: in nine of ten."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from dosing.science.course import DeliveredCourse
from dosing.science.fluid_need import FluidNights
from dosing.science.guidance import GUIDANCE
from dosing.science.reasons import Reason
from dosing.services.course.reading import course_at
from dosing.services.planner.candidates import Candidate, Tried, try_out
from dosing.services.planner.fluid_history import FEWEST, nights_now
from dosing.services.planner.fluid_of_schedule import WANTED_SHARE, ScheduleFluid, fluid_of
from dosing.services.planner.urea_model import UreaModel, urea_model
from sessions.models import Prescription

DOSE_WANTED = GUIDANCE["weekly_standard_ktv"].end("aim_low")
"""Weekly standard Kt/V to prescribe for: what guidance aims at, so that the least is still delivered."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """dose: weekly standard Kt/V at least [1/wk]; limit: UF rate at most [mL/kg/h]; weight_kg: after a treatment."""

    dose: float
    limit: float
    weight_kg: float


@dataclass(frozen=True, slots=True)
class Expectation:
    """One schedule. dose_low, dose_high: between which the dose lies with nine chances in ten [1/wk].

    chance: that the dose is at least the one wanted; fitted: whether the patient's bloods made the model; own_nights:
    treatments of the patient that tell of fluid. Where why gives a reason, dose and chance are NaN.
    """

    dose: float
    dose_low: float
    dose_high: float
    chance: float
    fluid: ScheduleFluid
    wanted: Wanted
    fitted: bool
    own_nights: int
    why: Reason | None

    @property
    def dose_good(self) -> bool:
        return self.chance >= WANTED_SHARE

    @property
    def fluid_good(self) -> bool:
        """Whether nine nights in ten keep within the limit, of each night of the week by itself."""
        return self.fluid.worst.most_rate <= self.wanted.limit

    @property
    def good(self) -> bool:
        return self.why is None and self.dose_good and self.fluid_good

    @property
    def fluid_known(self) -> bool:
        """Whether the fluid rests on the patient's own nights rather than on those of others."""
        return self.own_nights >= FEWEST

    def as_json(self) -> dict[str, Any]:
        """For a draft: numbers, and whether they rest on the patient; the words are made where they are read."""
        worst = self.fluid.worst
        numbers = {
            "standard_ktv": self.dose,
            "dose_low": self.dose_low,
            "dose_high": self.dose_high,
            "dose_chance": self.chance,
            "fluid_l": worst.usual_l,
            "fluid_most_l": worst.most_l,
            "uf_rate": worst.usual_rate,
            "uf_rate_most": worst.most_rate,
            "over": self.fluid.over,
            "over_worst": worst.over,
        }
        found: dict[str, Any] = {name: None if n != n else round(n, 3) for name, n in numbers.items()}
        found |= {"dose_wanted": self.wanted.dose, "uf_limit": self.wanted.limit}
        found |= {"dose_good": self.dose_good, "fluid_good": self.fluid_good}
        return found | {"fitted": self.fitted, "fluid_known": self.fluid_known, "own_nights": self.own_nights}


@dataclass(frozen=True, slots=True)
class KnownPatient:
    """What is known of a patient at a moment: the course, the model fitted to it, and what its nights tell of fluid."""

    course: DeliveredCourse
    model: UreaModel
    nights: FluidNights


def known_patient(prescription: Prescription, at: datetime, *, weight_kg: float) -> KnownPatient:
    """Of the patient of a prescription in force, for a target weight."""
    course = course_at(prescription.patient, at)
    return KnownPatient(course, urea_model(course), nights_now(course, weight_kg))


def expectations(
    candidates: Sequence[Candidate], tried: Tried, model: UreaModel, nights: FluidNights, wanted: Wanted
) -> list[Expectation]:
    """Of each of the candidates that were tried on this model."""
    return [_expectation(at, each, tried, model, nights, wanted) for at, each in enumerate(candidates)]


def expect(candidate: Candidate, model: UreaModel, nights: FluidNights, wanted: Wanted) -> Expectation:
    """Of one schedule."""
    return expectations([candidate], try_out([candidate], model), model, nights, wanted)[0]


def _expectation(
    at: int, candidate: Candidate, tried: Tried, model: UreaModel, nights: FluidNights, wanted: Wanted
) -> Expectation:
    low, high = tried.range_of(at)
    return Expectation(
        dose=float(tried.dose[at]),
        dose_low=low,
        dose_high=high,
        chance=tried.reaches(at, wanted.dose),
        fluid=fluid_of(candidate.pattern, candidate.minutes, nights, weight_kg=wanted.weight_kg, limit=wanted.limit),
        wanted=wanted,
        fitted=model.fitted,
        own_nights=int(nights.gap_days.size),
        why=tried.why[at],
    )
