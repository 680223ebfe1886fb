"""Reasons why a formula cannot answer, as the checks that `measure` takes.

The keyword of an input is its name in `reasons.WORDS`: `given(urea_before=pre)` reads "urea before is not given".
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from dosing.science.reasons import Reason
from dosing.science.results import Check, FloatArray

quiet = np.errstate(all="ignore")
"""Decorator of every formula: a bad row gets a reason in the answer, not a warning on the way to it."""


def no_such(what: str, given: str, known: Iterable[str]) -> Reason:
    """That a name given is none of those known. what: what it should name, in `reasons.WORDS`."""
    return Reason("not_one_of", what=what, given=repr(given), known=", ".join(known))


def given(**inputs: FloatArray) -> list[Check]:
    """Each input has a value: NaN means "not given", an infinite number is no measurement."""
    checks: list[Check] = []
    for name, value in inputs.items():
        checks.append((np.isnan(value), Reason("not_given", what=name)))
        checks.append((np.isinf(value), Reason("not_finite", what=name)))
    return checks


def above_zero(**inputs: FloatArray) -> list[Check]:
    """Each input is given and above zero."""
    checks = given(**inputs)
    return checks + [(value <= 0, Reason("not_above_zero", what=name)) for name, value in inputs.items()]


def not_negative(**inputs: FloatArray) -> list[Check]:
    """Each input is given and not below zero."""
    checks = given(**inputs)
    return checks + [(value < 0, Reason("below_zero", what=name)) for name, value in inputs.items()]


def within(low: float, high: float, unit: str = "", /, **inputs: FloatArray) -> list[Check]:
    """Each input is given and lies in [low, high]; the unit is only for the wording."""
    checks = given(**inputs)
    for name, value in inputs.items():
        reason = Reason("outside", what=name, low=low, high=high, unit=unit)
        checks.append(((value < low) | (value > high), reason))
    return checks
