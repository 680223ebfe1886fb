"""Blood results of a made-up patient.

Urea is what the two-pool model leaves after every treatment the patient really had, one after the other, so that
the doses computed from it mean something; the laboratory adds its scatter. The other results are drawn around what
home patients have (assumptions), lower in phosphate where nights are long, falling where flesh is lost.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.random import Generator

from dosing.science import body, dialyser, pools
from dosing.science import sources as k
from homedialysis.demo.body import TrueTreatment
from homedialysis.demo.cast import Member
from homedialysis.demo.circuit import delivered_flow
from homedialysis.demo.diary import Window
from sessions.facts.choices import Analyte, PostSampleMethod, SampleTiming
from sessions.models import BloodResult, Patient, UrineCollection

IN_VIVO = 0.8
"""KoA at the bedside over KoA of the maker (HEMO, from memory)."""
UREA_SCATTER = 0.03
RUN_IN = 12
"""Treatments repeated at the start until the model has forgotten its first guess."""
EVERY_DAYS = 30
LONG_GAP = 2.4
"""Days; after a longer one no bloods are drawn, unless the schedule has no shorter ones."""
MG_N_PER_MMOL = 28.01


@dataclass(frozen=True, slots=True)
class Urea:
    """Plasma urea before and after one treatment [mmol/L]."""

    before: float
    after: float


def generation(member: Member, volume_l: float) -> float:
    """Urea made [mmol/min] at the patient's protein catabolic rate: nPCR = 5420 G/V + 0.17 (Borah 1978 form)."""
    return (member.protein - 0.17) * 1000 * volume_l / 5420 / MG_N_PER_MMOL


def urea_volume(member: Member) -> float:
    """Distribution volume that a kinetic model would find [L], a little below Watson's."""
    watson = body.total_body_water_watson(
        sex=member.sex, age_years=member.age, height_cm=member.height_cm, weight_kg=member.target_kg
    )
    return float(body.expected_urea_volume(watson_l=watson.value).value)


def clearances(member: Member, nights: list[TrueTreatment]) -> np.ndarray:
    """Blood-water urea clearance of each treatment [mL/min]."""
    flows = np.array([delivered_flow(night.qb) for night in nights])
    drained = np.array([1000 * night.uf_l / night.minutes for night in nights])
    koa = IN_VIVO * member.regime.dialyser.koa_ml_min
    cleared = dialyser.blood_water_clearance(koa=koa, qb=flows, qd=member.regime.qd, qf=drained)
    return np.asarray(cleared.value)


def _phases(member: Member, nights: list[TrueTreatment], volume: float) -> pools.Phases:
    """Off, on, off, on … through the treatments as they were; one row."""
    off = np.array([night.gap_days * 1440 for night in nights])
    on = np.array([float(night.minutes) for night in nights])
    before = np.array([night.weight_before for night in nights])
    after = np.array([night.weight_after for night in nights])
    since = np.concatenate([[before[0] - member.gain * nights[0].gap_days], after[:-1]])
    outer = volume * float(k.EXTRACELLULAR_SHARE)
    kidney = np.full(len(nights), member.kidney)

    def in_turn(first: np.ndarray, second: np.ndarray) -> np.ndarray:
        return np.stack([first, second], axis=1).reshape(-1, 1)

    exchange = np.array([float(k.POOL_EXCHANGE) * volume])
    return pools.Phases(
        minutes=in_turn(off, on),
        volume=outer + in_turn(since, before) - member.target_kg,
        slope=in_turn((before - since) / off, (after - before) / on),
        clearance=in_turn(kidney, kidney + clearances(member, nights)) / 1000,
        exchange=exchange,
        turnover=exchange / (volume - outer),
    )


def urea_through(member: Member, nights: list[TrueTreatment], window: Window) -> list[Urea]:
    """Plasma urea before and after each treatment [mmol/L]."""
    volume = urea_volume(member)
    maps = pools.transition(pools.passage(_phases(member, nights, volume)))[..., 0]
    made = [generation(member, volume) * _appetite(member, window.ago(night.start)) for night in nights]
    state = np.array([25.0, 25.0])
    found: list[Urea] = []
    order = [*range(min(RUN_IN, len(nights))), *range(min(RUN_IN, len(nights))), *range(len(nights))]
    for index in order:
        before = maps[:2, :2, 2 * index] @ state + maps[:2, 2, 2 * index] * made[index]
        state = maps[:2, :2, 2 * index + 1] @ before + maps[:2, 2, 2 * index + 1] * made[index]
        found.append(Urea(float(k.PLASMA_WATER * before[0]), float(k.PLASMA_WATER * state[0])))
    return found[-len(nights) :]


def _appetite(member: Member, ago: float) -> float:
    """Who loses flesh eats less: down by a quarter in fourteen weeks."""
    gone = max(0.0, member.story.flesh_from - ago) if member.story.flesh_from else 0.0
    return 1 - 0.25 * min(1.0, gone / 98)


