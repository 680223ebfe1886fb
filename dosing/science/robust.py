"""Middle, scatter and serial correlation of a patient's own nights, so that a few wild nights move them little.

Building blocks of the charts: they take arrays along the last axis, leave NaN out, and answer NaN where there are
too few values. Whoever shows a number to people gives the reason beside it (`drift`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from dosing.science.checks import quiet
from dosing.science.results import FloatArray

FEWEST_FOR_SCATTER = 2
QN_FACTOR = 2.2219
"""Makes Qn consistent for normal scatter: 1/(sqrt 2 times the normal quantile at 5/8)."""
QN_SMALL = {2: 0.399, 3: 0.994, 4: 0.512, 5: 0.844, 6: 0.611, 7: 0.857, 8: 0.669, 9: 0.872}
"""Small-sample factors of Qn by number of values (Croux and Rousseeuw 1992, from memory; checked by simulation)."""


def _counted(values: FloatArray) -> tuple[FloatArray, np.ndarray]:
    """The values in order, NaN last, and how many there are, (..., 1)."""
    # One empty place more, so that an empty axis has an answer too: NaN.
    padded = np.concatenate([values, np.full((*values.shape[:-1], 1), np.nan)], -1)
    return np.sort(padded, axis=-1), (~np.isnan(values)).sum(-1, keepdims=True)


def median(values: ArrayLike) -> FloatArray:
    """Median along the last axis without the NaN; NaN where all are. values: (..., n). Source: order statistics.

    >>> float(median([3.0, float("nan"), 1.0, 8.0]))
    3.0
    """
    ordered, count = _counted(np.asarray(values, dtype=np.float64))
    low = np.take_along_axis(ordered, np.maximum(count - 1, 0) // 2, -1)
    high = np.take_along_axis(ordered, count // 2, -1)
    return np.asarray(((low + high) / 2)[..., 0])


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


@quiet
def qn_scatter(values: ArrayLike) -> FloatArray:
    """Standard deviation of normal scatter, from the differences of pairs: no middle is needed, 82 % efficient.

    values: (..., n) in any unit. The k-th smallest of |x_i - x_j|, k = h(h - 1)/2, h = n // 2 + 1, times 2.2219 and
    a factor for small n; up to half the values may be wild. NaN with fewer than two values.
    Source: Rousseeuw and Croux, J Am Stat Assoc 1993;88:1273 (from memory; checked by simulation in the tests).

    >>> round(float(qn_scatter([1.0, 2.0, 4.0, 8.0, 100.0])), 4)
    5.6258
    """
    x = np.asarray(values, dtype=np.float64)
    first, second = np.triu_indices(x.shape[-1], k=1)
    ordered, _ = _counted(np.abs(x[..., first] - x[..., second]))
    count = (~np.isnan(x)).sum(-1, keepdims=True)
    half = count // 2 + 1
    place = np.minimum(np.maximum(half * (half - 1) // 2 - 1, 0), ordered.shape[-1] - 1)
    found = np.take_along_axis(ordered, place, -1)[..., 0]
    return np.asarray(QN_FACTOR * _qn_correction(count[..., 0]) * found)


def _qn_correction(count: np.ndarray) -> FloatArray:
    large = np.where(count % 2 == 1, count / (count + 1.4), count / (count + 3.8))
    factors = np.array([QN_SMALL.get(n, 0.0) for n in range(max(QN_SMALL) + 1)])
    small = factors[np.minimum(count, max(QN_SMALL))]
    factor = np.where(count <= max(QN_SMALL), small, large)
    return np.where(count < FEWEST_FOR_SCATTER, np.nan, factor)


def neighbour_products(residuals: ArrayLike) -> FloatArray:
    """Sum of the products of neighbours over the mean square: n times the correlation of one night with the next.

    residuals: (..., n) without NaN, about a middle fitted to the same nights. That fit takes about one off the sum,
    which is given back (Marriott and Pope, Biometrika 1954;41:390, from memory).

    >>> float(neighbour_products([1.0, -1.0, 1.0, -1.0]))
    -2.0
    """
    r = np.asarray(residuals, dtype=np.float64)
    square = (r * r).mean(-1)
    product = (r[..., 1:] * r[..., :-1]).sum(-1)
    return np.asarray(np.divide(product, square, out=np.zeros_like(product), where=square > 0) + 1)
