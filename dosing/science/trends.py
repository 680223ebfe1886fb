"""Slow drifts within one patient: how steep, and how surely it is more than scatter.

Both are rank methods: a few outliers or a missed night move them little. Neighbouring nights resemble each
other, which makes the evidence look stronger than it is (Hamed and Rao, J Hydrol 1998;204:182, from memory):
whoever calls a nurse for a trend asks for a size as well as for evidence.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from dosing.science.results import FloatArray, Measure, as_float, measure, unknown

FEWEST = 3
"""Points under which neither a slope nor evidence of a trend is given."""


@dataclass(frozen=True, slots=True)
class TrendEvidence:
    """S of Mann and Kendall with its variance under no trend, its standard score z, and the two-sided p.

    why: the reason where there is no answer, and then z and p are NaN; "" otherwise.
    """

    s: float
    variance: float
    z: float
    p: float
    why: str = ""


def theil_sen_slope(*, times: ArrayLike, values: ArrayLike, unit: str) -> Measure:
    """Median of the slopes between all pairs of points with different times [unit of values per unit of times].

    times, values: shape (n,), in any order; a pair with NaN is left out; unit: of the answer. Unknown with
    fewer than three points or with one time only.
    Source: Theil 1950; Sen, J Am Stat Assoc 1968;63:1379 (from memory; checked against SciPy and a textbook).

    >>> theil_sen_slope(times=[0, 1, 2, 3], values=[1, 3, 5, 7], unit="mmHg/d").number
    2.0
    """
    x, y = _points(times, values)
    if x.size < FEWEST:
        return unknown(unit, f"a slope needs {FEWEST} points, there are {x.size}")
    first, second = np.triu_indices(x.size, k=1)
    apart = x[second] - x[first]
    usable = apart != 0
    if not usable.any():
        return unknown(unit, "all points lie at one time")
    slopes = (y[second] - y[first])[usable] / apart[usable]
    return measure(np.median(slopes), unit)


def mann_kendall(*, values: ArrayLike) -> TrendEvidence:
    """Whether values in order of time go one way, by the signs of all differences, ties allowed for.

    values: shape (n,), in order of time; NaN is left out. S = sum of sign(later - earlier);
    Var S = [n(n-1)(2n+5) - sum t(t-1)(2t+5)]/18 over groups of t ties; z = (S - sign S)/sqrt(Var S).
    Source: Mann 1945; Kendall 1975; Gilbert 1987 (from memory; checked against a textbook example and SciPy).

    >>> round(mann_kendall(values=[10, 12, 11, 15, 14, 18, 17, 20]).z, 4)
    2.5981
    """
    (given,) = as_float(values)
    y = given[np.isfinite(given)]
    if y.size < FEWEST:
        return TrendEvidence(0.0, 0.0, math.nan, math.nan, f"a trend needs {FEWEST} points, there are {y.size}")
    first, second = np.triu_indices(y.size, k=1)
    s = float(np.sign(y[second] - y[first]).sum())
    variance = _variance(y)
    if variance == 0:
        return TrendEvidence(s, 0.0, math.nan, math.nan, "all values are equal")
    z = (s - math.copysign(1, s)) / math.sqrt(variance) if s else 0.0
    return TrendEvidence(s, variance, z, math.erfc(abs(z) / math.sqrt(2)))


def _points(times: ArrayLike, values: ArrayLike) -> tuple[FloatArray, FloatArray]:
    x, y = as_float(times, values)
    if x.ndim != 1:
        raise ValueError(f"times and values are lists of points, not of shape {x.shape}")
    kept = np.isfinite(x) & np.isfinite(y)
    return x[kept], y[kept]


def _variance(y: FloatArray) -> float:
    n = y.size
    _, ties = np.unique(y, return_counts=True)
    tied = (ties * (ties - 1) * (2 * ties + 5)).sum()
    return float((n * (n - 1) * (2 * n + 5) - tied) / 18)
