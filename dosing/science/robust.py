"""Middles of a patient's own nights that a few wild ones move little, along the last axis; NaN is left out."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from dosing.science.checks import quiet
from dosing.science.results import FloatArray


@quiet
def median(values: ArrayLike) -> FloatArray:
    """Median along the last axis without the NaN; NaN where all are. values: (..., n). Source: order statistics.

    >>> float(median([3.0, float("nan"), 1.0, 8.0]))
    3.0
    """
    given = np.asarray(values, dtype=np.float64)
    # One empty place more, so that an empty axis has an answer too: NaN. NaN sort last.
    ordered = np.sort(np.concatenate([given, np.full((*given.shape[:-1], 1), np.nan)], -1), axis=-1)
    count = (~np.isnan(given)).sum(-1, keepdims=True)
    low = np.take_along_axis(ordered, np.maximum(count - 1, 0) // 2, -1)
    high = np.take_along_axis(ordered, count // 2, -1)
    return np.asarray(((low + high) / 2)[..., 0])


@quiet
def hodges_lehmann(values: ArrayLike) -> FloatArray:
    """Median of the means of all pairs, each value with itself too: the middle of a roughly symmetric sample.

    values: (..., n) in any unit. For normal scatter its variance is pi/3 times that of the mean (the median's is
    pi/2), and it stands up to 29 % of wild values. Source: Hodges and Lehmann, Ann Math Stat 1963;34:598 (from memory).

    >>> float(hodges_lehmann([1.0, 2.0, 3.0, 40.0]))
    2.75
    """
    x = np.asarray(values, dtype=np.float64)
    first, second = np.triu_indices(x.shape[-1])
    return median((x[..., first] + x[..., second]) / 2)
