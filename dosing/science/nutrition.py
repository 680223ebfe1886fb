"""Protein catabolic rate from urea generation.

Urea generation is mmol urea per minute (mg urea nitrogen per minute = 28.014 x mmol/min).
"""

from __future__ import annotations

from numpy.typing import ArrayLike

from dosing.science import sources as k
from dosing.science.checks import quiet, within
from dosing.science.results import Measure, as_float, measure


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
    nitrogen = g * k.MOLAR_MASS["urea_nitrogen"]
    return measure(k.PCR_PER_GENERATION * nitrogen + k.PCR_PER_VOLUME * volume, "g/d", checks)


@quiet
def normalised_protein_catabolic_rate(*, generation_mmol_min: ArrayLike, volume_l: ArrayLike) -> Measure:
    """Protein broken down per day and normalised weight: nPCR = PCR/(V/0.58) [g/kg/d].

    Arguments, range and source as `protein_catabolic_rate`. What guidance asks for is in `guidance`.

    >>> round(normalised_protein_catabolic_rate(generation_mmol_min=5.35 / 28.014, volume_l=35).number, 4)
    0.9995
    """
    g, volume = as_float(generation_mmol_min, volume_l)
    checks = within(0.01, 1, "mmol/min", urea_generation=g) + within(10, 100, "L", volume=volume)
    protein = protein_catabolic_rate(generation_mmol_min=g, volume_l=volume)
    return measure(protein.value * k.WATER_SHARE_OF_WEIGHT / volume, "g/kg/d", checks)
