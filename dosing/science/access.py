"""Vascular access seen through pressures, recirculation and needles: numbers to follow over time.

None of them finds a stenosis. A trend is a reason to examine the access and to talk to the unit
(KDOQI 2019 asks for regular examination and no routine surveillance on top; from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from dosing.science import sources as k
from dosing.science.checks import above_zero, given, no_such, not_negative, quiet, within
from dosing.science.reasons import Reason
from dosing.science.results import FloatArray, Measure, as_float, measure, unknown

STATIC_EQUATIONS = {
    "empirical": "P + 0.35 H + 3.4 (review in J Am Soc Nephrol, Table 2)",
    "hydrostatic": "P + 0.76 H (weight of the blood column; KDOQI 2006)",
}
"""The two differ by up to 11 mmHg at 35 cm: store which one made a number, never mix them in a trend."""

HIGHEST_NEEDLE_FLOW = {
    17: k.NEEDLE_17_FLOW,
    16: k.NEEDLE_16_FLOW,
    15: k.NEEDLE_15_FLOW,
    14: k.NEEDLE_14_FLOW,
}
"""Blood flow [mL/min] up to which a needle gauge is usual."""

SMALLEST_FLOW_STEP = 10.0
"""[mL/min] Two readings closer than this say nothing about how pressure changes with flow."""
FARTHEST_FLOW = 50.0
"""[mL/min] How far outside the flows that were read a pressure is still carried."""


@quiet
def static_pressure(*, chamber_mmhg: ArrayLike, height_cm: ArrayLike, equation: str) -> Measure:
    """Pressure in the access with the pump off, from the venous chamber [mmHg].

    Pump off, line clamped between dialyser and chamber, read after 30 s. chamber_mmhg: P, -50 to 300;
    height_cm: H from the access up to the blood level in the chamber, -50 to 100 cm; equation: a key of
    `STATIC_EQUATIONS`, empirical P + 0.35 H + 3.4 or hydrostatic P + 0.76 H. Shapes broadcast.
    Source: J Am Soc Nephrol review of venous-pressure methods, Table 2; Korean J Nephrol 25:283 (both seen).

    >>> round(static_pressure(chamber_mmhg=45, height_cm=30, equation="empirical").number, 6)
    58.9
    >>> round(static_pressure(chamber_mmhg=45, height_cm=30, equation="hydrostatic").number, 6)
    67.8
    """
    chamber, height = as_float(chamber_mmhg, height_cm)
    if equation not in STATIC_EQUATIONS:
        return unknown("mmHg", no_such("equation", equation, STATIC_EQUATIONS), chamber.shape)
    checks = within(-50, 300, "mmHg", chamber_pressure=chamber) + within(-50, 100, "cm", height=height)
    if equation == "empirical":
        return measure(chamber + k.STATIC_SLOPE * height + k.STATIC_OFFSET, "mmHg", checks)
    return measure(chamber + k.HYDROSTATIC_SLOPE * height, "mmHg", checks)


@quiet
def pressure_ratio(*, access_mmhg: ArrayLike, mean_arterial_mmhg: ArrayLike) -> Measure:
    """Access pressure over mean arterial pressure [1].

    access_mmhg: static pressure by one of the two equations, -50 to 400; mean_arterial_mmhg: 40 to 200 mmHg.
    Usual at the venous needle: fistula 0.08-0.34, graft 0.15-0.49 (KDOQI 2006, seen second-hand); what
    counts is a steady rise on the same chair with the same equation.

    >>> round(pressure_ratio(access_mmhg=58.9, mean_arterial_mmhg=93.333333).number, 3)
    0.631
    """
    access, mean = as_float(access_mmhg, mean_arterial_mmhg)
    checks = within(-50, 400, "mmHg", access_pressure=access)
    checks += within(40, 200, "mmHg", mean_arterial_pressure=mean)
    return measure(access / mean, "1", checks)


@quiet
def recirculation(*, systemic: ArrayLike, arterial: ArrayLike, venous: ArrayLike) -> Measure:
    """Share of the blood flow that comes straight back: R = 100 (S - A)/(S - V) [%].

    systemic S (slow flow 120 mL/min for 10 s, pump stopped, from the arterial line), arterial A, venous V:
    urea in one unit, drawn after 30 min with UF off. V < A <= S; above S an arterial sample is an error of
    measurement. Above 10 % by urea, confirm; reversed lines read high. Source: KDOQI 2006 (from memory).

    >>> round(recirculation(systemic=60, arterial=54, venous=15).number, 3)
    13.333
    """
    s, a, v = as_float(systemic, arterial, venous)
    checks = above_zero(systemic_urea=s, arterial_urea=a, venous_urea=v)
    checks.append((v >= s, Reason("venous_urea_high")))
    checks.append((a > s, Reason("arterial_above_systemic")))
    checks.append((v > a, Reason("venous_above_arterial")))
    return measure(100 * (s - a) / (s - v), "%", checks)


@quiet
def line_reversal_flow(*, qb: ArrayLike, recirculation_share: ArrayLike) -> Measure:
    """Flow through the access from the recirculation with the lines reversed: Qb (1/R - 1) [mL/min].

    qb: blood flow 50 to 600 mL/min; recirculation_share: R as a fraction, 0.02 to below 1, measured by
    dilution with the needles' lines swapped. Source: Krivitski, Kidney Int 48:244, 1995 (from memory).

    >>> round(line_reversal_flow(qb=300, recirculation_share=0.30).number, 6)
    700.0
    """
    flow, share = as_float(qb, recirculation_share)
    checks = within(50, 600, "mL/min", blood_flow=flow) + given(recirculation=share)
    checks.append(((share < 0.02) | (share >= 1), Reason("recirculation_no_fraction")))
    return measure(flow * (1 / share - 1), "mL/min", checks)


@quiet
def flow_change_percent(*, before: ArrayLike, now: ArrayLike) -> Measure:
    """Change of an access flow: 100 (now - before)/before [%]; below zero is a fall.

    Both mL/min above zero, same method. Repeats differ by 8 to 14 % and one patient varies by 23 % over time
    (Huisman; Blood Purif 26:468, 2008, seen), so repeat before acting. Source: arithmetic.

    >>> round(flow_change_percent(before=1000, now=740).number, 6)
    -26.0
    """
    old, new = as_float(before, now)
    return measure(100 * (new - old) / old, "%", above_zero(earlier_flow=old, present_flow=new))


@quiet
def highest_needle_flow(*, gauge: ArrayLike) -> Measure:
    """Blood flow up to which a needle is usual: 17 G 300, 16 G 350, 15 G 450, 14 G 500 [mL/min].

    gauge: 14, 15, 16 or 17. A remark, not a limit. Source: KDOQI 2006 cannulation table (from memory; 500 for
    14 G from teaching pages).

    >>> highest_needle_flow(gauge=15).number
    450.0
    """
    (size,) = as_float(gauge)
    flow = np.full(size.shape, np.nan)
    for known, highest in HIGHEST_NEEDLE_FLOW.items():
        flow = np.where(size == known, highest, flow)
    checks = given(needle_gauge=size)
    return measure(flow, "mL/min", [*checks, (np.isnan(flow), Reason("gauge_unknown"))])


@quiet
def needle_gauge_for_flow(*, flow_ml_min: ArrayLike) -> Measure:
    """Thinnest needle whose usual range reaches a blood flow [gauge], see `highest_needle_flow`.

    flow_ml_min: 50 to 500 mL/min.

    >>> needle_gauge_for_flow(flow_ml_min=400).number
    15.0
    """
    (flow,) = as_float(flow_ml_min)
    gauge = np.full(flow.shape, 14.0)
    for size, highest in sorted(HIGHEST_NEEDLE_FLOW.items()):
        gauge = np.where(flow <= highest, size, gauge)
    return measure(gauge, "gauge", within(50, float(k.NEEDLE_14_FLOW), "mL/min", blood_flow=flow))


def _median(values: FloatArray) -> FloatArray:
    """Median along the last axis without the NaN; NaN where all are."""
    # One empty place more, so that an empty axis has a median too: a missing one.
    ordered = np.sort(np.concatenate([values, np.full((*values.shape[:-1], 1), np.nan)], -1), axis=-1)
    count = (~np.isnan(ordered)).sum(-1, keepdims=True)
    low = np.take_along_axis(ordered, np.maximum(count - 1, 0) // 2, -1)
    high = np.take_along_axis(ordered, count // 2, -1)
    return np.asarray(((low + high) / 2)[..., 0])


def _theil_sen(pressures: FloatArray, flows: FloatArray) -> FloatArray:
    first, second = np.triu_indices(flows.shape[-1], 1)
    run = flows[..., second] - flows[..., first]
    rise = pressures[..., second] - pressures[..., first]
    slopes = np.where(np.abs(run) >= SMALLEST_FLOW_STEP, rise / run, np.nan)
    return _median(slopes)


def _pairs(pressures_mmhg: ArrayLike, flows_ml_min: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Readings with both values; the others become NaN in both."""
    pressures, flows = (np.atleast_1d(x) for x in as_float(pressures_mmhg, flows_ml_min))
    lacking = ~(np.isfinite(pressures) & np.isfinite(flows))
    return np.where(lacking, np.nan, pressures), np.where(lacking, np.nan, flows)


