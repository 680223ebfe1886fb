"""Protein catabolic rate from urea generation, or from one pre-treatment urea where that holds.

Urea generation is mmol urea per minute (mg urea nitrogen per minute = 28.014 x mmol/min).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from dosing.science import sources as k
from dosing.science.checks import above_zero, given, no_such, not_negative, quiet, within
from dosing.science.reasons import Reason
from dosing.science.results import FloatArray, Measure, as_float, measure, unknown

PLACES_IN_WEEK = tuple(k.THREE_POINT)
"""first_of_three, second_of_three, third_of_three, first_of_two, second_of_two."""


def _protein(generation: FloatArray, volume: FloatArray) -> FloatArray:
    nitrogen = generation * k.MOLAR_MASS["urea_nitrogen"]
    return np.asarray(k.PCR_PER_GENERATION * nitrogen + k.PCR_PER_VOLUME * volume)


@quiet
def protein_catabolic_rate(*, generation_mmol_min: ArrayLike, volume_l: ArrayLike) -> Measure:
    """Protein broken down per day: PCR = 9.35 G + 0.294 V [g/d], G in mg N/min.

    generation_mmol_min: G from a two-pool model, 0.01 to 1 mmol/min (single-pool fits over-read it by 6 to
    9 %); volume_l: V 10 to 100 L. Holds for any schedule, for patients in nitrogen balance.
    Source: Borah et al., Kidney Int 14:491, 1978, as scaled by Sargent and Gotch (from memory).

    >>> round(protein_catabolic_rate(generation_mmol_min=5.35 / 28.014, volume_l=35).number, 4)
    60.3125
    """
    g, volume = as_float(generation_mmol_min, volume_l)
    checks = within(0.01, 1, "mmol/min", urea_generation=g) + within(10, 100, "L", volume=volume)
    return measure(_protein(g, volume), "g/d", checks)


@quiet
def normalised_protein_catabolic_rate(*, generation_mmol_min: ArrayLike, volume_l: ArrayLike) -> Measure:
    """Protein broken down per day and normalised weight: nPCR = PCR/(V/0.58) [g/kg/d].

    Arguments, range and source as `protein_catabolic_rate`. 1.0 to 1.4 is usual; below 0.8 a dietitian looks
    (KDOQI nutrition 2000, from memory).

    >>> round(normalised_protein_catabolic_rate(generation_mmol_min=5.35 / 28.014, volume_l=35).number, 4)
    0.9995
    """
    g, volume = as_float(generation_mmol_min, volume_l)
    checks = within(0.01, 1, "mmol/min", urea_generation=g) + within(10, 100, "L", volume=volume)
    return measure(_protein(g, volume) * k.WATER_SHARE_OF_WEIGHT / volume, "g/kg/d", checks)


@quiet
def npcr_from_predialysis_urea(
    *,
    pre_urea_mmol_l: ArrayLike,
    single_pool: ArrayLike,
    place_in_week: str,
    per_week: ArrayLike,
    weekly_fluid_gain_l: ArrayLike,
    kidney_clearance_ml_min: ArrayLike = 0.0,
    volume_l: ArrayLike = 35.0,
) -> Measure:
    """nPCR from one pre-treatment urea: C0'/(a + b k + c/k) + 0.168 [g/kg/d]; thrice or twice weekly only.

    C0' = C0 [1 + (p + q/k) Kru/V], C0 in mg/dL urea nitrogen, k = spKt/V.
    pre_urea_mmol_l: plasma urea 1 to 80 mmol/L; single_pool: k, 0.5 to 2.5; place_in_week: one of
    `PLACES_IN_WEEK`; per_week: must fit the place, else use modelled generation; weekly_fluid_gain_l: 3 to
    30 L, as without gain the equations over-read by 8 to 13 %; kidney_clearance_ml_min: Kru 0 to 10;
    volume_l: V 10 to 100 L, matters only with a kidney. Error -1 to +5 % (two-pool and single-pool model).
    Source: Depner and Daugirdas, J Am Soc Nephrol 7:780-5, 1996 (from memory).

    >>> week = dict(place_in_week="second_of_three", per_week=3, weekly_fluid_gain_l=8)
    >>> round(npcr_from_predialysis_urea(pre_urea_mmol_l=65 * 10 / 28.014, single_pool=1.4, **week).number, 4)
    1.1282
    """
    urea, dose, times, gain, kidney, volume = as_float(
        pre_urea_mmol_l, single_pool, per_week, weekly_fluid_gain_l, kidney_clearance_ml_min, volume_l
    )
    if place_in_week not in k.THREE_POINT:
        return unknown("g/kg/d", no_such("place_in_the_week", place_in_week, PLACES_IN_WEEK), urea.shape)
    a, b, c = k.THREE_POINT[place_in_week]
    frequency = 3 if place_in_week.endswith("three") else 2
    p, q = k.THREE_POINT_KIDNEY[frequency]
    checks = within(1, 80, "mmol/L", urea_before=urea) + within(0.5, 2.5, "", single_pool_dose=dose)
    checks += given(treatments_a_week=times)
    checks.append((times != frequency, Reason("frequency_needs_model")))
    checks += within(3, 30, "L", weekly_fluid_gain=gain) + within(10, 100, "L", volume=volume)
    checks += within(0, 10, "mL/min", kidney_clearance=kidney)
    nitrogen = urea * k.MOLAR_MASS["urea_nitrogen"] / 10 * (1 + (p + q / dose) * kidney / volume)
    return measure(nitrogen / (a + b * dose + c / dose) + k.THREE_POINT_OFFSET, "g/kg/d", checks)


@quiet
def generation_between_treatments(
    *,
    post_urea_mmol_l: ArrayLike,
    pre_urea_mmol_l: ArrayLike,
    post_volume_l: ArrayLike,
    pre_volume_l: ArrayLike,
    hours: ArrayLike,
    urine_urea_mmol: ArrayLike = 0.0,
) -> Measure:
    """Urea made between two treatments: G = (C2 V2 - C1 V1 + U)/t [mmol/min], any schedule.

    post_urea_mmol_l: C1, best 30 to 60 min after the end (the rebound counts as generation otherwise);
    pre_urea_mmol_l: C2 before the next; post_volume_l, pre_volume_l: V1 and V2 = V1 + gain, 10 to 120 L;
    hours: 8 to 168; urine_urea_mmol: U, urea in all urine between. Source: mass balance.

    >>> samples = dict(post_urea_mmol_l=6.42536, pre_urea_mmol_l=20.34697)
    >>> made = generation_between_treatments(**samples, post_volume_l=40, pre_volume_l=42, hours=44)
    >>> round(made.number * 28.014, 3)
    6.341
    """
    c1, c2, v1, v2, t, urine = as_float(
        post_urea_mmol_l, pre_urea_mmol_l, post_volume_l, pre_volume_l, hours, urine_urea_mmol
    )
    checks = above_zero(urea_after=c1, urea_before_the_next=c2) + not_negative(urea_in_the_urine=urine)
    checks += within(10, 120, "L", volume_after=v1, volume_before_the_next=v2)
    checks += within(8, 168, "h", time_between_the_treatments=t)
    made = (c2 * v2 - c1 * v1 + urine) / (60 * t)
    checks.append((made <= 0, Reason("urea_did_not_rise")))
    return measure(made, "mmol/min", checks)
