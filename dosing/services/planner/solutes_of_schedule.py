"""Phosphate, beta-2-microglobulin and potassium of schedules, each beside what the patient has now.

What a person absorbs is not known, so nothing absolute is computed: phosphate and beta-2-microglobulin are ratios to
the patient's own level, potassium is a change at a named bath. The bands hold eight in ten of what the kinetics leave
open; that people eat more and take fewer binders with more dialysis is a band of its own, from published groups.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from statistics import mean

import numpy as np

from dosing.science import solutes
from dosing.science import sources as k
from dosing.science.course import DeliveredCourse
from dosing.science.reasons import Reason
from dosing.science.results import FloatArray
from dosing.science.schedule import Schedule
from dosing.science.solutes import Solute, SoluteBand, SoluteWeek, as_in_groups, band_of
from dosing.services.planner.candidates import Candidate, living_koa, real_flow, schedule_of
from dosing.services.planner.patterns import NIGHTS, pattern_of
from dosing.services.planner.urea_model import UreaModel
from sessions.facts.choices import Analyte, SampleTiming
from sessions.facts.medicines import MedicationKind
from sessions.models import BloodResult, Prescription

DRAWS = 30
SPREADS = {"exchange": 0.43, "first": 0.35, "clearance": 0.16}
"""Standard deviations of the logarithms of what is not known of a patient: mobilisation and central volume as they
varied in 774 patients (Leypoldt 2013, abstract seen), clearance against the data sheet (common practice, no source)."""
SPREADS_B2M = {"exchange": 0.3, "first": 0.15, "clearance": 0.16}
LATELY = timedelta(days=90)
SETTLED = timedelta(days=28)
"""A phosphate week needs four to five weeks to settle after a change (computed with the model)."""
FEWEST_BLOODS, MOST_BLOODS = 2, 3
MOST_APART = 0.35
"""Bloods that differ by more, of their mean, are not one level."""
USUAL_K = (4.0, 6.0)
"""mmol/L; outside, no change of potassium is told."""
LOWEST_TOLD = 0.8
"""mmol/L of phosphate: below, no figure is told; the models were not tried below 0.97."""
LEAST_WEEKLY_HOURS = 9.0
"""Of an answer that asks for the fewest hours: three times three hours, the least that KDOQI 2015 names for a session
of three a week without much kidney (from memory)."""
COARSE_HOURS = 0.5


@dataclass(frozen=True, slots=True)
class SoluteNow:
    """A level before treatment: the mean of the last results [mmol/L], and how many; or why it is not taken."""

    level: float = 0.0
    count: int = 0
    why: Reason | None = None


@dataclass(frozen=True, slots=True)
class ScheduleSolutes:
    """What one schedule leads to. phosphate: ratio to now at unchanged intake; in_groups: as in published groups, None
    where they say nothing; potassium: change from now [mmol/L] by the bath; b2m: ratio to now, or why there is none.
    clearances: standard clearance of a week of phosphate and, where known, of beta-2-microglobulin [mL/min].
    """

    phosphate: SoluteBand
    in_groups: SoluteBand | None
    potassium: Mapping[float, SoluteBand]
    b2m: SoluteBand | Reason
    clearances: tuple[float, float | None]


@dataclass(frozen=True, slots=True)
class SolutesNow:
    """What stands before any schedule is tried: levels, the bath, the kidney."""

    phosphate: SoluteNow
    potassium: SoluteNow
    bath: float | None
    baths: tuple[float, ...]
    weight_kg: float
    model: UreaModel
    kidney: float
    kidney_known: bool
    usual: Candidate = field(repr=False)


def solutes_now(
    prescription: Prescription, usual: Candidate, course: DeliveredCourse, model: UreaModel, at: datetime
) -> SolutesNow:
    """What is known of the patient of a prescription at a moment. usual: the schedule in force. Three queries."""
    patient = prescription.patient
    rows = BloodResult.objects.filter(
        patient=patient, analyte__in=(Analyte.PHOSPHATE, Analyte.POTASSIUM), drawn_at__range=(at - LATELY, at)
    )
    bloods = list(rows.exclude(timing=SampleTiming.POST).order_by("-drawn_at"))
    left = course.kidney_at(course.until)
    since = prescription.in_force.lower
    lately = bool(since and since > at - SETTLED and _other_before(prescription))
    bath = prescription.dialysate_k_mmol_l
    return SolutesNow(
        phosphate=_now(bloods, Analyte.PHOSPHATE, changed=lately or _binder_changed(prescription, at)),
        potassium=_now(bloods, Analyte.POTASSIUM, changed=lately, usual=USUAL_K),
        bath=bath,
        baths=() if bath is None else tuple(sorted({bath, 2.0, 3.0})),
        weight_kg=prescription.target_weight_kg,
        model=model,
        kidney=left.clearance if left else 0.0,
        kidney_known=left is not None,
        usual=usual,
    )


SHAPE = ("days_per_week", "minutes", "qb_ml_min", "qd_ml_min", "dialyser_id")


def _other_before(prescription: Prescription) -> bool:
    """Whether the prescription before this one had another schedule: one that changed only a weight settles nothing."""
    before = Prescription.objects.filter(patient=prescription.patient, version__lt=prescription.version)
    last = before.order_by("-version").first()
    return last is not None and any(getattr(last, name) != getattr(prescription, name) for name in SHAPE)


def _binder_changed(prescription: Prescription, at: datetime) -> bool:
    binders = prescription.patient.medications.standing().filter(kind=MedicationKind.BINDER)
    since = (at - SETTLED).date()
    return any(row.from_on >= since or (row.until_on and row.until_on >= since) for row in binders)


def _now(
    bloods: Sequence[BloodResult], analyte: str, *, changed: bool, usual: tuple[float, float] | None = None
) -> SoluteNow:
    values = [each.value for each in bloods if each.analyte == analyte][:MOST_BLOODS]
    if len(values) < FEWEST_BLOODS:
        return SoluteNow(why=Reason("few_bloods_lately", least=FEWEST_BLOODS, days=LATELY.days))
    if changed:
        return SoluteNow(why=Reason("not_settled", days=SETTLED.days))
    level = mean(values)
    if max(values) - min(values) > MOST_APART * level:
        return SoluteNow(why=Reason("bloods_apart", percent=round(100 * MOST_APART)))
    if usual and not usual[0] <= level <= usual[1]:
        return SoluteNow(why=Reason("outside_model", low=usual[0], high=usual[1]))
    return SoluteNow(level, len(values))


def solutes_of(candidates: Sequence[Candidate], now: SolutesNow) -> list[ScheduleSolutes]:
    """Each of the candidates beside the schedule in force, drawn many times with what is not known of the patient."""
    usual = _levels(now.usual, now)
    return [_beside(_levels(each, now), usual, each, now) for each in candidates]


@dataclass(frozen=True, slots=True, eq=False)
class _Levels:
    phosphate: SoluteWeek
    potassium: Mapping[float, tuple[FloatArray, FloatArray]]
    """by bath: the level without intake, and with one mmol a day"""
    b2m: SoluteWeek | None


def _levels(candidate: Candidate, now: SolutesNow) -> _Levels:
    schedule, person = schedule_of([candidate]), {"weight_kg": now.weight_kg, "kidney_ml_min": now.kidney}
    phosphate = solutes.phosphate(**person, volume_l=now.model.volume, absorbed_mmol_day=1.0)
    potassium = {
        bath: tuple(
            _week(schedule, solutes.potassium(**person, absorbed_mmol_day=day, bath_mmol_l=bath), now).mean_pre
            for day in (0.0, 1.0)
        )
        for bath in (now.baths if now.potassium.why is None else ())
    }
    koa = candidate.dialyser.b2m_koa_ml_min
    known = koa is not None and now.kidney_known
    b2m = known and solutes.beta_2_microglobulin(
        volume_l=now.model.volume, koa_ml_min=koa or 0.0, kidney_ml_min=now.kidney
    )
    return _Levels(
        _week(schedule, phosphate, now),
        potassium,  # type: ignore[arg-type]
        _week(schedule, b2m, now, SPREADS_B2M) if b2m else None,
    )


def _week(
    schedule: Schedule, solute: Solute, now: SolutesNow, spreads: Mapping[str, float] | None = None
) -> SoluteWeek:
    """The steady week of one schedule, a row for each draw of what is not known."""
    wide = {
        name: solutes.draws(count=DRAWS, spread=size, seed=at)
        for at, (name, size) in enumerate((spreads or SPREADS).items())
    }
    drawn = Solute(
        **{
            name: getattr(solute, name)
            for name in ("generation", "share", "kidney", "other", "koa_factor", "koa", "bath", "sieving", "by_flow")
        },
        first=np.asarray(solute.first) * wide["first"],
        second=solute.second,
        exchange=np.asarray(solute.exchange) * wide["exchange"],
    )
    return solutes.solute_week(
        schedule=schedule,
        solute=drawn,
        fluid_gain=now.model.gain,
        clearance_factor=now.model.person.clearance_factor * wide["clearance"],
        steps=solutes.ROUGH,
    )


def _beside(levels: _Levels, usual: _Levels, candidate: Candidate, now: SolutesNow) -> ScheduleSolutes:
    phosphate = band_of(levels.phosphate.mean_pre / usual.phosphate.mean_pre)
    b2m: SoluteBand | Reason
    if levels.b2m is None or usual.b2m is None:
        b2m = Reason("no_kidney_measured") if not now.kidney_known else Reason("no_b2m_of_dialyser")
    else:
        b2m = band_of(levels.b2m.mean_pre / usual.b2m.mean_pre)
    return ScheduleSolutes(
        phosphate=phosphate,
        in_groups=as_in_groups(phosphate.middle),
        potassium=_potassium(levels, usual, now),
        b2m=b2m,
        clearances=(
            float(np.median(levels.phosphate.clearance)),
            None if levels.b2m is None else float(np.median(levels.b2m.clearance)),
        ),
    )


def _potassium(levels: _Levels, usual: _Levels, now: SolutesNow) -> dict[float, SoluteBand]:
    """By bath, the change from now at the intake that explains the level of now."""
    if now.bath is None or now.bath not in usual.potassium:
        return {}
    base, one = usual.potassium[now.bath]
    intake = (now.potassium.level - base) / (one - base)
    return {
        bath: band_of(nothing + intake * (more - nothing) - now.potassium.level)
        for bath, (nothing, more) in levels.potassium.items()
    }


def phosphate_map(like: Candidate, now: SolutesNow, hours: FloatArray) -> FloatArray:
    """Phosphate before treatment as a ratio to now at unchanged intake, (numbers of nights, hours), at the flows and
    the dialyser of one schedule: the middle of what is known, between every half hour by interpolation."""
    coarse = np.arange(hours[0], hours[-1] + 1e-9, COARSE_HOURS)
    patterns = [pattern_of(nights) for nights in NIGHTS]
    person = {"weight_kg": now.weight_kg, "volume_l": now.model.volume, "kidney_ml_min": now.kidney}
    solute, usual = solutes.phosphate(**person, absorbed_mmol_day=1.0), schedule_of([now.usual])
    schedule = Schedule(
        starts=np.stack([pattern.starts for pattern in patterns])[:, None, :],
        hours=coarse[None, :, None],
        cycle_days=np.array([float(pattern.cycle_days) for pattern in patterns])[:, None],
        koa=living_koa(like.dialyser.koa_ml_min),
        blood_flow=real_flow(like.qb_ml_min),
        dialysate_flow=like.qd_ml_min,
    )
    found, base = (
        solutes.solute_week(
            schedule=each,
            solute=solute,
            fluid_gain=now.model.gain,
            clearance_factor=now.model.person.clearance_factor,
            steps=solutes.ROUGH,
        ).mean_pre
        for each in (schedule, usual)
    )
    rows = np.log(found / base[0]).reshape(len(patterns), coarse.size)
    return np.asarray(np.exp(np.stack([np.interp(hours, coarse, row) for row in rows])))


def weekly_clearance_of_urea(standard_ktv: float, volume_l: float) -> float:
    """Standard clearance of a week [mL/min] behind a weekly standard Kt/V."""
    return float(standard_ktv * volume_l * k.ML_PER_L / k.MINUTES_PER_WEEK)
