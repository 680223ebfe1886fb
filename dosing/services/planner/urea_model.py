"""A patient's urea volume, generation and kidney clearance, fitted to the bloods; and how it foretold later ones."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from itertools import pairwise
from statistics import median

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from dosing.science.body import expected_urea_volume
from dosing.science.course import PROTECTED
from dosing.science.dialyser import delivered_blood_flow, in_vivo_koa
from dosing.science.kidney import plasma_water_clearance
from dosing.science.kinetics import Observations, PatientParameters, Schedule, fit, weekly_steady_state
from dosing.science.reasons import Reason
from dosing.services.course.reading import WAYS
from dosing.services.night.inputs import body_water
from dosing.services.night.treatments import ComputedNight, nights_of
from dosing.services.planner.patterns import Pattern, pattern_of
from dosing.services.results.urine import collections_of
from sessions.facts.choices import Analyte, PostSampleMethod, SampleTiming
from sessions.facts.local_number import decimals
from sessions.models import BloodResult, Patient, Prescription

BLOODS_COUNT_FOR = timedelta(days=180)
URINE_COUNTS_FOR = timedelta(days=180)
HABITS = timedelta(days=30)
MOST_PAIRS = 3
USUAL_GENERATION = 0.19
"""mmol/min where nothing is measured: about 1 g of protein per kg and day at 70 kg (common practice, no source)."""
ASSUMED_SPREAD, MODEL_SPREAD = 0.16, 0.04
"""Relative spread of the volume per clearance where both are assumed, and what a fit leaves out: errors of a clearance
and of a week that is not steady. Common practice, no source."""
DRIFTED_RATIO, DRIFTED_PRE = 0.10, 0.20
"""Relative differences of after/before and of before from which a model is said to have drifted: several times the
error of two results; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Pair:
    """Urea before and after one treatment [mmol/L], and when it was."""

    at: datetime
    pre: float
    post: float
    intervals: tuple[float, ...]
    """days from start to start before it, the last one first; up to three"""


@dataclass(frozen=True, slots=True)
class Setting:
    """How the patient was treated: pattern, length, flows and dialyser, for fit and prediction."""

    pattern: Pattern
    minutes: float
    qb_ml_min: float
    qd_ml_min: float
    koa_ml_min: float

    def schedule(self) -> Schedule:
        return Schedule(
            starts=self.pattern.starts,
            hours=self.minutes / 60,
            cycle_days=self.pattern.cycle_days,
            koa=living_koa(self.koa_ml_min),
            blood_flow=real_flow(self.qb_ml_min),
            dialysate_flow=self.qd_ml_min,
        )


@dataclass(frozen=True, slots=True)
class UreaModel:
    """What the planner computes with. Spreads are one standard deviation from errors of measurement alone.

    volume [L], generation [mmol/min], kidney [mL/min of plasma water], gain [L/day]; basis: what it rests on, in
    words; fitted: False where volume and generation are assumed, and why says what was missing.
    """

    volume: float
    generation: float
    kidney: float
    gain: float
    volume_spread: float | None
    generation_spread: float | None
    misfit: float | None
    fitted: bool
    why: Reason | None
    basis: tuple[str, ...]
    pairs: tuple[Pair, ...] = ()

    @property
    def misfit_percent(self) -> float | None:
        return None if self.misfit is None else 100 * self.misfit

    def patient(self, volumes: float = 0.0) -> PatientParameters:
        """For the science, with the volume moved by so many of its spreads, those of model and clearance in them."""
        known = ASSUMED_SPREAD * self.volume if self.volume_spread is None else self.volume_spread
        moved = self.volume + volumes * math.hypot(known, MODEL_SPREAD * self.volume)
        return PatientParameters(
            volume=moved, generation=self.generation, kidney_clearance=self.kidney, fluid_gain=self.gain
        )


@dataclass(frozen=True, slots=True)
class Foretold:
    """A later pair beside what the model of the earlier ones foretold [mmol/L]."""

    pair: Pair
    pre: float
    post: float

    @property
    def pre_off(self) -> float:
        return self.pair.pre / self.pre - 1

    @property
    def ratio_off(self) -> float:
        return (self.pair.post / self.pair.pre) / (self.post / self.pre) - 1

    @property
    def ratio_percent(self) -> str:
        return f"{100 * self.ratio_off:+.0f}".replace("-", "−")

    @property
    def drifted(self) -> bool:
        return abs(self.ratio_off) > DRIFTED_RATIO or abs(self.pre_off) > DRIFTED_PRE


