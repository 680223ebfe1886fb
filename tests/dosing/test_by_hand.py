"""The pencil itself: equations worked out elsewhere come out of it, and what is no equation does not."""

from __future__ import annotations

from typing import Any

import pytest

from tests.dosing.by_hand import evaluate

A_DOSE = {"R": 0.32, "GFAC": 0.0087, "t": 240, "UF": 2.5, "W": 70}


@pytest.mark.parametrize(
    ("written", "known", "value"),
    [
        ("1 + 2 · 3 − 4 / 2", {}, 5),
        ("−ln(R − GFAC · t / 60) + (4 − 3.5 · R) · UF / W", A_DOSE, 1.3574216),
        ("2 ^ 3 · (1 − exp(−x)) / x", {"x": 2.0}, 3.4586589),
        ("median(P | abs(Q − 300) ≤ 0.1 · 300)", {"P": [80, 130, 140], "Q": [150, 300, 310]}, 135),
        ("min(D + (S − D) / 3)", {"S": [140, 96], "D": [80, 60]}, 72),
        ("area(Q, t, T) / 1000", {"Q": [150, 300], "t": [60, 120], "T": 240}, 58.5),
        ("median(slopes(y, x))", {"y": [1, 3, 8], "x": [0, 1, 2]}, 3.5),
        ("100 · count(u | u > 10) / count(u)", {"u": [9, 11, 12, 8]}, 50),
        ("count(u | u > 8, v < 3) / count(u)", {"u": [9, 11, 12, 8], "v": [1, 2, 3, 1]}, 0.5),
        ("x | A = x ^ 2 + b", {"A": 6.0, "b": 2.0}, 2),
        ("max(0, a − b)", {"a": 1, "b": 2}, 0),
    ],
)  # fmt: skip
def test_an_equation_comes_to_what_was_worked_out_elsewhere(written: str, known: dict[str, Any], value: float) -> None:
    assert evaluate(written, known) == pytest.approx(value, rel=1e-6)


@pytest.mark.parametrize("written", ["1 +", "a b", "3 x", "volume_l", "mean(1", "W after"])
def test_words_are_no_equation(written: str) -> None:
    with pytest.raises((ValueError, AssertionError, IndexError)):
        evaluate(written, {"a": 1.0, "W": 2.0, "x": 1.0})
