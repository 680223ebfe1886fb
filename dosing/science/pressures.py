"""Circuit pressures of nights with different blood flows: what the flow alone would change, by published slopes.

The patient's own answer to flow is learned from the nights (`usual`); as far as those hardly differ in flow it is
shrunk to the published slope for the needle gauge.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from dosing.science import sources as k
from dosing.science.access import SMALLEST_FLOW_STEP
from dosing.science.checks import given, quiet, within
from dosing.science.reasons import Reason
from dosing.science.results import Measure, as_float, measure
from dosing.science.robust import median

SLOPES = {"venous": k.VENOUS_FLOW_SLOPE, "arterial": k.ARTERIAL_FLOW_SLOPE}
FARTHEST = 200.0
"""[mL/min] A pressure read farther from the reference flow is not brought to it."""
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
    return measure(slope, "mmHg/(mL/min)", [*checks, (np.isnan(slope), Reason("gauge_unknown"))])


def expected_change(
    *, flows_ml_min: ArrayLike, reference_ml_min: ArrayLike, gauge: ArrayLike, side: str = "venous"
) -> Measure:
    """The change of pressure that a night's flow makes against the reference flow, by the published slope [mmHg].

    flows_ml_min, reference_ml_min: mL/min; gauge: as in `published_flow_slope`, NaN where not noted or no needle.
    Flows are 50 to 700 mL/min, at most 200 apart; without a gauge only a flow within 10 mL/min of the reference is
    comparable, and its change is 0. Shapes broadcast. Source: `published_flow_slope`.

    >>> round(expected_change(flows_ml_min=300, reference_ml_min=200, gauge=15).number, 6)
    44.3
    """
    flow, reference, size = as_float(flows_ml_min, reference_ml_min, gauge)
    slope = published_flow_slope(gauge=size, side=side)
    away = flow - reference
    near = ~slope.known & (np.abs(away) <= SMALLEST_FLOW_STEP)
    change = np.where(near, 0.0, slope.value * away)
    checks = within(50, 700, "mL/min", blood_flow=flow, reference_flow=reference)
    checks.append((np.abs(away) > FARTHEST, Reason("flow_too_far")))
    checks.append((~slope.known & ~near, Reason("flow_too_far_without_gauge")))
    return measure(change, "mmHg", checks)


def usual_flow(*, flows_ml_min: ArrayLike, recent: int = RECENT) -> Measure:
    """The flow at which levels are told: the middle of the latest noted flows, rounded to 10 mL/min.

    flows_ml_min: (nights,) in order of time, NaN where not noted; recent: how many of the latest count.
    Source: common practice, no source.

    >>> usual_flow(flows_ml_min=[200, 298, float("nan"), 304, 301]).number
    300.0
    """
    (flow,) = as_float(flows_ml_min)
    noted = flow[np.isfinite(flow)]
    return measure(10 * np.round(median(noted[-recent:]) / 10), "mL/min", [(not noted.size, Reason("no_blood_flow"))])


def _side(side: str) -> str:
    if side not in SLOPES:
        raise ValueError(f"the side is venous or arterial, not {side!r}")
    return side
