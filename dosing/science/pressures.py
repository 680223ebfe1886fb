"""Circuit pressures of nights with different blood flows, brought to one flow by the patient's own slope.

The slope is learned from the patient's nights; as far as those hardly differ in flow it is shrunk to a published one
for the needle gauge. The level starts anew with each change of access, gauge, site or lines.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from dosing.science import sources as k
from dosing.science.access import SMALLEST_FLOW_STEP, pressure_at_flow
from dosing.science.baseline import Design
from dosing.science.checks import given, quiet
from dosing.science.drift import DESIGN, segments
from dosing.science.results import FloatArray, Measure, as_float, measure
from dosing.science.robust import median
from dosing.science.watch import ARTERIAL_PRESSURE, VENOUS_PRESSURE, Drift, judge

SLOPES = {"venous": k.VENOUS_FLOW_SLOPE, "arterial": k.ARTERIAL_FLOW_SLOPE}
WATCHES = {"venous": VENOUS_PRESSURE, "arterial": ARTERIAL_PRESSURE}
RECENT = 20
"""Nights whose middle flow is the one at which levels are told, unless another is given."""


@quiet
def published_flow_slope(*, gauge: ArrayLike, side: str) -> Measure:
    """How a circuit pressure changes with blood flow, by needle gauge [mmHg per mL/min].

    gauge: 14, 15, 16 or 17; side: "venous" or "arterial" (before the pump, falling). Between patients it differs by a
    fifth and more, tubing and machine included. Source: Gallego et al., Nefrologia 1997;17:322 (seen) for 14 and 15 G,
    a comparison of four gauges (seen) for 17 G venous; 16 G and arterial 16 and 17 G are interpolated, no source.

    >>> published_flow_slope(gauge=15, side="venous").number
    0.443
    """
    (size,) = as_float(gauge)
    slope = np.full(size.shape, np.nan)
    for known, value in SLOPES[_side(side)].items():
        slope = np.where(size == known, value, slope)
    checks = given(needle_gauge=size)
    return measure(slope, "mmHg/(mL/min)", [*checks, (np.isnan(slope), "needle gauge is not 14, 15, 16 or 17")])


def expected_change(
    *, flows_ml_min: ArrayLike, reference_ml_min: ArrayLike, gauge: ArrayLike, side: str = "venous"
) -> Measure:
    """The change of pressure that a night's flow makes against the reference flow, by the published slope [mmHg].

    flows_ml_min, reference_ml_min: mL/min; gauge: as in `published_flow_slope`, NaN where not noted or no needle.
    Without a gauge only a flow within 10 mL/min of the reference is comparable, and its change is 0. Shapes broadcast.

    >>> round(expected_change(flows_ml_min=300, reference_ml_min=200, gauge=15).number, 6)
    44.3
    """
    flow, reference, size = as_float(flows_ml_min, reference_ml_min, gauge)
    slope = published_flow_slope(gauge=size, side=side)
    away = flow - reference
    near = ~slope.known & (np.abs(away) <= SMALLEST_FLOW_STEP)
    change = np.where(near, 0.0, slope.value * away)
    checks = given(blood_flow=flow, reference_flow=reference)
    checks.append((~slope.known & ~near, "without a needle gauge the flow is too far from the reference flow"))
    return measure(change, "mmHg", checks)


def judge_pressure(
    *,
    pressures_mmhg: ArrayLike,
    flows_ml_min: ArrayLike,
    gauge: ArrayLike,
    days: ArrayLike,
    segment: ArrayLike = 0,
    reference_ml_min: float | None = None,
    side: str = "venous",
    design: Design = DESIGN,
) -> Drift:
    """Whether a circuit pressure drifts at comparable blood flow, judged on the last usable night.

    pressures_mmhg, flows_ml_min: each night's pressure at treatment flow, and that flow, NaN where not noted; gauge:
    one for each night or one for all, NaN for none; days: when [d]; segment: whole numbers that change with access,
    site or lines (a change of gauge is seen here); reference_ml_min: the flow at which levels are told, else the
    middle of the last nights, rounded to 10. A night more than 200 mL/min from it is left out.
    Raises ValueError where shapes differ, a day is no number or the side is neither.
    """
    day = np.asarray(days, dtype=np.float64)
    order = np.argsort(day, kind="stable")
    inputs = as_float(pressures_mmhg, flows_ml_min, gauge, segment)
    if any(x.shape != day.shape for x in inputs):
        raise ValueError(f"pressures, flows and days are lists of one length, not of {inputs[0].shape} and {day.shape}")
    pressure, flow, size, label = (x[order] for x in inputs)
    reference = _reference(flow, pressure) if reference_ml_min is None else reference_ml_min
    change = expected_change(flows_ml_min=flow, reference_ml_min=reference, gauge=size, side=side)
    # Only for what it refuses: flows and pressures out of range, or too far from the reference.
    fit = pressure_at_flow(pressure_mmhg=pressure, flow_ml_min=flow, reference_ml_min=reference, slope=0.0)
    return judge(
        watch=WATCHES[_side(side)],
        values=np.where(fit.known, pressure, np.nan),
        days=day[order],
        expected=change.value,
        segment=segments(label, size),
        conditions=f"at {reference:.0f} mL/min",
        design=design,
    )


def _side(side: str) -> str:
    if side not in SLOPES:
        raise ValueError(f"the side is venous or arterial, not {side!r}")
    return side


def _reference(flow: FloatArray, pressure: FloatArray) -> float:
    both = flow[np.isfinite(flow) & np.isfinite(pressure)]
    return float(10 * np.round(median(both[-RECENT:]) / 10))
