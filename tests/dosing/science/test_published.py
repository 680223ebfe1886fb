"""Each public function of the science against a value from outside: printed, closed form or a separate program.

The table is `published.txt` beside this file; no value in it was made by the code it checks.
"""

from __future__ import annotations

import ast
import importlib
import inspect
import pkgutil
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest

from dosing import science
from dosing.science import beta, gamma, survival, water

MODULES = (
    "access",
    "adequacy",
    "bloods",
    "body",
    "dialyser",
    "flows",
    "fluid",
    "beta",
    "gamma",
    "kidney",
    "nutrition",
    "pressures",
    "robust",
    "sequential",
    "survival",
    "water",
)
WITHOUT_FORMULAS = {"checks", "guidance", "reasons", "results", "sources"}
WITHOUT_FORMULAS |= {"course", "course_counting", "course_fluid", "due_days", "gate"}
"""The last five are the facts of a course and what is asked of them first: tests/dosing/course asks them."""
ELSEWHERE = {"fluid_need", "kinetics", "pools", "schedule", "solutes", "steady", "trends"}
ELSEWHERE |= {"course_urea", "delivered", "delivered_fit", "delivered_search", "fitted_dose", "drift", "usual"}
"""The two-pool model and the trends have tests of their own, as they answer with whole weeks and series."""


class Row(NamedTuple):
    function: str
    inputs: dict[str, Any]
    read: str
    value: float
    within: float
    source: str


def read_table() -> list[Row]:
    lines = Path(__file__).with_name("published.txt").read_text().splitlines()
    return [read_line(line) for line in lines if line and not line.startswith("#")]


def read_line(line: str) -> Row:
    function, inputs, read, value, within, source = (part.strip() for part in line.split(" | "))
    pairs = (pair.split("=", 1) for pair in inputs.split("; "))
    given = {name.strip(): ast.literal_eval(text) for name, text in pairs}
    return Row(function, given, read, float(value), float(within), source)


READ: dict[str, Callable[[Any], float]] = {
    "number": lambda answer: answer.number,
    "itself": float,
    "rate": lambda interval: interval.rate.number,
    "low": lambda interval: interval.low.number,
    "high": lambda interval: interval.high.number,
    "how_many": lambda answer: float(answer.value.sum()),
    "first_share": lambda found: found.share.value[0, 0],
    "last": lambda curve: curve.survival.value[-1],
    "first_low": lambda curve: curve.low.value[0],
    "unit_is_urea_nitrogen": lambda found: found == ("urea", "mg/dL urea nitrogen"),
}


def curve_of(inputs: dict[str, Any]) -> survival.SurvivalCurve:
    return survival.kaplan_meier(times=inputs["times"], observed=inputs["observed"])


CALLS: dict[str, Callable[[dict[str, Any]], Any]] = {
    "gamma.regularised_gamma": lambda i: gamma.regularised_gamma(*(np.array(float(v)) for v in i.values())),
    "beta.regularised_beta": lambda i: beta.regularised_beta(**{name: np.array(float(v)) for name, v in i.items()}),
    "beta.beta_quantile": lambda i: beta.beta_quantile(**{name: np.array(float(v)) for name, v in i.items()}),
    "gamma.gamma_quantile": lambda i: gamma.gamma_quantile(*(np.array(float(v)) for v in i.values())),
    "survival.survival_at": lambda i: survival.survival_at(curve=curve_of(i), times=i["at"]),
    "water.grade_against": lambda i: water.grade_against(limit=getattr(water, i["limit"]), value=i["value"]),
}
"""Functions that take arrays or objects a line of text cannot hold."""


def answer_of(row: Row) -> Any:
    if row.function in CALLS:
        return CALLS[row.function](row.inputs)
    module, name = row.function.split(".")
    return getattr(importlib.import_module(f"dosing.science.{module}"), name)(**row.inputs)


def public_functions(module: str) -> set[str]:
    """Functions a module defines itself, without those it only imports or keeps to itself."""
    loaded = importlib.import_module(f"dosing.science.{module}")
    functions = inspect.getmembers(loaded, inspect.isfunction)
    return {
        f"{module}.{name}"
        for name, function in functions
        if function.__module__ == loaded.__name__ and not name.startswith("_")
    }


TABLE = read_table()


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row.function}-{row.value:g}")
def test_function_gives_the_value_of_its_source(row: Row) -> None:
    ours = READ[row.read](answer_of(row))
    difference = ours - row.value
    assert abs(difference) <= row.within, f"{row.source}: {row.value}, ours {ours}, difference {difference}"


def test_every_row_names_its_source() -> None:
    kinds = {"print", "rule", "memory", "second", "closed", "hand"}
    assert [row for row in TABLE if row.source.split(":")[0] not in kinds] == []
    printed = [row for row in TABLE if row.source.split(":")[0] in {"print", "rule", "memory"}]
    assert all(len(row.source.split(":", 1)[1]) > 5 for row in printed)


@pytest.mark.parametrize("module", MODULES)
def test_no_public_function_is_without_a_row(module: str) -> None:
    in_table = {row.function for row in TABLE if row.function.startswith(f"{module}.")}
    assert public_functions(module) == in_table


def test_no_module_of_the_science_is_forgotten() -> None:
    found = {module.name for module in pkgutil.iter_modules(science.__path__)}
    assert found - WITHOUT_FORMULAS - ELSEWHERE == set(MODULES)
