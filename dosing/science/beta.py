"""The beta distribution with NumPy alone: what exact intervals of a share need."""

from __future__ import annotations

import math

import numpy as np

from dosing.science.checks import quiet
from dosing.science.results import FloatArray

MOST_TERMS = 2_000
HALVINGS = 60
_lgamma = np.vectorize(math.lgamma, otypes=[np.float64])


@quiet
def regularised_beta(*, a: FloatArray, b: FloatArray, x: FloatArray) -> FloatArray:
    """I_x(a, b), the probability that a beta variable lies below x.

    a, b: above 0; x: 0 to 1; same shape of arrays. Lentz's continued fraction on the side on which it converges.
    Source: Abramowitz and Stegun 26.5.8 (from memory); checked against SciPy in the tests.

    >>> round(float(regularised_beta(a=np.array([2.0]), b=np.array([3.0]), x=np.array([0.4]))[0]), 4)
    0.5248
    """
    turned = x > (a + 1) / (a + b + 2)
    p, q, at = np.where(turned, b, a), np.where(turned, a, b), np.where(turned, 1 - x, x)
    front = _lgamma(p + q) - _lgamma(p) - _lgamma(q) + p * np.log(at) + q * np.log1p(-at)
    below = np.where(at > 0, np.exp(front) * _fraction(p, q, at) / p, 0.0)
    return np.asarray(np.where(turned, 1 - below, below))


def _fraction(a: FloatArray, b: FloatArray, x: FloatArray) -> FloatArray:
    c, d = np.ones_like(x), 1 / (1 - (a + b) * x / (a + 1))
    value = d.copy()
    for m in range(1, MOST_TERMS):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        for numerator in (even, odd):
            d = 1 / (1 + numerator * d)
            c = 1 + numerator / c
            value *= c * d
        if not (np.abs(c * d - 1) > 1e-15).any():
            break
    return value


@quiet
def beta_quantile(*, p: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
    """x with I_x(a, b) = p; inverse of `regularised_beta`, by halving.

    p: 0 < p < 1; a, b: above 0; same shape of arrays.

    >>> round(float(beta_quantile(p=np.array([0.05]), a=np.array([8.0]), b=np.array([1.0]))[0]), 4)
    0.6877
    """
    low, high = np.zeros_like(p), np.ones_like(p)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        over = regularised_beta(a=a, b=b, x=middle) > p
        low, high = np.where(over, low, middle), np.where(over, middle, high)
    return np.asarray((low + high) / 2)
