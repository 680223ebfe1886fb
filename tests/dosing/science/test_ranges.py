"""Every bound of the science: at it there is an answer, a hair beyond it there is none."""

from __future__ import annotations

import ast
import importlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from dosing.science import kinetics, survival
from dosing.science.schedule import PatientParameters, Schedule

HAIR = 1e-6


def table(name: str) -> list[list[str]]:
    lines = Path(__file__).with_name(name).read_text().splitlines()
    return [[part.strip() for part in line.split("|")] for line in lines if line and not line.startswith("#")]


def assignments(text: str) -> dict[str, Any]:
    """Python values by name: "volume_l=35; method='late'"."""
    pairs = (pair.split("=", 1) for pair in text.split(";") if pair.strip())
    return {name.strip(): ast.literal_eval(value.strip()) for name, value in pairs}


FIRST_CALL: dict[str, dict[str, Any]] = {}
for _function, _inputs, *_ in table("published.txt"):
    FIRST_CALL.setdefault(_function, assignments(_inputs))

ENDS = [
    pytest.param(function, name, end, side, others, id=f"{function} {name} {end} {others}".strip())
    for function, name, first, last, others, _source in table("ranges.txt")
    for end, side in ((first, -1), (last, 1))
    if end != "-"
]


@pytest.mark.parametrize(("function", "name", "end", "side", "others"), ENDS)
def test_a_bound_answers_and_a_hair_beyond_it_does_not(
    function: str, name: str, end: str, side: int, others: str
) -> None:
    module, call = function.split(".")
    asked = getattr(importlib.import_module(f"dosing.science.{module}"), call)
    given = FIRST_CALL[function] | assignments(others)
    bound = float(end.split()[-1])
    inside = bound if len(end.split()) == 1 else bound - side * HAIR * max(1, abs(bound))
    beyond = bound + side * HAIR * max(1, abs(bound)) if inside == bound else bound
    assert asked(**given | {name: inside}).known.all(), f"{inside} is not answered"
    assert not asked(**given | {name: beyond}).known.any(), f"{beyond} is answered"


THRICE: dict[str, Any] = {"starts": [8.0, 56.0, 104.0], "hours": 4.0, "clearance": 200.0, "cycle_days": 7.0}
DAILY: dict[str, Any] = {"starts": [8.0], "hours": 12.0, "clearance": 200.0, "cycle_days": 1.0}
DIALYSER: dict[str, Any] = {"koa": 800.0, "blood_flow": 300.0, "dialysate_flow": 500.0}
PERSON: dict[str, Any] = {"volume": 35.0, "generation": 0.2}
OF_A_WEEK: list[tuple[dict[str, Any], str, float | None, float | None]] = [
    (DAILY | PERSON | {"hours": 4.0}, "volume", 8, 120),
    (THRICE | PERSON, "kidney_clearance", 0, 30),
    (DAILY | PERSON | {"volume": 60.0}, "fluid_gain", 0, 10),
    (THRICE | PERSON, "exchange", 0.004, 1e6),
    (THRICE | PERSON, "extracellular_share", 0.2, 0.5),
    (THRICE | PERSON | {"clearance": None} | DIALYSER, "water_share", 0.7, 1),
    (THRICE | PERSON | {"volume": 100.0, "kidney_clearance": 2.0}, "clearance", 0, 1000),
    (THRICE | PERSON, "clearance_factor", 0.3, 3),
    (THRICE | PERSON | {"clearance": 50.0}, "hours", 0.5, 24),
    (DAILY | PERSON, "cycle_days", 1, 28),
]
"""As `PatientParameters` and `Schedule` state them: where the solution was compared with a general solver."""


def week_is_known(given: dict[str, Any]) -> bool:
    person = {name: value for name, value in given.items() if name in PatientParameters.__dataclass_fields__}
    schedule = {name: value for name, value in given.items() if name not in person and value is not None}
    found = kinetics.weekly_steady_state(schedule=Schedule(**schedule), patient=PatientParameters(**person))
    return bool(found.standard_ktv.known)


@pytest.mark.parametrize(("given", "name", "low", "high"), OF_A_WEEK, ids=[row[1] for row in OF_A_WEEK])
def test_the_bounds_of_a_steady_week(given: dict[str, Any], name: str, low: float, high: float) -> None:
    for bound, side in ((low, -1), (high, 1)):
        assert week_is_known(given | {name: bound}), bound
        assert not week_is_known(given | {name: bound + side * HAIR * max(0.01, bound)}), bound


OF_FLOW = {"clearance": None, "koa": 800.0, "dialysate_flow": 500.0}


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        (OF_FLOW | {"blood_flow": 1e-12}, "ultrafiltration is not below"),
        (OF_FLOW | {"blood_flow": 12.0}, "ultrafiltration is not below"),
        ({"clearance": 0.0}, "what is made and what is removed differ"),
    ],
)
def test_a_flow_that_the_fluid_leaves_nothing_of_and_a_week_out_of_balance_are_refused(
    changed: dict[str, Any], why: str
) -> None:
    """1.44 L a day are 10.4 mL/min at least: a flow of 12 mL/min of blood has 10.3 of water."""
    person = PatientParameters(**PERSON, fluid_gain=0.0 if changed["clearance"] == 0 else 1.44)
    week = kinetics.weekly_steady_state(schedule=Schedule(**THRICE | changed), patient=person)
    assert week.standard_ktv.number is None
    assert why in str(week.standard_ktv.reason)
    assert np.isnan(week.pre_water.value).all()


def test_a_missing_share_of_water_is_told_where_the_clearance_comes_from_the_dialyser() -> None:
    assert week_is_known(THRICE | PERSON | {"water_share": 0.2}), "a clearance is given: the share is not looked at"
    assert not week_is_known(THRICE | PERSON | {"clearance": None, "water_share": 0.2} | DIALYSER)


@pytest.mark.parametrize(("bound", "side"), [(0.5, -1), (0.9999, 1)])
def test_the_bounds_of_a_confidence(bound: float, side: int) -> None:
    assert survival.poisson_rate(events=3, exposure=100, confidence=bound).low.known
    assert not survival.poisson_rate(events=3, exposure=100, confidence=bound + side * HAIR).low.known


def test_what_is_not_a_number_never_answers() -> None:
    for value in (np.nan, np.inf, -np.inf):
        assert not week_is_known(THRICE | PERSON | {"volume": value})
