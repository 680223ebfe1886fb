"""Dialysis dose from paired urea samples: urea reduction ratio, Kt/V of one treatment and of the week.

Urea enters only as the ratio after/before, so any unit serves as long as both share it (mmol/L inside).
Both are plasma samples; the "after" sample decides the answer, see `POST_SAMPLES`.
V is the volume of urea distribution at the END of a treatment.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from dosing.science import sources as k
from dosing.science.checks import above_zero, no_such, not_negative, quiet, within
from dosing.science.reasons import Reason
from dosing.science.results import Check, FloatArray, Measure, as_float, measure, unknown

POST_SAMPLES = {
    "slow_flow": "UF and dialysate off, blood flow 100 mL/min for 15 s, then drawn from the arterial line",
    "stop_dialysate": "dialysate off, blood flow unchanged, drawn after 3 to 5 minutes",
    "late": "drawn 30 to 60 minutes after the end, when the rebound is over",
    "unprotected": "neither: recirculated blood dilutes the sample and the dose reads too high",
}
"""How the sample after treatment was drawn. KDOQI 2006 Tables 6 and 7 (from memory); Geddes et al.,
Nephrol Dial Transplant 15:517-23, 2000 (abstract seen)."""

EQUILIBRATED_METHODS = (
    "rate_arterial",
    "rate_venous",
    "tattersall_arterial",
    "tattersall_venous",
    "tattersall_hemo",
    "leypoldt",
)


def _urea_pair(pre: FloatArray, post: FloatArray) -> list[Check]:
    checks = above_zero(urea_before=pre, urea_after=post)
    return [*checks, (post >= pre, Reason("urea_did_not_fall"))]


@quiet
def urea_reduction_ratio(*, pre: ArrayLike, post: ArrayLike) -> Measure:
    """Share of urea removed: URR = 100 (1 - post/pre) [%].

    pre, post: plasma urea before and after, same unit; shapes broadcast. Sampling: slow flow or stopped
    dialysate. Range: 0 < post < pre; as a measure of dose only for treatments shorter than 5 h.
    Source: KDOQI 2006 haemodialysis adequacy, guidelines 2 and 4 (seen).

    >>> round(urea_reduction_ratio(pre=50, post=15).number, 6)
    70.0
    """
    pre_, post_ = as_float(pre, post)
    return measure(100 * (1 - post_ / pre_), "%", _urea_pair(pre_, post_))


@quiet
def generation_factor(*, days_since_last: ArrayLike | None = None) -> Measure:
    """Urea made during treatment, as a correction of the ratio per hour: GFAC = 0.0174/PIDI [1/h].

    days_since_last: PIDI, days from the START of the treatment before to the start of this one (1, 2, 3;
    count nights, not hours off). None: 0.008, which holds for the midweek treatment of three a week.
    Range: 0.5 to 7 d. Source: Daugirdas et al., Nephrol Dial Transplant 28:2156-60, 2013 (from memory; an
    exact single-pool model gives 0.0125-0.0212); 0.008 from Daugirdas 1993.

    >>> generation_factor(days_since_last=2).number
    0.0087
    """
    if days_since_last is None:
        return measure(float(k.GENERATION_PER_HOUR), "1/h")
    (days,) = as_float(days_since_last)
    checks = within(0.5, 7, "days", time_since_the_last_treatment=days)
    return measure(k.GENERATION_DAYS / days, "1/h", checks)


@quiet
def single_pool_ktv(
    *,
    pre: ArrayLike,
    post: ArrayLike,
    hours: ArrayLike,
    uf_l: ArrayLike,
    post_weight_kg: ArrayLike,
    days_since_last: ArrayLike | None = None,
    post_sample: str | None = None,
) -> Measure:
    """Single-pool Kt/V: -ln(R - GFAC t) + (4 - 3.5 R) UF/W, R = post/pre [1].

    pre, post: plasma urea, same unit; hours: t [h]; uf_l: UF, net fluid removed [L]; post_weight_kg: W after
    treatment [kg]; days_since_last: days from start to start, see `generation_factor`. Shapes broadcast.
    Without days_since_last GFAC is 0.008, the factor of the midweek treatment of three a week: it under-reads
    nightly long treatments by up to 0.7, so give the days wherever they are known.
    post_sample: a key of `POST_SAMPLES`; a late or unprotected sample gives no single-pool value.
    Range: 0.1 <= R <= 0.8, 1 <= t <= 12 h, 0 <= UF/W <= 0.1 (common practice), R > GFAC t.
    Source: Daugirdas, J Am Soc Nephrol 4:1205-13, 1993, second-generation equation (seen, with 0.008, in EBPG
    2002, guideline II.1.2); GFAC: 2013 (from memory).

    >>> args = dict(pre=70, post=21, hours=4, uf_l=3, post_weight_kg=72)
    >>> round(single_pool_ktv(**args).number, 6), round(single_pool_ktv(**args, days_since_last=2).number, 6)
    (1.439685, 1.450188)
    """
    pre_, post_, hours_, uf, weight, days = as_float(pre, post, hours, uf_l, post_weight_kg, days_since_last)
    if post_sample is not None and (reason := _sample_forbids(post_sample)):
        return unknown("1", reason, pre_.shape)
    factor = generation_factor(days_since_last=None if days_since_last is None else days)
    checks = _urea_pair(pre_, post_) + within(1, 12, "h", treatment_length=hours_)
    checks += not_negative(fluid_removed=uf) + above_zero(weight_after=weight)
    checks.append((~factor.known, Reason("interval_not_usable")))
    ratio, removed = post_ / pre_, uf / weight
    left = ratio - factor.value * hours_
    checks.append(((ratio < 0.1) | (ratio > 0.8), Reason("urea_ratio_outside")))
    checks.append((removed > 0.1, Reason("much_fluid_for_weight")))
    checks.append((left <= 0, Reason("ratio_unlike_length")))
    return measure(-np.log(left) + (k.FLUID_TERM - k.FLUID_TERM_RATIO * ratio) * removed, "1", checks)


def _sample_forbids(post_sample: str) -> Reason | None:
    """Why a sample after treatment cannot give a single-pool value, or None."""
    if post_sample not in POST_SAMPLES:
        return no_such("way_to_draw", post_sample, POST_SAMPLES)
    if post_sample == "late":
        return Reason("sample_was_late")
    if post_sample == "unprotected":
        return Reason("sample_not_protected")
    return None


@quiet
def equilibrated_ktv_from_late_sample(
    *,
    pre: ArrayLike,
    late: ArrayLike,
    hours: ArrayLike,
    uf_l: ArrayLike,
    post_weight_kg: ArrayLike,
    days_since_last: ArrayLike | None = None,
) -> Measure:
    """Equilibrated Kt/V straight from urea drawn 30 to 60 minutes after the end [1].

    late takes the place of the immediate sample in `single_pool_ktv`; units, range and source as there.
    Rebound completes in 30-60 minutes (seen, review page); a sample after 30 minutes in the same equation gives
    eKt/V (EBPG 2002, guideline II.1.2, seen).

    >>> treatment = dict(hours=4, uf_l=3, post_weight_kg=72)
    >>> round(equilibrated_ktv_from_late_sample(pre=70, late=25, **treatment).number, 3)
    1.238
    """
    return single_pool_ktv(
        pre=pre,
        post=late,
        hours=hours,
        uf_l=uf_l,
        post_weight_kg=post_weight_kg,
        days_since_last=days_since_last,
    )


_REBOUND: dict[str, Callable[[FloatArray, FloatArray], FloatArray]] = {
    "rate_arterial": lambda s, t: s - k.RATE_ARTERIAL_SLOPE * s * 60 / t + k.RATE_ARTERIAL_OFFSET,
    "rate_venous": lambda s, t: s - k.RATE_VENOUS_SLOPE * s * 60 / t + k.RATE_VENOUS_OFFSET,
    "tattersall_arterial": lambda s, t: s * t / (t + k.TATTERSALL_ARTERIAL),
    "tattersall_venous": lambda s, t: s * t / (t + k.TATTERSALL_VENOUS),
    "tattersall_hemo": lambda s, t: s * t / (t + k.TATTERSALL_HEMO),
    "leypoldt": lambda s, t: k.LEYPOLDT_SLOPE * s - k.LEYPOLDT_RATE * s * 60 / t + k.LEYPOLDT_OFFSET,
}


@quiet
def equilibrated_ktv(*, single_pool: ArrayLike, minutes: ArrayLike, method: str) -> Measure:
    """Kt/V after the rebound of urea, from the single-pool value [1].

    s single_pool, t minutes, T hours. method, all from a slow-flow sample at the end of treatment:
    rate_arterial s - 0.6 s/T + 0.03 (fistula or graft); rate_venous s - 0.47 s/T + 0.02 (catheter):
    Daugirdas and Schneditz 1995, derived on about 2-5 h (both seen in EBPG 2002, guideline II.1.2).
    tattersall_arterial s t/(t + 35), tattersall_venous s t/(t + 22): Kidney Int 50:2094, 1996 (form seen).
    tattersall_hemo s t/(t + 30.7), fistula or graft: J Am Soc Nephrol 15:194, 2004 (from memory).
    leypoldt 0.924 s - 0.395 s/T + 0.056, arterial: KDOQI 2006 Table 4 (from memory).
    Range: 0 < s <= 5; 60 to 720 min for the tattersall forms, 90 to 480 for the others. The straight lines
    exceed s for small s or long t; the answer is then s, since rebound only lowers a dose.

    >>> round(equilibrated_ktv(single_pool=1.4, minutes=240, method="tattersall_hemo").number, 6)
    1.241226
    """
    s, t = as_float(single_pool, minutes)
    if method not in _REBOUND:
        return unknown("1", no_such("method", method, EQUILIBRATED_METHODS), s.shape)
    shortest, longest = (60, 720) if method.startswith("tattersall") else (90, 480)
    checks = above_zero(single_pool_dose=s) + within(0, 5, "", single_pool_dose=s)
    checks += within(shortest, longest, "minutes", treatment_length=t)
    return measure(np.minimum(_REBOUND[method](s, t), s), "1", checks)


@quiet
def single_pool_of_equilibrated(*, equilibrated: ArrayLike, minutes: ArrayLike) -> Measure:
    """Single-pool Kt/V that stands behind an equilibrated one: s = E (t + 30.7)/t [1].

    The inverse of `equilibrated_ktv` by tattersall_hemo, the form that the weekly equation of 2010 has inside: so a
    dose from a late sample enters that equation as it is. equilibrated: above 0 to 5; minutes: t, 60 to 720.

    >>> round(single_pool_of_equilibrated(equilibrated=1.241226, minutes=240).number, 5)
    1.4
    """
    e, t = as_float(equilibrated, minutes)
    checks = above_zero(dose_of_a_treatment=e) + within(0, 5, "", dose_of_a_treatment=e)
    checks += within(60, 720, "minutes", treatment_length=t)
    return measure(e * (t + k.TATTERSALL_HEMO) / t, "1", checks)


def _weekly_checks(dose: FloatArray, t: FloatArray, n: FloatArray) -> list[Check]:
    checks = within(0, 5, "", dose_of_a_treatment=dose) + within(30, 720, "minutes", treatment_length=t)
    return [*checks, *within(0, 7, "", treatments_a_week=n)]


def _fixed_volume(e: FloatArray, t: FloatArray, n: FloatArray) -> FloatArray:
    removed = -np.expm1(-e)
    mean = np.where(e == 0, 1.0, removed / np.where(e == 0, 1.0, e))
    return np.asarray(k.MINUTES_PER_WEEK * removed / t / (mean + k.MINUTES_PER_WEEK / (n * t) - 1))


@quiet
def standard_weekly_ktv(*, equilibrated: ArrayLike, minutes: ArrayLike, per_week: ArrayLike) -> Measure:
    """Standard Kt/V of a week of equal treatments, fixed volume, no kidney [1/week].

    S = [10080 (1 - e^-E)/t] / [(1 - e^-E)/E + 10080/(N t) - 1].
    equilibrated: E [1], 0 to 5; minutes: t, 30 to 720 min; per_week: N, 0 to 7 (3.5 for alternate nights).
    No dialysis (E = 0 or N = 0) gives 0. Sampling as for E. Treatments are taken as evenly spaced.
    Source: Leypoldt, Jaber and Zimmerman, Semin Dial 17:142-5, 2004 (from memory; agrees with simulation);
    definition by Gotch, Nephrol Dial Transplant 13 Suppl 6:10-4, 1998.

    >>> round(standard_weekly_ktv(equilibrated=1.2, minutes=240, per_week=3).number, 6)
    2.160883
    """
    e, t, n = as_float(equilibrated, minutes, per_week)
    return measure(_fixed_volume(e, t, n), "1/wk", _weekly_checks(e, t, n))


@quiet
def standard_weekly_ktv_with_fluid_and_kidney(
    *,
    single_pool: ArrayLike,
    minutes: ArrayLike,
    per_week: ArrayLike,
    weekly_uf_l: ArrayLike,
    volume_l: ArrayLike,
    kidney_clearance_ml_min: ArrayLike = 0.0,
) -> Measure:
    """Standard Kt/V of a week with fluid removal and residual kidney clearance [1/week].

    S/(1 - (0.74/N) UFw/V) + Kru [0.974/(s + 1.62) + 0.4] 10080/V, S from E = s t/(t + 30.7).
    single_pool: s [1], 0 to 5; minutes: t, 30 to 720; per_week: N, 0 to 7; weekly_uf_l: UFw [L per WEEK];
    volume_l: V, post-dialysis urea volume, 10 to 100 L; kidney_clearance_ml_min: Kru, plasma-water urea
    clearance [mL/min], 0 to 20. Shapes broadcast. Sampling: slow flow, fistula or graft.
    Range: fluid of one treatment at most a quarter of V. 0.5 % low to 2.2 % high against two-pool models.
    Source: Daugirdas et al., Kidney Int 77:637-44, 2010 (from memory, confirmed by simulation).

    >>> week = dict(minutes=240, per_week=3, weekly_uf_l=9, volume_l=35, kidney_clearance_ml_min=2)
    >>> round(standard_weekly_ktv_with_fluid_and_kidney(single_pool=1.4, **week).number, 6)
    2.765211
    """
    s, t, n, uf, volume, kidney = as_float(
        single_pool, minutes, per_week, weekly_uf_l, volume_l, kidney_clearance_ml_min
    )
    checks = _weekly_checks(s, t, n) + not_negative(weekly_fluid=uf) + within(10, 100, "L", volume=volume)
    checks += within(0, 20, "mL/min", kidney_clearance=kidney)
    checks.append(((s > 0) & (uf > 0.25 * n * volume), Reason("weekly_fluid_does_not_fit")))
    return measure(_whole_week(s, t, n, uf, volume, kidney), "1/wk", checks)


def _whole_week(
    s: FloatArray, t: FloatArray, n: FloatArray, uf: FloatArray, volume: FloatArray, kidney: FloatArray
) -> FloatArray:
    base = _fixed_volume(_REBOUND["tattersall_hemo"](s, t), t, n)
    dialysis = np.where(base > 0, base / (1 - k.WEEKLY_FLUID * uf / (n * volume)), base)
    spared = k.KIDNEY_NUMERATOR / (np.where(n == 0, 0.0, s) + k.KIDNEY_SHIFT) + k.KIDNEY_FLOOR
    return np.asarray(dialysis + kidney * spared * k.MINUTES_PER_WEEK / (k.ML_PER_L * volume))


@quiet
def single_pool_ktv_needed(
    *,
    target: ArrayLike,
    minutes: ArrayLike,
    per_week: ArrayLike,
    weekly_uf_l: ArrayLike = 0.0,
    volume_l: ArrayLike = 35.0,
    kidney_clearance_ml_min: ArrayLike = 0.0,
) -> Measure:
    """Single-pool Kt/V each treatment needs so that the week reaches a standard Kt/V [1].

    target: weekly standard Kt/V, above 0; the rest as `standard_weekly_ktv_with_fluid_and_kidney`, whose
    inverse this is; volume_l matters only with fluid or a kidney. 0 where the kidney alone reaches the
    target; unknown where 5 does not.
    Source: that equation, solved by bisection; KDOQI 2006 Table 13 prints 1.2, 0.8, 0.5 for 3, 4, 6 a week.

    >>> round(single_pool_ktv_needed(target=2.0, minutes=240, per_week=3).number, 3)
    1.18
    """
    goal, t, n, uf, volume, kidney = as_float(target, minutes, per_week, weekly_uf_l, volume_l, kidney_clearance_ml_min)
    checks = above_zero(target=goal) + within(30, 720, "minutes", treatment_length=t)
    checks += within(0, 7, "", treatments_a_week=n) + not_negative(weekly_fluid=uf)
    checks += within(10, 100, "L", volume=volume) + within(0, 20, "mL/min", kidney_clearance=kidney)
    checks.append((uf > 0.25 * n * volume, Reason("weekly_fluid_does_not_fit")))
    low, high = np.zeros_like(goal), np.full_like(goal, 5.0)
    checks.append((_whole_week(high, t, n, uf, volume, kidney) < goal, Reason("target_not_reached")))
    for _ in range(50):
        middle = (low + high) / 2
        short = _whole_week(middle, t, n, uf, volume, kidney) < goal
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return measure(high, "1", checks)


@quiet
def surface_normalised_standard_ktv(*, standard: ArrayLike, volume_l: ArrayLike, surface_m2: ArrayLike) -> Measure:
    """Weekly dose per body surface on the scale of the standard Kt/V: stdKt/V (V/S)/20 [1/week].

    standard: [1/week]; volume_l: V by Watson, 10 to 100 L; surface_m2: S by Du Bois, 0.8 to 3.5 m2.
    20 L/m2 is the reference for adults (median 21.34 in men, 18.50 in women); at 2.0 the weekly
    clearance is 40 L/m2. Not for children.
    Source: Daugirdas et al., Semin Dial 21:415, 2008 (PMC2692381, seen).

    >>> round(surface_normalised_standard_ktv(standard=2.0, volume_l=21.34 * 1.9, surface_m2=1.9).number, 3)
    2.134
    """
    dose, volume, surface = as_float(standard, volume_l, surface_m2)
    checks = not_negative(weekly_dose=dose)
    checks += within(10, 100, "L", volume=volume) + within(0.8, 3.5, "m2", body_surface=surface)
    value = dose * (volume / surface) / k.REFERENCE_VOLUME_PER_SURFACE
    return measure(value, "1/wk", checks)
