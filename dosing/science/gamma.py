"""The gamma distribution with NumPy alone: what exact Poisson intervals need.

chi-squared with n degrees of freedom at p is twice the gamma quantile of shape n/2 at p.
"""

from __future__ import annotations

import math

import numpy as np

from dosing.science.checks import quiet
from dosing.science.results import FloatArray

MOST_TERMS = 20_000
"""Terms of a series or fraction before giving up; the work grows with the root of the shape."""

_lgamma = np.vectorize(math.lgamma, otypes=[np.float64])


@quiet
def regularised_gamma(shape: FloatArray, x: FloatArray) -> FloatArray:
    """P(a, x), the probability that a gamma variable of shape a lies below x.

    shape: a >= 1; x >= 0; same shape of arrays. Power series below a + 1, Lentz's continued fraction above.
    Source: Abramowitz and Stegun 6.5.29 and 6.5.31 (from memory); checked against SciPy in the tests.

    >>> round(float(regularised_gamma(np.array([1.0]), np.array([2.0]))[0]), 6)
    0.864665
    """
    value = np.zeros_like(x)
    front = np.where(x > 0, np.exp(shape * np.log(x) - x - _lgamma(shape)), 0.0)
    small = (x > 0) & (x < shape + 1)
    value[small] = front[small] * _series(shape[small], x[small])
    large = x >= shape + 1
    value[large] = 1 - front[large] * _fraction(shape[large], x[large])
    return value


def _series(a: FloatArray, x: FloatArray) -> FloatArray:
    term = 1 / a
    total, n = term.copy(), a.copy()
    for _ in range(MOST_TERMS):
        n += 1
        term = term * x / n
        total += term
        if not (term > total * 1e-17).any():
            break
    return total


def _fraction(a: FloatArray, x: FloatArray) -> FloatArray:
    b = x + 1 - a
    c, d = np.full_like(x, 1e300), 1 / b
    value = d.copy()
    for i in range(1, MOST_TERMS):
        numerator = -i * (i - a)
        b = b + 2
        d = 1 / (numerator * d + b)
        c = b + numerator / c
        value *= c * d
        if not (np.abs(c * d - 1) > 1e-16).any():
            break
    return value


@quiet
def gamma_quantile(p: FloatArray, shape: FloatArray) -> FloatArray:
    """x with P(a, x) = p; inverse of `regularised_gamma`.

    p: 0 < p < 1; shape: a >= 1; same shape of arrays. Newton's method kept inside a shrinking bracket, from
    the cube-root approximation of Wilson and Hilferty 1931 at p = 1/2.

    >>> round(float(gamma_quantile(np.array([0.975]), np.array([1.0]))[0]), 4)
    3.6889
    """
    x = shape * (1 - 1 / (9 * shape)) ** 3
    low, high, log_gamma = np.zeros_like(x), shape + 40 * np.sqrt(shape) + 800, _lgamma(shape)
    for _ in range(100):
        miss = regularised_gamma(shape, x) - p
        low, high = np.where(miss < 0, x, low), np.where(miss < 0, high, x)
        step = x - miss * np.exp(x + log_gamma - (shape - 1) * np.log(x))
        inside = (step > low) & (step < high)
        following = np.where(inside, step, (low + high) / 2)
        moved = np.abs(following - x) > 1e-13 * x
        x = following
        if not moved.any():
            break
    return np.asarray(x)
