"""A batch with bad rows answers the good ones and names the others; a single bad input has a reason."""

from __future__ import annotations

import ast
import importlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from dosing.science import adequacy, dialyser, fluid, survival
from dosing.science.reasons import Reason
from dosing.science.results import Measure

ROWS, BAD = 100_000, 1_000

OPTIONAL = {
    ("pressures.expected_change", "gauge"): "near the reference flow no gauge is needed",
}
"""Where NaN is an answer and not a gap."""

OF_ONE_LIMIT = {"water.grade_against"}
"""A function whose number is one limit, not rows."""


def scalar_calls() -> dict[str, dict[str, Any]]:
    """One call per function of the table of published values whose numbers are all scalars."""
    calls: dict[str, dict[str, Any]] = {}
    for line in Path(__file__).with_name("published.txt").read_text().splitlines():
        if not line or line.startswith("#"):
            continue
        function, inputs, read, *_ = (part.strip() for part in line.split(" | "))
        pairs = (pair.split("=", 1) for pair in inputs.split("; "))
        given = {name.strip(): ast.literal_eval(text) for name, text in pairs}
        if read == "number" and not any(isinstance(v, list | None) for v in given.values()):
            calls.setdefault(function, given)
    return {name: inputs for name, inputs in calls.items() if name not in OF_ONE_LIMIT}


def run(function: str, inputs: dict[str, Any]) -> Measure:
    module, name = function.split(".")
    answer = getattr(importlib.import_module(f"dosing.science.{module}"), name)(**inputs)
    assert isinstance(answer, Measure)
    return answer


def numbers(inputs: dict[str, Any], function: str) -> list[str]:
    names = [n for n, v in inputs.items() if isinstance(v, int | float)]
    return [n for n in names if (function, n) not in OPTIONAL]


CASES = [(function, inputs, name) for function, inputs in scalar_calls().items() for name in numbers(inputs, function)]


@pytest.mark.parametrize(("function", "inputs", "name"), CASES, ids=lambda c: c if isinstance(c, str) else "")
def test_a_missing_input_is_named_and_spoils_no_other_row(function: str, inputs: dict[str, Any], name: str) -> None:
    whole = run(function, inputs)
    column = np.full(50, float(inputs[name]))
    column[[7, 31]] = np.nan
    answer = run(function, inputs | {name: column})
    assert answer.value.shape == (50,)
    (reason,) = answer.unknown_rows()
    assert "not given" in str(reason)
    assert answer.unknown_rows()[reason].tolist() == [7, 31]
    np.testing.assert_array_equal(answer.value[answer.known], np.full(48, whole.value))
    column[7] = np.inf
    assert run(function, inputs | {name: column}).why[7] is not None


def test_the_table_gives_enough_functions_to_try() -> None:
    assert len(scalar_calls()) > 40


def bad_rows(rng: np.random.Generator) -> np.ndarray[Any, np.dtype[np.intp]]:
    return np.sort(rng.choice(ROWS, BAD, replace=False))


def test_a_hundred_thousand_treatments_with_bad_rows() -> None:
    rng = np.random.default_rng(3)
    pre, ratio = rng.uniform(10, 40, ROWS), rng.uniform(0.2, 0.5, ROWS)
    post, weight = pre * ratio, rng.uniform(45, 120, ROWS)
    bad = bad_rows(rng)
    post[bad[:400]] = pre[bad[:400]] + 1
    pre[bad[400:700]] = np.nan
    weight[bad[700:]] = 0
    answer = adequacy.single_pool_ktv(
        pre=pre, post=post, hours=rng.uniform(2, 6, ROWS), uf_l=1.5, post_weight_kg=weight, days_since_last=2
    )
    rows = {str(why): where for why, where in answer.unknown_rows().items()}
    assert rows["urea after is not below urea before"].tolist() == bad[:400].tolist()
    assert rows["urea before is not given"].tolist() == bad[400:700].tolist()
    assert rows["weight after is not above zero"].tolist() == bad[700:].tolist()
    assert answer.known.sum() == ROWS - BAD
    assert np.isfinite(answer.value[answer.known]).all()
    assert np.isnan(answer.value[~answer.known]).all()


def test_a_hundred_thousand_weeks_clearances_and_rates_with_bad_rows() -> None:
    rng = np.random.default_rng(4)
    bad = bad_rows(rng)
    volume, koa, days = (rng.uniform(low, high, ROWS) for low, high in ((25, 55), (400, 1200), (100, 9000)))
    for column in (volume, koa, days):
        column[bad] = -1
    week = adequacy.standard_weekly_ktv_with_fluid_and_kidney(
        single_pool=1.2, minutes=240, per_week=3, weekly_uf_l=7, volume_l=volume
    )
    cleared = dialyser.blood_water_clearance(koa=koa, qb=300, qd=500, qf=10)
    rate = survival.poisson_rate(events=rng.integers(0, 20, ROWS), exposure=days)
    for answer in (week, cleared, rate.low, rate.high):
        assert np.flatnonzero(~answer.known).tolist() == bad.tolist()


def test_readings_of_many_treatments_at_once() -> None:
    rng = np.random.default_rng(5)
    at = np.tile([0.0, 60, 120, 180, np.nan], (ROWS, 1))
    flows = np.where(np.isnan(at), np.nan, rng.uniform(150, 450, at.shape))
    bad = bad_rows(rng)
    flows[bad, 2] = np.nan
    answer = fluid.blood_processed_l(flows_ml_min=flows, minutes_at=at, end_minute=240)
    assert answer.unknown_rows()[Reason("reading_incomplete")].tolist() == bad.tolist()
    assert answer.known.sum() == ROWS - BAD


def test_shapes_broadcast() -> None:
    grid = dialyser.blood_water_clearance(water_share=1.0, koa=[[600], [900]], qb=[200, 300, 400], qd=500)
    assert grid.value.shape == (2, 3)
    assert dialyser.blood_water_clearance(water_share=1.0, koa=900, qb=400, qd=500).number == grid.value[1, 2]
