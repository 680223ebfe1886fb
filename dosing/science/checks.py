"""Reasons why a formula cannot answer, worded for people: the checks that `measure` takes.

The keyword name of an input is the wording of the reason: `given(urea_before=pre)` reads
"urea before is not given".
"""

from __future__ import annotations

import numpy as np

from dosing.science.results import Check, FloatArray

quiet = np.errstate(all="ignore")
"""Decorator of every formula: a bad row gets a reason in the answer, not a warning on the way to it."""


def _words(name: str) -> str:
    return name.replace("_", " ")


def given(**inputs: FloatArray) -> list[Check]:
    """Each input has a value: NaN means "not given", an infinite number is no measurement."""
    checks: list[Check] = []
    for name, value in inputs.items():
        checks.append((np.isnan(value), f"{_words(name)} is not given"))
        checks.append((np.isinf(value), f"{_words(name)} is not a finite number"))
    return checks


def above_zero(**inputs: FloatArray) -> list[Check]:
    """Each input is given and above zero."""
    checks = given(**inputs)
    return checks + [(value <= 0, f"{_words(name)} is not above zero") for name, value in inputs.items()]


def not_negative(**inputs: FloatArray) -> list[Check]:
    """Each input is given and not below zero."""
    checks = given(**inputs)
    return checks + [(value < 0, f"{_words(name)} is below zero") for name, value in inputs.items()]


def within(low: float, high: float, unit: str = "", /, **inputs: FloatArray) -> list[Check]:
    """Each input is given and lies in [low, high]; the unit is only for the wording."""
    limits = f"{low:g} to {high:g} {unit}".rstrip()
    checks = given(**inputs)
    for name, value in inputs.items():
        checks.append(((value < low) | (value > high), f"{_words(name)} is outside {limits}"))
    return checks
