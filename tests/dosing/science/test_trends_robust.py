"""Middle and scatter against brute force, a textbook sample, NumPy and what theory says of their precision."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dosing.science.robust import hodges_lehmann, median, neighbour_products, qn_scatter

few = settings(max_examples=60, deadline=None, database=None)
samples = st.lists(st.floats(-300, 300), min_size=2, max_size=25)


def test_middle_of_the_depression_scores() -> None:
    """Hollander and Wolfe, Example 3.1, also R's example of a paired signed-rank test: 0.46 (from memory)."""
    first = np.array([1.83, 0.50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30])
    second = np.array([0.878, 0.647, 0.598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29])
    assert float(hodges_lehmann(first - second)) == pytest.approx(0.46, abs=5e-4)


@few
@given(values=samples)
def test_middle_and_scatter_by_brute_force(values: list[float]) -> None:
    means = [(a + b) / 2 for a, b in itertools.combinations_with_replacement(values, 2)]
    assert float(hodges_lehmann(values)) == pytest.approx(np.median(means), abs=1e-9)
    half = len(values) // 2 + 1
    apart = sorted(abs(a - b) for a, b in itertools.combinations(values, 2))[math.comb(half, 2) - 1]
    # The factor for small samples is taken out by a sample of the same size.
    unit = np.arange(len(values), dtype=float)
    step = sorted(abs(a - b) for a, b in itertools.combinations(unit, 2))[math.comb(half, 2) - 1]
    assert float(qn_scatter(values)) == pytest.approx(float(qn_scatter(unit)) * apart / step, abs=1e-9)


@pytest.mark.parametrize("count", [2, 3, 4, 5, 6, 7, 8, 9, 10, 15, 40])
def test_scatter_is_unbiased_for_small_samples(count: int) -> None:
    draw = np.random.default_rng(count).standard_normal((40_000, count))
    assert qn_scatter(draw).mean() == pytest.approx(1, abs=0.02)


def test_precision_of_large_samples() -> None:
    """Variances over those of mean and standard deviation: pi/3 and 1/0.8227 (Rousseeuw and Croux 1993, memory)."""
    draw = np.random.default_rng(4).standard_normal((4000, 120))
    assert 120 * hodges_lehmann(draw).var() == pytest.approx(math.pi / 3, rel=0.1)
    assert 240 * qn_scatter(draw).var() == pytest.approx(1 / 0.8227, rel=0.1)


@few
@given(values=samples, holes=st.lists(st.integers(0, 25), max_size=4))
def test_missed_nights_are_left_out(values: list[float], holes: list[int]) -> None:
    gaps = np.array(values)
    for hole in holes:
        gaps = np.insert(gaps, min(hole, gaps.size), np.nan)
    assert float(median(gaps)) == pytest.approx(np.median(values), abs=1e-9)
    for statistic in (hodges_lehmann, qn_scatter):
        assert float(statistic(gaps)) == pytest.approx(float(statistic(values)), abs=1e-9)


@few
@given(values=st.lists(st.floats(-3, 3), min_size=12, max_size=30), wild=st.floats(50, 1e6))
def test_a_quarter_of_wild_values_moves_them_little(values: list[float], wild: float) -> None:
    spoilt = np.array(values)
    spoilt[: len(values) // 4] += wild
    assert abs(float(hodges_lehmann(spoilt))) <= 3.0
    assert float(qn_scatter(spoilt)) <= 2.3 * 6


def test_nothing_to_tell() -> None:
    assert math.isnan(float(median([math.nan])))
    assert math.isnan(float(hodges_lehmann([])))
    assert math.isnan(float(qn_scatter([3.0])))


def test_neighbour_products_find_the_correlation() -> None:
    rng = np.random.default_rng(6)
    residuals = np.empty((2000, 60))
    residuals[:, 0] = rng.standard_normal(2000)
    for night in range(1, 60):
        residuals[:, night] = 0.4 * residuals[:, night - 1] + math.sqrt(1 - 0.16) * rng.standard_normal(2000)
    residuals -= residuals.mean(1, keepdims=True)
    assert neighbour_products(residuals).mean() / 60 == pytest.approx(0.4, abs=0.03)
    assert float(neighbour_products(np.zeros(5))) == 1.0
