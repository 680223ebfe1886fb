"""Vascular access seen through the pressures of a treatment: numbers to follow over time.

None of them finds a stenosis. A trend is a reason to examine the access and to talk to the unit
(KDOQI 2019 asks for regular examination and no routine surveillance on top; from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from dosing.science import sources as k
from dosing.science.checks import quiet
from dosing.science.reasons import Reason
from dosing.science.results import FloatArray, Measure, as_float, measure

SMALLEST_FLOW_STEP = 10.0
"""[mL/min] Two readings closer than this say nothing about how pressure changes with flow."""


def _median(values: FloatArray) -> FloatArray:
    """Median along the last axis without the NaN; NaN where all are."""
    # One empty place more, so that an empty axis has a median too: a missing one.
    ordered = np.sort(np.concatenate([values, np.full((*values.shape[:-1], 1), np.nan)], -1), axis=-1)
    count = (~np.isnan(ordered)).sum(-1, keepdims=True)
    low = np.take_along_axis(ordered, np.maximum(count - 1, 0) // 2, -1)
    high = np.take_along_axis(ordered, count // 2, -1)
    return np.asarray(((low + high) / 2)[..., 0])


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
