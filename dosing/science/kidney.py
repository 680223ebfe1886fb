"""What the patient's own kidneys still do, from a urine collection between two treatments.

Clearances are mL/min of PLASMA unless they went through `plasma_water_clearance`: the urea model and the
weekly dose count plasma water, which holds all of the urea in 93 % of the volume.
"""

from __future__ import annotations

from numpy.typing import ArrayLike

from dosing.science import sources as k
from dosing.science.checks import above_zero, not_negative, quiet, within
from dosing.science.reasons import Reason
from dosing.science.results import FloatArray, Measure, as_float, measure


def _collection(
    urine: FloatArray, volume: FloatArray, minutes: FloatArray, start: FloatArray, end: FloatArray
) -> Measure:
    checks = not_negative(urine_concentration=urine) + within(0, 20_000, "mL", urine_volume=volume)
    checks += within(720, 10_080, "minutes", length_of_the_collection=minutes)
    checks += above_zero(plasma_at_the_start=start, plasma_at_the_end=end)
    clearance = urine * volume / (minutes * (start + end) / 2)
    checks.append((clearance > 60, Reason("clearance_too_high")))
    return measure(clearance, "mL/min", checks)


@quiet
def urea_clearance(
    *,
    urine: ArrayLike,
    urine_ml: ArrayLike,
    minutes: ArrayLike,
    plasma_start: ArrayLike,
    plasma_end: ArrayLike,
) -> Measure:
    """Urea clearance of a collection: Kru = U Vol/[t (C1 + C2)/2] [mL/min of plasma].

    urine, plasma_start, plasma_end: urea in one unit (mmol/L); urine_ml: all urine of the interval; minutes:
    its length, 12 h to 7 d, best the whole interval. plasma_start: after the treatment before; plasma_end:
    before the next. Shapes broadcast.
    The mean of two samples over-reads the true clearance by 3 to 8 % (two-pool model; 11.3 % in Obi et al.,
    Nephrol Dial Transplant 33:530, 2018, seen); a sample 30 min after the end halves that.
    Source: European Best Practice Guidelines 2002 (from memory).

    >>> collection = dict(urine=125, urine_ml=900, minutes=44 * 60)
    >>> round(urea_clearance(**collection, plasma_start=6.4286, plasma_end=19.6429).number, 4)
    3.269
    """
    return _collection(*as_float(urine, urine_ml, minutes, plasma_start, plasma_end))


@quiet
def creatinine_clearance(
    *,
    urine_mmol_l: ArrayLike,
    urine_ml: ArrayLike,
    minutes: ArrayLike,
    plasma_start_umol_l: ArrayLike,
    plasma_end_umol_l: ArrayLike,
) -> Measure:
    """Creatinine clearance of a collection, as `urea_clearance` [mL/min of plasma].

    urine_mmol_l: urine creatinine [mmol/L]; plasma_start_umol_l, plasma_end_umol_l [umol/L]; else as there.
    Tubules secrete creatinine, so it reads above filtration as urea reads below: hence the mean of both.

    >>> collection = dict(urine_mmol_l=6, urine_ml=1000, minutes=1440)
    >>> round(creatinine_clearance(**collection, plasma_start_umol_l=600, plasma_end_umol_l=600).number, 4)
    6.9444
    """
    urine, volume, t, start, end = as_float(urine_mmol_l, urine_ml, minutes, plasma_start_umol_l, plasma_end_umol_l)
    return _collection(urine * 1000, volume, t, start, end)


@quiet
def mean_clearance(*, urea_ml_min: ArrayLike, creatinine_ml_min: ArrayLike) -> Measure:
    """Estimate of filtration: mean of urea and creatinine clearance [mL/min].

    Both not negative, from the same collection. Source: average seen (doi 10.1159/000509790); European Best
    Practice Guidelines 2002 (from memory).

    >>> mean_clearance(urea_ml_min=3.0, creatinine_ml_min=4.5).number
    3.75
    """
    urea, creatinine = as_float(urea_ml_min, creatinine_ml_min)
    checks = not_negative(urea_clearance=urea, creatinine_clearance=creatinine)
    return measure((urea + creatinine) / 2, "mL/min", checks)


