"""Fluid and blood pressure at the bedside: what to take off, how fast, how the weights add up.

One litre of fluid is taken as one kilogram. Volumes that went through the circuit are in
`flows` and offered here too. Nothing here orders treatment: the unit's prescription and training decide.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from dosing.science import sources as k
from dosing.science.checks import given, no_such, quiet, within
from dosing.science.flows import (
    blood_processed_l,
    blood_processed_share,
)
from dosing.science.reasons import Reason
from dosing.science.results import Check, FloatArray, Measure, as_float, measure, unknown

__all__ = [
    "HIGH_UF_MINUTES",
    "HIGH_UF_RATE",
    "HYPOTENSION_DEFINITIONS",
    "UF_RATE_LINES",
    "blood_processed_l",
    "blood_processed_share",
    "delivered_fraction",
    "expected_post_weight",
    "interdialytic_gain_kg",
    "interdialytic_gain_percent",
    "intradialytic_hypotension",
    "mean_arterial_pressure",
    "target_deviation_kg",
    "time_averaged_fluid_load_kg",
    "uf_rate",
    "weight_scaled_uf_limit",
    "weight_scaled_uf_limit_per_kg",
]

UF_RATE_LINES = {"mean": k.UF_LINE_MEAN, "risk_20": k.UF_LINE_RISK_20, "risk_40": k.UF_LINE_RISK_40}
"""Offsets of the lines UF rate = 3 W + offset [mL/h]: average rate, 20 % and 40 % higher risk of death."""

HIGH_UF_RATE, HIGH_UF_MINUTES = k.HIGH_UF_RATE, k.HIGH_UF_MINUTES
"""[mL/kg/h], [min] A treatment of at least this rate and shorter than this is what the US measure counts."""

HYPOTENSION_DEFINITIONS = {
    "nadir": "lowest systolic below 90, or below 100 where it was 160 or more before (Flythe 2015)",
    "fall_with_symptoms": "systolic fell by 20 or mean by 10 mmHg, with symptoms (KDOQI 2005)",
    "fall_with_symptoms_and_help": "the same fall, with symptoms and an intervention (European 2007)",
}
"""Which definition fired must be stored: in one cohort a plain nadir fired 3.5 times as often as the
symptomatic one (Cedeno, Nefrologia 40:403, 2020, seen)."""


def _weights(**inputs: FloatArray) -> list[Check]:
    """Weights of an adult in kg, none more than a fifth away from the last one given."""
    checks = within(20, 300, "kg", **inputs)
    *others, reference = inputs.values()
    return checks + [(np.abs(other - reference) > 0.2 * reference, Reason("weights_differ")) for other in others]


@quiet
def uf_rate(*, uf_l: ArrayLike, minutes: ArrayLike, post_weight_kg: ArrayLike) -> Measure:
    """Ultrafiltration rate of one treatment per weight after it: 60000 UF/(t W) [mL/kg/h].

    uf_l: volume, 0 to 10 L; minutes: t, 30 to 900; post_weight_kg: W, 20 to 300 kg. Shapes broadcast.
    Judge each treatment, not a weekly mean: the first after a gap is the high one.
    Source: Flythe, Kimmel and Brunelli, Kidney Int 79:250-7, 2011 (bands to 10, to 13, above 13; seen).

    >>> round(uf_rate(uf_l=2.8, minutes=240, post_weight_kg=70).number, 6)
    10.0
    """
    uf, t, weight = as_float(uf_l, minutes, post_weight_kg)
    checks = within(0, 10, "L", fluid_removed=uf) + within(30, 900, "minutes", treatment_length=t)
    checks += within(20, 300, "kg", weight_after=weight)
    return measure(uf * k.ML_PER_L * 60 / (t * weight), "mL/kg/h", checks)


STRETCH_MINUTES = 15.0
"""So far apart two looks at the machine lie at the least for the rate between them to mean something: times are noted
to the minute (common practice, no source)."""


@quiet
def fastest_uf_rate(*, volumes_l: ArrayLike, volume_minutes: ArrayLike, post_weight_kg: ArrayLike) -> Measure:
    """Highest ultrafiltration rate between two looks at the machine's volume so far [mL/kg/h].

    volumes_l, volume_minutes: shape (looks,), the volume [L, 0 to 10] and when [min], in order of time, the start and a
    noted total among them; post_weight_kg: 20 to 300 kg. Each look is held against the first at least a quarter of an
    hour later; a volume that falls was set back to nought, and says nothing. The mean over the whole treatment hides
    that fluid came off faster after a stop. Source: `uf_rate` of each stretch; by hand.

    >>> looks = dict(volumes_l=[0, 0.7, 0.7, 2.1], volume_minutes=[0, 60, 120, 180])
    >>> round(fastest_uf_rate(**looks, post_weight_kg=70).number, 6)
    20.0
    """
    (volumes, times), (weight,) = as_float(volumes_l, volume_minutes), as_float(post_weight_kg)
    apart = times[None, :] - times[:, None]
    far = apart >= STRETCH_MINUTES
    first = far.argmax(axis=1)
    rows = np.arange(times.size)
    taken = volumes[first] - volumes
    counts = far[rows, first] & (taken >= 0)
    rates = np.where(counts, taken / np.where(counts, apart[rows, first], 1), -np.inf)
    checks: list[Check] = [((np.diff(times) < 0).any(), Reason("readings_not_in_order"))]
    checks += within(0, 10, "L", fluid_removed=volumes.max(initial=0)) + within(0, 10, "L", fluid_removed=volumes.min())
    checks += [(np.asarray(~counts.any()), Reason("no_stretch"))]
    checks += within(20, 300, "kg", weight_after=weight)
    return measure(rates.max(initial=-np.inf) * k.ML_PER_L * 60 / weight, "mL/kg/h", checks)


@quiet
def weight_scaled_uf_limit(*, post_weight_kg: ArrayLike, line: str = "risk_20") -> Measure:
    """UF rate at which risk is raised, growing with weight: 3 W + 500 [mL/h].

    post_weight_kg: W, 35 to 180 kg (common practice for the range). line: a key of `UF_RATE_LINES`; risk_20
    (3 W + 500), risk_40 (3 W + 630) or mean (3 W + 330). Men ran 70 mL/h higher than women. Derived in
    patients treated three times a week in centre: take care with frequent or long home treatment.
    Source: Mermelstein et al., Clin J Am Soc Nephrol 18:767, 2023 (seen).

    >>> weight_scaled_uf_limit(post_weight_kg=70).number
    710.0
    """
    (weight,) = as_float(post_weight_kg)
    if line not in UF_RATE_LINES:
        return unknown("mL/h", no_such("line", line, UF_RATE_LINES), weight.shape)
    checks = within(35, 180, "kg", weight_after=weight)
    return measure(k.UF_LINE_SLOPE * weight + UF_RATE_LINES[line], "mL/h", checks)


@quiet
def weight_scaled_uf_limit_per_kg(*, post_weight_kg: ArrayLike, line: str = "risk_20") -> Measure:
    """`weight_scaled_uf_limit` divided by the weight, to stand beside `uf_rate` [mL/kg/h].

    Arguments, range and source as there.

    >>> round(weight_scaled_uf_limit_per_kg(post_weight_kg=70, line="risk_40").number, 6)
    12.0
    """
    (weight,) = as_float(post_weight_kg)
    limit = weight_scaled_uf_limit(post_weight_kg=weight, line=line)
    return Measure(np.asarray(limit.value / weight), "mL/kg/h", limit.why)


@quiet
def interdialytic_gain_kg(*, pre_weight_kg: ArrayLike, last_post_weight_kg: ArrayLike) -> Measure:
    """Weight gained since the last treatment ended: pre - last post [kg]; below zero means lost.

    Weights 20 to 300 kg, at most a fifth apart.

    >>> round(interdialytic_gain_kg(pre_weight_kg=72.6, last_post_weight_kg=70).number, 6)
    2.6
    """
    pre, last = as_float(pre_weight_kg, last_post_weight_kg)
    checks = _weights(weight_before=pre, last_weight_after=last)
    return measure(pre - last, "kg", checks)


@quiet
def interdialytic_gain_percent(
    *, pre_weight_kg: ArrayLike, last_post_weight_kg: ArrayLike, target_weight_kg: ArrayLike
) -> Measure:
    """Weight gained since the last treatment as a share of the target: 100 (pre - last post)/target [%].

    Weights 20 to 300 kg, at most a fifth from the target. Advice is to stay under 4 to 4.5 % (European
    guideline 2007, from memory).

    >>> weights = dict(pre_weight_kg=72.8, last_post_weight_kg=70, target_weight_kg=70)
    >>> round(interdialytic_gain_percent(**weights).number, 6)
    4.0
    """
    pre, last, target = as_float(pre_weight_kg, last_post_weight_kg, target_weight_kg)
    checks = _weights(weight_before=pre, last_weight_after=last, target_weight=target)
    return measure(100 * (pre - last) / target, "%", checks)


@quiet
def target_deviation_kg(*, post_weight_kg: ArrayLike, target_weight_kg: ArrayLike) -> Measure:
    """How far the weight after treatment is from the target: post - target [kg]; above zero means over.

    Weights 20 to 300 kg, at most a fifth apart.

    >>> round(target_deviation_kg(post_weight_kg=71.2, target_weight_kg=70).number, 6)
    1.2
    """
    post, target = as_float(post_weight_kg, target_weight_kg)
    return measure(post - target, "kg", _weights(weight_after=post, target_weight=target))


@quiet
def expected_post_weight(
    *,
    pre_weight_kg: ArrayLike,
    uf_l: ArrayLike,
    rinse_back_l: ArrayLike = 0.0,
    intake_l: ArrayLike = 0.0,
) -> Measure:
    """Weight that should be found after treatment: pre - UF + rinse-back + intake [kg].

    pre_weight_kg: 20 to 300; uf_l: volume the machine took off, 0 to 10 L; rinse_back_l: 0 to 2 L;
    intake_l: 0 to 5 L. A weight found 0.5 to 1 kg away points to an error of scale, entry or machine
    (common practice). Source: mass balance.

    >>> round(expected_post_weight(pre_weight_kg=72.6, uf_l=2.9, rinse_back_l=0.3, intake_l=0.25).number, 6)
    70.25
    """
    pre, uf, rinse, intake = as_float(pre_weight_kg, uf_l, rinse_back_l, intake_l)
    checks = within(20, 300, "kg", weight_before=pre) + within(0, 10, "L", fluid_removed=uf)
    checks += within(0, 2, "L", rinse_back=rinse) + within(0, 5, "L", intake=intake)
    return measure(pre - uf + rinse + intake, "kg", checks)


@quiet
def time_averaged_fluid_load_kg(
    *, pre_weight_kg: ArrayLike, post_weight_kg: ArrayLike, target_weight_kg: ArrayLike
) -> Measure:
    """Mean fluid above the target over one cycle: (pre + post)/2 - target [kg].

    Weights 20 to 300 kg, at most a fifth from the target; assumes gain at a steady rate. The concept is
    from memory, the arithmetic is a mean of two deviations.

    >>> weights = dict(pre_weight_kg=72.1, post_weight_kg=69.6, target_weight_kg=70)
    >>> round(time_averaged_fluid_load_kg(**weights).number, 6)
    0.85
    """
    pre, post, target = as_float(pre_weight_kg, post_weight_kg, target_weight_kg)
    checks = _weights(weight_before=pre, weight_after=post, target_weight=target)
    return measure((pre + post) / 2 - target, "kg", checks)


@quiet
def delivered_fraction(*, delivered_minutes: ArrayLike, prescribed_minutes: ArrayLike) -> Measure:
    """Part of the prescribed time that was delivered [1]; above 1 where a treatment ran longer.

    Both in minutes: delivered 0 to 1440, prescribed 30 to 900.

    >>> delivered_fraction(delivered_minutes=216, prescribed_minutes=240).number
    0.9
    """
    delivered, prescribed = as_float(delivered_minutes, prescribed_minutes)
    checks = within(0, 1440, "minutes", delivered_time=delivered)
    checks += within(30, 900, "minutes", prescribed_time=prescribed)
    return measure(delivered / prescribed, "1", checks)


@quiet
def mean_arterial_pressure(*, systolic: ArrayLike, diastolic: ArrayLike) -> Measure:
    """Mean arterial pressure of a cuff reading: D + (S - D)/3 [mmHg].

    systolic: 40 to 300; diastolic: 20 to 200 mmHg, below systolic. Source: textbook rule (common practice).

    >>> mean_arterial_pressure(systolic=140, diastolic=80).number
    100.0
    """
    high, low = as_float(systolic, diastolic)
    checks = within(40, 300, "mmHg", systolic_pressure=high) + within(20, 200, "mmHg", diastolic_pressure=low)
    checks.append((low >= high, Reason("pressures_swapped")))
    return measure(low + (high - low) / 3, "mmHg", checks)


@quiet
def lowest_pressure(*, pressures_mmhg: ArrayLike) -> Measure:
    """Lowest of the pressures noted in one treatment [mmHg].

    pressures_mmhg: shape (..., readings), 40 to 300 for systolic, 20 to 240 for mean; NaN where none was taken.
    Source: order statistics.

    >>> lowest_pressure(pressures_mmhg=[140, float("nan"), 96, 128]).number
    96.0
    """
    pressures = np.atleast_1d(np.asarray(pressures_mmhg, dtype=np.float64))
    lowest = np.fmin.reduce(pressures, -1, initial=np.inf)
    checks: list[Check] = [(np.isinf(lowest), Reason("no_blood_pressure"))]
    checks.append(
        ((lowest < 20) | (lowest > 300), Reason("outside", what="blood_pressure", low=20, high=300, unit="mmHg"))
    )
    return measure(lowest, "mmHg", checks)


@quiet
def intradialytic_hypotension(
    *,
    definition: str,
    pre_systolic: ArrayLike,
    lowest_systolic: ArrayLike,
    mean_fall: ArrayLike = 0.0,
    symptoms: ArrayLike | None = None,
    intervention: ArrayLike | None = None,
) -> Measure:
    """Whether a treatment counts as one with low blood pressure: 1 yes, 0 no.

    definition: a key of `HYPOTENSION_DEFINITIONS`. pre_systolic, lowest_systolic: 40 to 300 mmHg;
    mean_fall: fall of the mean pressure [mmHg], where it was measured; symptoms, intervention: 1 or 0, each
    needed where the definition names it. Shapes broadcast. A patient "has" it from 30 % of treatments on.
    Source: Flythe et al., J Am Soc Nephrol 26:724, 2015 (seen); KDOQI 2005 (from memory); European
    guideline 2007 as quoted in PMC6518736 (seen).

    >>> intradialytic_hypotension(definition="nadir", pre_systolic=170, lowest_systolic=96).number
    1.0
    """
    before, lowest, mean, felt, helped = as_float(pre_systolic, lowest_systolic, mean_fall, symptoms, intervention)
    if definition not in HYPOTENSION_DEFINITIONS:
        return unknown("1", no_such("definition", definition, HYPOTENSION_DEFINITIONS), before.shape)
    checks = within(40, 300, "mmHg", systolic_before=before, lowest_systolic=lowest)
    if definition == "nadir":
        met = lowest < np.where(before >= k.NADIR_SWITCH, k.NADIR_HIGH, k.NADIR_LOW)
        return measure(met.astype(np.float64), "1", checks)
    checks += given(fall_of_mean_pressure=mean) + within(0, 1, "", symptoms=felt)
    met = ((before - lowest >= k.FALL_SYSTOLIC) | (mean >= k.FALL_MEAN)) & (felt > 0)
    if definition == "fall_with_symptoms_and_help":
        checks += within(0, 1, "", intervention=helped)
        met &= helped > 0
    return measure(met.astype(np.float64), "1", checks)