@quiet
def near_treatment_flow(*, flows_ml_min: ArrayLike) -> Measure:
    """Which readings were taken at the flow of the treatment: 1 yes, 0 no, one for each reading.

    flows_ml_min: shape (..., readings), NaN or 0 where none was read. At the start and the end the pump runs
    slower: a reading counts within a tenth of the median flow. Source: common practice, no source.

    >>> near_treatment_flow(flows_ml_min=[150, 300, 310]).value.tolist()
    [0.0, 1.0, 1.0]
    """
    flows = np.atleast_1d(np.asarray(flows_ml_min, dtype=np.float64))
    usual = _median(np.where(flows > 0, flows, np.nan))[..., None]
    near = np.abs(flows - usual) <= k.NEAR_TREATMENT_FLOW * usual
    return measure(near, "1", [(np.broadcast_to(np.isnan(usual), near.shape), Reason("no_blood_flow"))])


@quiet
def median_at_treatment_flow(*, values: ArrayLike, flows_ml_min: ArrayLike) -> Measure:
    """Typical value of readings taken at the flow of the treatment [unit of the values].

    values, flows_ml_min: shape (..., readings), NaN where a reading lacks either: the median of the values read
    near that flow, see `near_treatment_flow`. Unknown where no reading has both. Source: order statistics.

    >>> median_at_treatment_flow(values=[80, 130, 140], flows_ml_min=[150, 300, 310]).number
    135.0
    """
    read, flows = _pairs(values, flows_ml_min)
    near = near_treatment_flow(flows_ml_min=flows)
    value = _median(np.where(near.value == 1, read, np.nan))
    return measure(value, "", [(np.isnan(value), Reason("no_treatment_flow"))])