@quiet
def clearance_per_surface(*, clearance_ml_min: ArrayLike, surface_m2: ArrayLike) -> Measure:
    """Clearance for a body of 1.73 m2: K 1.73/S [mL/min/1.73 m2].

    clearance_ml_min not negative; surface_m2 0.8 to 3.5. Guidelines change the dose at 2 mL/min/1.73 m2.

    >>> round(clearance_per_surface(clearance_ml_min=3.78788, surface_m2=1.9).number, 4)
    3.449
    """
    clearance, surface = as_float(clearance_ml_min, surface_m2)
    checks = not_negative(clearance=clearance) + within(0.8, 3.5, "m2", body_surface=surface)
    return measure(clearance * k.STANDARD_SURFACE / surface, "mL/min/1.73 m2", checks)


@quiet
def plasma_water_clearance(*, clearance_ml_min: ArrayLike) -> Measure:
    """The same removal as a clearance of plasma water: 0.93 K [mL/min], as the urea model counts it.

    clearance_ml_min: of plasma, not negative. Source: plasma is 0.93 water (Vartia thesis, seen).

    >>> round(plasma_water_clearance(clearance_ml_min=3.2690).number, 4)
    3.0402
    """
    (clearance,) = as_float(clearance_ml_min)
    return measure(clearance * k.PLASMA_WATER, "mL/min", not_negative(clearance=clearance))


@quiet
def aged_clearance(*, clearance_ml_min: ArrayLike, days: ArrayLike) -> Measure:
    """What is left of a measured residual clearance after so many days: K (1 - 1/3)^(days/365.25) [mL/min].

    clearance_ml_min: not negative, of plasma or plasma water as it was; days: since the middle of the collection, 0 to
    366. A third is lost in the first year on average, and patients differ by more than that (SD 2.8 mL/min): a new
    collection is worth more than this.
    Source: Obi et al., J Am Soc Nephrol 27:3758, 2016 (abstract seen: -1.1 of 3.3); taken as a constant share.

    >>> round(aged_clearance(clearance_ml_min=3.3, days=365.25).number, 6)
    2.2
    """
    clearance, since = as_float(clearance_ml_min, days)
    checks = not_negative(clearance=clearance) + within(0, 366, "days", time=since)
    return measure(clearance * (1 - k.KIDNEY_LOSS_A_YEAR) ** (since / k.DAYS_PER_YEAR), "mL/min", checks)


@quiet
def weekly_kidney_ktv(*, clearance_ml_min: ArrayLike, volume_l: ArrayLike) -> Measure:
    """Volumes of body water the kidneys clear in a week: 10080 Kru/V [1/week].

    clearance_ml_min: not negative; volume_l: V 10 to 100 L. Continuous clearance is worth more than the same
    sum of intermittent ones: into a weekly standard Kt/V it enters by
    `adequacy.standard_weekly_ktv_with_fluid_and_kidney`, not by adding this.

    >>> round(weekly_kidney_ktv(clearance_ml_min=2, volume_l=35).number, 6)
    0.576
    """
    clearance, volume = as_float(clearance_ml_min, volume_l)
    checks = not_negative(clearance=clearance) + within(10, 100, "L", volume=volume)
    return measure(clearance * k.MINUTES_PER_WEEK / (k.ML_PER_L * volume), "1/wk", checks)


@quiet
def urine_per_day_ml(*, urine_ml: ArrayLike, minutes: ArrayLike) -> Measure:
    """Urine volume of a collection brought to a day: 1440 Vol/t [mL/d].

    urine_ml: 0 to 20 000; minutes: 12 h to 7 d. From 100 mL/d on a patient is taken to have residual
    function (from memory).

    >>> urine_per_day_ml(urine_ml=900, minutes=2592).number
    500.0
    """
    volume, t = as_float(urine_ml, minutes)
    checks = within(0, 20_000, "mL", urine_volume=volume)
    checks += within(720, 10_080, "minutes", length_of_the_collection=t)
    return measure(volume * k.MINUTES_PER_DAY / t, "mL/d", checks)
