"""The middles against brute force, NumPy and what theory says of their precision; pressures at comparable flow."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dosing.science.pressures import expected_change, published_flow_slope, usual_flow
from dosing.science.robust import hodges_lehmann, median

few = settings(max_examples=40, deadline=None, database=None)
samples = st.lists(st.floats(-300, 300), min_size=2, max_size=25)


@few
@given(values=samples)
def test_middle_by_brute_force(values: list[float]) -> None:
    means = [(a + b) / 2 for a, b in itertools.combinations_with_replacement(values, 2)]
    assert float(hodges_lehmann(values)) == pytest.approx(np.median(means), abs=1e-9)


def test_precision_of_large_samples() -> None:
    """Variance over that of the mean: pi/3."""
    draw = np.random.default_rng(4).standard_normal((2000, 60))
    assert 60 * hodges_lehmann(draw).var() == pytest.approx(math.pi / 3, rel=0.1)


@few
@given(values=samples, holes=st.lists(st.integers(0, 25), max_size=4))
def test_missed_nights_are_left_out(values: list[float], holes: list[int]) -> None:
    gaps = np.array(values)
    for hole in holes:
        gaps = np.insert(gaps, min(hole, gaps.size), np.nan)
    assert float(median(gaps)) == pytest.approx(np.median(values), abs=1e-9)
    assert float(hodges_lehmann(gaps)) == pytest.approx(float(hodges_lehmann(values)), abs=1e-9)


@few
@given(values=st.lists(st.floats(-3, 3), min_size=12, max_size=30), wild=st.floats(50, 1e6))
def test_a_quarter_of_wild_values_moves_the_middle_little(values: list[float], wild: float) -> None:
    spoilt = np.array(values)
    spoilt[: len(values) // 4] += wild
    assert abs(float(hodges_lehmann(spoilt))) <= 3.0


def test_nothing_to_tell() -> None:
    assert math.isnan(float(median([math.nan])))
    assert math.isnan(float(hodges_lehmann([])))
    assert str(usual_flow(flows_ml_min=[math.nan]).reason) == "no blood flow was noted"


def test_pressures_of_the_published_line_come_back_to_its_start() -> None:
    """Gallego 1997, 15 G: 149.2 mmHg at 400 mL/min lies on the line through 60.6 at 200."""
    change = expected_change(flows_ml_min=400, reference_ml_min=200, gauge=15)
    assert 149.2 - change.value == pytest.approx(60.6, abs=1e-9)


def test_flows_that_do_not_compare() -> None:
    found = expected_change(flows_ml_min=[205, 260, 40], reference_ml_min=200, gauge=math.nan)
    assert found.value[0] == 0
    assert str(found.why[1]) == "without a needle gauge the flow is too far from the reference flow"
    assert str(found.why[2]).startswith("blood flow is outside 50 to 700")
    far = expected_change(flows_ml_min=450, reference_ml_min=200, gauge=15)
    assert str(far.reason) == "the flow is too far from the reference flow"
    assert str(published_flow_slope(gauge=18, side="venous").reason) == "needle gauge is not 14, 15, 16 or 17"
    with pytest.raises(ValueError, match="venous or arterial, not 'left'"):
        published_flow_slope(gauge=15, side="left")