@quiet
def pressure_flow_slope(*, pressures_mmhg: ArrayLike, flows_ml_min: ArrayLike) -> Measure:
    """How a circuit pressure changes with blood flow: Theil-Sen slope [mmHg per mL/min].

    Both of shape (..., readings), of one access, needle gauge and machine; NaN where a reading lacks either.
    The median of the slopes of all pairs at least 10 mL/min apart; unknown where there is none.
    Robust: up to 29 % outliers do not move it. Source: Sen, J Am Stat Assoc 63:1379, 1968 (from memory).

    >>> round(pressure_flow_slope(pressures_mmhg=[60, 82, 104], flows_ml_min=[200, 250, 300]).number, 6)
    0.44
    """
    pressures, flows = _pairs(pressures_mmhg, flows_ml_min)
    slope = _theil_sen(pressures, flows)
    return measure(slope, "mmHg/(mL/min)", [(np.isnan(slope), Reason("flows_too_alike"))])


@quiet
def pressure_at_flow(
    *, pressure_mmhg: ArrayLike, flow_ml_min: ArrayLike, reference_ml_min: ArrayLike, slope: ArrayLike
) -> Measure:
    """One reading brought to a reference flow: P - slope (Q - reference) [mmHg].

    pressure_mmhg: -400 to 600; flow_ml_min, reference_ml_min: 50 to 700 mL/min, at most 200 apart; slope
    [mmHg per mL/min] from `pressure_flow_slope` of the same access, within -2 to 2. Linear in the usual
    range (Gallego, Nefrologia 17:322, 1997, seen: 0.44 for 15 G, 0.33 for 14 G, venous).

    >>> reading = dict(pressure_mmhg=149.2, flow_ml_min=400)
    >>> round(pressure_at_flow(**reading, reference_ml_min=200, slope=0.443).number, 6)
    60.6
    """
    pressure, flow, reference, rise = as_float(pressure_mmhg, flow_ml_min, reference_ml_min, slope)
    checks = within(-400, 600, "mmHg", pressure=pressure) + within(-2, 2, "mmHg per mL/min", slope=rise)
    checks += within(50, 700, "mL/min", blood_flow=flow, reference_flow=reference)
    checks.append((np.abs(flow - reference) > 200, Reason("flow_too_far")))
    return measure(pressure - rise * (flow - reference), "mmHg", checks)