def drawn_at(member: Member, nights: list[TrueTreatment], window: Window) -> list[int]:
    """Indices of the treatments with bloods: about one a month, not after a long gap."""
    chosen, longest = [], max(LONG_GAP, 7 / member.regime.days_per_week + 0.7)
    for month in range(window.days // EVERY_DAYS + 1):
        wanted = 8 + EVERY_DAYS * month
        near = [
            index
            for index, night in enumerate(nights)
            if abs(window.ago(night.start) - wanted) <= 4 and night.gap_days < longest and night.mishap is None
        ]
        if near and member.bloods:
            chosen.append(min(near, key=lambda index: abs(window.ago(nights[index].start) - wanted)))
    return sorted(chosen)


def results(
    member: Member, patient: Patient, night: TrueTreatment, urea: Urea, *, ago: float, full: bool, rng: Generator
) -> list[BloodResult]:
    """The unsaved results of one treatment: urea before and (nearly always) after, the rest before."""
    before = {Analyte.UREA: urea.before * float(rng.lognormal(0, UREA_SCATTER)), **_others(member, ago, rng)}
    if full:
        before |= {Analyte.FERRITIN: float(rng.uniform(150, 600)), Analyte.PTH: float(rng.uniform(15, 75))}
    drawn = night.start - timedelta(minutes=6)
    before[Analyte.TRANSFERRIN_SATURATION] = _saturation(night)
    found = [_result(patient, analyte, value, drawn, SampleTiming.PRE) for analyte, value in before.items()]
    if rng.random() > 0.06:
        after = urea.after * float(rng.lognormal(0, UREA_SCATTER))
        found.append(_result(patient, Analyte.UREA, after, night.end, SampleTiming.POST))
        found[-1].post_method = PostSampleMethod.SLOW_FLOW if rng.random() > 0.06 else PostSampleMethod.NEITHER
    return found


def apart(member: Member, patient: Patient, at: datetime, *, rng: Generator) -> list[BloodResult]:
    """The unsaved results of a drawing that belongs to no treatment."""
    values = _others(member, 0, rng)
    return [_result(patient, analyte, value, at, SampleTiming.APART) for analyte, value in values.items()]


def _others(member: Member, ago: float, rng: Generator) -> dict[Analyte, float]:
    eats = _appetite(member, ago)
    phosphate = 1.15 if member.regime.nocturnal else 1.6
    muscle = (9.0 if member.sex == "male" else 7.6) * member.target_kg
    dose = 0.85 if member.regime.nocturnal else 1.05
    return {
        Analyte.CREATININE: muscle * dose * (0.4 + 0.6 * eats) * float(rng.lognormal(0, 0.06)),
        Analyte.POTASSIUM: float(np.clip(rng.normal(4.9, 0.4), 3.6, 6.2)),
        Analyte.SODIUM: float(rng.normal(138, 2)),
        Analyte.BICARBONATE: float(rng.normal(23.5, 1.6)),
        Analyte.CALCIUM: float(rng.normal(2.33, 0.09)),
        Analyte.PHOSPHATE: float(np.clip(rng.normal(phosphate, 0.22), 0.6, 2.4)),
        Analyte.ALBUMIN: 39.5 * (0.5 + 0.5 * eats) + float(rng.normal(0, 1.3)),
        Analyte.HAEMOGLOBIN: float(np.clip(rng.normal(112, 8), 88, 135)),
    }


def _saturation(night: TrueTreatment) -> float:
    """Drawn by itself, so that nothing else of the patient depends on it [%]."""
    return float(np.clip(np.random.default_rng(int(night.start.timestamp())).normal(27, 6), 12, 45))


def urine(
    member: Member, patient: Patient, nights: list[TrueTreatment], urea: list[Urea], index: int
) -> tuple[UrineCollection, list[BloodResult]]:
    """All urine from the end of the treatment before to this one, and the bloods at its beginning, not saved.

    Creatinine clearance as a multiple of that of urea, and creatinine after as a share of before, are assumptions.
    """
    begin, end = nights[index - 1].end, nights[index].start - timedelta(minutes=10)
    minutes = (end - begin).total_seconds() / 60
    volume = minutes * (0.2 + 0.45 * member.kidney)
    of_plasma = member.kidney / float(k.PLASMA_WATER)
    mean = (urea[index - 1].after + urea[index].before) / 2
    creatinine = 8.0 * member.target_kg
    collection = UrineCollection(
        patient=patient,
        began_at=begin,
        ended_at=end,
        volume_ml=round(volume, -1),
        urea_mmol_l=round(of_plasma * mean * minutes / volume),
        creatinine_mmol_l=round(1.8 * of_plasma * 0.72 * creatinine / 1000 * minutes / volume, 1),
    )
    at_its_beginning = ((Analyte.UREA, urea[index - 1].after), (Analyte.CREATININE, 0.45 * creatinine))
    drawn = begin + timedelta(minutes=5)
    return collection, [_result(patient, each, value, drawn, SampleTiming.APART) for each, value in at_its_beginning]


ROUNDED = {Analyte.CREATININE: 0, Analyte.SODIUM: 0, Analyte.ALBUMIN: 0, Analyte.HAEMOGLOBIN: 0, Analyte.FERRITIN: 0,
           Analyte.TRANSFERRIN_SATURATION: 0,
           Analyte.CALCIUM: 2, Analyte.PHOSPHATE: 2}  # fmt: skip
"""Decimals of a result where they are not one."""


def _result(patient: Patient, analyte: Analyte, value: float, at: datetime, timing: SampleTiming) -> BloodResult:
    rounded = round(value, ROUNDED.get(analyte, 1))
    return BloodResult(patient=patient, analyte=analyte, value=rounded, drawn_at=at, timing=timing)
