"""Body water, surface and mass index of adults from sex, age, height and weight.

sex is "male" or "female" (the formulas know no other); height in cm, weight in kg after treatment, age in
years. Children need other formulas and get none here.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dosing.science import sources as k
from dosing.science.checks import above_zero, quiet, within
from dosing.science.reasons import Reason
from dosing.science.results import Check, FloatArray, Measure, as_float, measure


def _sexes(
    sex: str | NDArray[np.str_] | list[str], *numbers: ArrayLike
) -> tuple[NDArray[np.bool_], list[FloatArray], list[Check]]:
    """Where sex is male, the numbers as arrays of the common shape, and the check that sex is known."""
    names = np.asarray(sex, dtype=np.str_)
    male, female, *arrays = as_float(names == "male", names == "female", *numbers)
    unknown_sex: Check = ((male + female) == 0, Reason("sex_needed"))
    return male > 0, arrays, [unknown_sex]


def _adult(height: FloatArray, weight: FloatArray) -> list[Check]:
    return within(120, 220, "cm", height=height) + within(25, 250, "kg", weight=weight)


@quiet
def total_body_water_watson(
    *,
    sex: str | NDArray[np.str_] | list[str],
    age_years: ArrayLike,
    height_cm: ArrayLike,
    weight_kg: ArrayLike,
) -> Measure:
    """Total body water [L]: men 2.447 - 0.09516 age + 0.1074 height + 0.3362 weight; women -2.097 +
    0.1069 height + 0.2466 weight.

    Women have no age term: a form with one circulates and is wrong. age_years 18 to 110, height_cm 120 to
    220, weight_kg 25 to 250; shapes broadcast. It reads 10 to 15 % above the volume of urea modelling.
    Source: Watson, Watson and Batt, Am J Clin Nutr 33:27-39, 1980 (coefficients seen in code that cites it).

    >>> round(total_body_water_watson(sex="male", age_years=50, height_cm=175, weight_kg=75).number, 4)
    41.699
    """
    male, (age, height, weight), checks = _sexes(sex, age_years, height_cm, weight_kg)
    checks += within(18, 110, "years", age=age) + _adult(height, weight)
    man = k.WATSON_MALE_BASE + k.WATSON_MALE_AGE * age
    man = man + k.WATSON_MALE_HEIGHT * height + k.WATSON_MALE_WEIGHT * weight
    woman = k.WATSON_FEMALE_BASE + k.WATSON_FEMALE_HEIGHT * height + k.WATSON_FEMALE_WEIGHT * weight
    return measure(np.where(male, man, woman), "L", checks)


@quiet
def surface_area_du_bois(*, height_cm: ArrayLike, weight_kg: ArrayLike) -> Measure:
    """Body surface [m2]: 0.007184 height^0.725 weight^0.425.

    height_cm 120 to 220, weight_kg 25 to 250; shapes broadcast.
    Source: Du Bois and Du Bois, Arch Intern Med 17:863, 1916 (seen in packages that cite it).

    >>> round(surface_area_du_bois(height_cm=175, weight_kg=75).number, 5)
    1.90314
    """
    height, weight = as_float(height_cm, weight_kg)
    checks = _adult(height, weight)
    area = k.DU_BOIS_FACTOR * height**k.DU_BOIS_HEIGHT * weight**k.DU_BOIS_WEIGHT
    return measure(area, "m2", checks)


@quiet
def expected_urea_volume(*, watson_l: ArrayLike, share: ArrayLike = float(k.MODELLED_OVER_WATSON)) -> Measure:
    """Post-dialysis urea volume to expect where none is modelled: share x Watson [L].

    watson_l: 10 to 100 L; share: 0.7 to 1.1, default 0.9, as Watson reads 10 to 15 % above the modelled
    volume (HEMO, from memory). A modelled volume is better; this is a stand-in.

    >>> expected_urea_volume(watson_l=40).number
    36.0
    """
    watson, factor = as_float(watson_l, share)
    checks = within(10, 100, "L", body_water=watson) + within(0.7, 1.1, share_of_the_body_water=factor)
    return measure(watson * factor, "L", checks)


@quiet
def volume_ratio(*, modelled_l: ArrayLike, watson_l: ArrayLike) -> Measure:
    """Modelled urea volume over Watson's body water [1], a check on samples and clearance.

    Both above zero, L. Outside 0.7 to 1.1 look for a wrong sample, clearance or time (common practice).

    >>> volume_ratio(modelled_l=35, watson_l=40).number
    0.875
    """
    modelled, watson = as_float(modelled_l, watson_l)
    checks = above_zero(modelled_volume=modelled, body_water=watson)
    return measure(modelled / watson, "1", checks)