@quiet
def median_pressure_at_flow(
    *, pressures_mmhg: ArrayLike, flows_ml_min: ArrayLike, reference_ml_min: ArrayLike
) -> Measure:
    """Typical circuit pressure at one reference flow, from readings at several flows [mmHg].

    Each reading is brought to the reference along the Theil-Sen slope of all of them, then the median is
    taken: outliers and changes of the pump do not move it. pressures_mmhg, flows_ml_min: shape
    (..., readings), one access, gauge and machine, NaN where a reading lacks either; reference_ml_min: shape
    (...), within 50 mL/min of the flows read. Where the flows hardly differ they must lie within 10 mL/min
    of the reference, and the plain median is the answer. Source: Sen 1968 (from memory).

    >>> readings = dict(pressures_mmhg=[60, 82, 104, 300], flows_ml_min=[200, 250, 300, 250])
    >>> round(median_pressure_at_flow(**readings, reference_ml_min=250).number, 6)
    82.0
    """
    pressures, flows = _pairs(pressures_mmhg, flows_ml_min)
    (reference,) = as_float(reference_ml_min)
    slope = _theil_sen(pressures, flows)
    away = flows - reference[..., None]
    carried = np.where(np.isnan(slope)[..., None], pressures, pressures - slope[..., None] * away)
    value = _median(carried)
    farthest = np.fmax.reduce(np.abs(away), -1, initial=0.0)
    low, high = np.fmin.reduce(away, -1, initial=np.inf), np.fmax.reduce(away, -1, initial=-np.inf)
    checks = not_negative(reference_flow=reference)
    checks.append((np.isnan(value), Reason("no_pressure_with_flow")))
    level = np.isnan(slope) & (farthest > SMALLEST_FLOW_STEP)
    checks.append((level, Reason("flows_too_alike_to_carry")))
    outside = (low > FARTHEST_FLOW) | (high < -FARTHEST_FLOW)
    checks.append((outside, Reason("reference_too_far")))
    return measure(value, "mmHg", checks)