def living_koa(label: float) -> float:
    """KoA in the patient from the data sheet's [mL/min]."""
    return in_vivo_koa(label_koa=label).number or label


def real_flow(setting: float) -> float:
    """Blood flow behind a pump setting [mL/min]."""
    return delivered_blood_flow(set_flow=setting).number or setting


@dataclass(frozen=True, slots=True)
class Habits:
    """What a model is fitted to: how the patient was treated, gained and passed urine, and the bloods.

    setting: None where the model has no such pattern, as `why` says. gain [L/day]; kidney [mL/min of plasma water].
    """

    person: Patient
    prescription: Prescription
    at: datetime
    treatments: int
    setting: Setting | None
    why: Reason | None
    gain: float
    kidney: float
    kidney_words: str
    pairs: tuple[Pair, ...]

    @property
    def basis(self) -> tuple[str, str]:
        """What a model rests on beside the bloods, in words."""
        gain = ngettext(
            "gain of %(gain)s L a day, the middle of %(count)s treatment in the last %(days)s days",
            "gain of %(gain)s L a day, the middle of %(count)s treatments in the last %(days)s days",
            self.treatments,
        )
        return self.kidney_words, gain % {
            "gain": decimals(self.gain, 2),
            "count": self.treatments,
            "days": HABITS.days,
        }


def habits_of(person: Patient, prescription: Prescription, at: datetime) -> Habits:
    """Everything that is read for a model, read once."""
    recent = nights_of(person.pk, since=at - HABITS, until=at)
    kidney, kidney_words = _kidney(person, at)
    setting, why = None, None
    try:
        setting = setting_of(prescription, recent)
    except ValueError:
        why = Reason("pattern_not_modelled", per_week=prescription.days_per_week)
    return Habits(
        person=person,
        prescription=prescription,
        at=at,
        treatments=len(recent),
        setting=setting,
        why=why,
        gain=_gain(recent),
        kidney=kidney,
        kidney_words=kidney_words,
        pairs=tuple(pairs_of(person, at)),
    )


def urea_model(habits: Habits) -> UreaModel:
    """The model of a patient at a moment: fitted where bloods allow it, else assumed and said to be so."""
    if habits.setting is None:
        return _assumed(habits, habits.why)
    if not habits.pairs:
        return _assumed(habits, Reason("no_urea_pair_lately", days=BLOODS_COUNT_FOR.days))
    found = _fitted(habits, habits.setting, habits.pairs[-MOST_PAIRS:])
    if not isinstance(found, UreaModel):
        return _assumed(habits, found)
    count = len(found.pairs)
    words = ngettext(
        "urea before and after one treatment, the last on %(last)s",
        "urea before and after %(count)s treatments, the last on %(last)s",
        count,
    ) % {"count": count, "last": f"{habits.pairs[-1].at:%Y-%m-%d}"}
    return replace(found, basis=(words, *habits.basis))


def setting_of(prescription: Prescription, recent: list[ComputedNight]) -> Setting:
    """The pattern prescribed, with the length and blood flow that were really delivered lately."""
    minutes = [night.value("minutes") for night in recent]
    flows = [night.value("blood_flow_median") for night in recent]
    return Setting(
        pattern=pattern_of(prescription.days_per_week, prescription.weekdays),
        minutes=_middle(minutes, prescription.minutes),
        qb_ml_min=_middle(flows, prescription.qb_ml_min),
        qd_ml_min=prescription.qd_ml_min,
        koa_ml_min=prescription.dialyser.koa_ml_min,
    )


def _middle(values: list[float | None], otherwise: float) -> float:
    known = [value for value in values if value is not None]
    return float(median(known)) if known else otherwise


def _gain(recent: list[ComputedNight]) -> float:
    """Fluid gained a day off treatment [L]: the middle over the nights, end to start; 1 where nothing is known."""
    daily = []
    for before, night in pairwise(recent):
        gain, ended = night.value("gain"), before.record.ended_at
        days = (night.record.started_at - ended).total_seconds() / 86400 if ended else 0.0
        if gain is not None and 0.3 <= days <= 5:
            daily.append(max(0.0, gain / days))
    return _middle(list(daily), 1.0)


