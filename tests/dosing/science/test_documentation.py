"""What the science says about itself is true: examples run, every formula names its source, constants too."""

from __future__ import annotations

import doctest
import importlib
import inspect
import pkgutil
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from dosing import science
from dosing.science import sources

MODULES = [f"dosing.science.{module.name}" for module in pkgutil.iter_modules(science.__path__)]
WITHOUT_FORMULAS = {"checks", "reasons", "results", "sources"}
WITHOUT_FORMULAS |= {"course", "course_counting", "course_fluid", "due_days", "gate"}
"""The last five are the facts of a course and what is asked of them first: tests/dosing/course asks them."""
ELSEWHERE = {"fluid_need", "kinetics", "pools", "schedule", "steady"}
ELSEWHERE |= {
    "course_urea",
    "delivered",
    "delivered_fit",
    "delivered_search",
    "fitted_dose",
    "drift",
    "trends",
    "usual",
}
"""Answers of whole weeks and series: their examples run too, but not every part needs one."""
FORMULAS = [
    (name, function)
    for module in MODULES
    for name, function in inspect.getmembers(importlib.import_module(module), inspect.isfunction)
    if function.__module__ == module and not name.startswith("_")
    if module.rsplit(".", 1)[1] not in WITHOUT_FORMULAS | ELSEWHERE
]


@pytest.mark.parametrize("module", MODULES)
def test_examples_run(module: str) -> None:
    outcome = doctest.testmod(importlib.import_module(module))
    assert outcome.failed == 0


@pytest.mark.parametrize(("name", "function"), FORMULAS, ids=lambda x: x if isinstance(x, str) else "")
def test_each_function_explains_itself_and_has_an_example(name: str, function: Callable[..., Any]) -> None:
    text = inspect.getdoc(function) or ""
    assert ">>>" in text, f"{name} has no example"
    kinds = {parameter.kind for parameter in inspect.signature(function).parameters.values()}
    several_numbers = len(inspect.signature(function).parameters) > 2
    assert not several_numbers or kinds == {inspect.Parameter.KEYWORD_ONLY}


def all_constants() -> dict[str, sources.Constant]:
    """Every constant by name; those of tables by name and key, and by place where there are several."""
    found: dict[str, sources.Constant] = {}
    for name, value in vars(sources).items():
        for key, entry in value.items() if isinstance(value, dict) and not name.startswith("_") else [("", value)]:
            each = entry if isinstance(entry, tuple) else (entry,)
            found |= {f"{name} {key} {at}": one for at, one in enumerate(each) if isinstance(one, sources.Constant)}
    return found


def test_each_constant_has_a_unit_a_source_and_a_status() -> None:
    constants = all_constants()
    assert len(constants) > 60
    for name, constant in constants.items():
        assert constant.unit, name
        assert constant.source, name
        assert isinstance(constant.status, sources.Status), name
        # Year 0 stands for definitions and conventions without a paper.
        assert constant.year == 0 or 1900 < constant.year < 2030, name


def test_a_constant_is_a_number_that_never_raises() -> None:
    with np.errstate(all="ignore"):
        assert sources.MINUTES_PER_WEEK / np.float64(0) == np.inf
    assert float(sources.BLOOD_WATER * 300) == pytest.approx(258)