def _kidney(person: Patient, at: datetime) -> tuple[float, str]:
    for each in collections_of(person):
        clearance = each.urea.number
        if clearance is not None and at - URINE_COUNTS_FOR <= each.urine.ended_at <= at:
            water = plasma_water_clearance(clearance_ml_min=clearance).number or 0.0
            return water, _("kidney clearance of %(clearance)s mL/min from the urine to %(ended_at)s") % {
                "clearance": decimals(clearance, 1),
                "ended_at": f"{each.urine.ended_at:%Y-%m-%d}",
            }
    return 0.0, _("no kidney clearance: no urine collection in the last %(days)s days") % {
        "days": URINE_COUNTS_FOR.days
    }


def pairs_of(person: Patient, at: datetime) -> list[Pair]:
    """Protected urea pairs of the last half year, oldest first: two queries."""
    span = (at - BLOODS_COUNT_FOR, at)
    bloods = BloodResult.objects.filter(
        patient=person, analyte=Analyte.UREA, drawn_at__range=span, treatment__ended_at__isnull=False
    ).select_related("treatment")
    by_treatment: dict[object, dict[str, BloodResult]] = {}
    for each in bloods.order_by("drawn_at"):
        by_treatment.setdefault(each.treatment_id, {})[each.timing] = each
    starts = sorted(person.treatments.filter(started_at__lt=at).values_list("started_at", flat=True))
    found = []
    for both in by_treatment.values():
        pre, post = both.get(SampleTiming.PRE), both.get(SampleTiming.POST)
        if pre and post and WAYS.get(PostSampleMethod(post.post_method or "neither")) in PROTECTED:
            record = pre.treatment
            assert record is not None
            until = [start for start in starts if start <= record.started_at][::-1][:4]
            days = tuple((later - before).total_seconds() / 86400 for later, before in pairwise(until))
            found.append(Pair(record.started_at, pre.value, post.value, days))
    return sorted(found, key=lambda pair: pair.at)


def _fitted(habits: Habits, setting: Setting, pairs: tuple[Pair, ...]) -> UreaModel | Reason:
    """The model that explains these pairs, or why there is none."""
    places = [setting.pattern.place_after(pair.intervals) for pair in pairs]
    found = fit(
        schedule=setting.schedule(),
        observations=Observations(
            treatment=places,
            pre=[pair.pre for pair in pairs],
            post=[pair.post for pair in pairs],
            fluid_gain=habits.gain,
            kidney_clearance=habits.kidney,
        ),
    )
    volume, generation = found.volume.number, found.generation.number
    why = found.volume.reason or found.generation.reason
    if why is not None or volume is None or generation is None:
        return why or Reason("no_finite_answer")
    return UreaModel(
        volume=volume,
        generation=generation,
        kidney=habits.kidney,
        gain=habits.gain,
        volume_spread=found.volume_spread.number,
        generation_spread=found.generation_spread.number,
        misfit=found.misfit.number,
        fitted=True,
        why=None,
        basis=(),
        pairs=pairs,
    )


def assumed_volume(person: Patient, *, weight_kg: float, on: date) -> float | None:
    """Urea volume to expect of this weight, height, age and sex [L], or None outside the equations' range."""
    return expected_urea_volume(watson_l=body_water(person, weight_kg=weight_kg, on=on).value).number


def _assumed(habits: Habits, why: Reason | None) -> UreaModel:
    weight = habits.prescription.target_weight_kg
    words = _("volume assumed from height, weight, age and sex; generation assumed as usual for the weight")
    return UreaModel(
        volume=assumed_volume(habits.person, weight_kg=weight, on=habits.at.date()) or 0.58 * weight,
        generation=USUAL_GENERATION * weight / 70,
        kidney=habits.kidney,
        gain=habits.gain,
        volume_spread=None,
        generation_spread=None,
        misfit=None,
        fitted=False,
        why=why,
        basis=(words, *habits.basis),
    )


def held_against(habits: Habits) -> list[Foretold]:
    """Each pair but the first beside what the pairs before it foretold, oldest first."""
    if habits.setting is None:
        return []
    checks = []
    for index in range(1, len(habits.pairs)):
        model = _fitted(habits, habits.setting, habits.pairs[max(0, index - MOST_PAIRS) : index])
        if isinstance(model, UreaModel) and (check := _foretold(model, habits.setting, habits.pairs[index])):
            checks.append(check)
    return checks


def _foretold(model: UreaModel, setting: Setting, pair: Pair) -> Foretold | None:
    week = weekly_steady_state(schedule=setting.schedule(), patient=model.patient())
    place = setting.pattern.place_after(pair.intervals)
    pre, post = week.pre_plasma.value[place], week.post_plasma.value[place]
    return Foretold(pair, float(pre), float(post)) if pre == pre and post == post else None
