"""Water and dialysis fluid against the limits of a named edition of the standard.

A grade is 0 pass, 1 action (investigate, repeat) or 2 fail. Which edition a unit works by is its choice.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike

from dosing.science.checks import not_negative, quiet, within
from dosing.science.reasons import Reason
from dosing.science.results import Measure, as_float, measure, unknown
from dosing.science.sources import Status


class Grade(IntEnum):
    """What a result means: the value of a Measure with unit "grade"."""

    PASS = 0
    ACTION = 1
    FAIL = 2


@dataclass(frozen=True, slots=True)
class WaterLimit:
    """A limit of one quantity in one fluid.

    exclusive: the standard says "less than", so a result equal to the limit fails; otherwise it is a maximum
    and an equal result still meets it. action: level from which to act, None where the standard has none.
    """

    unit: str
    limit: float
    action: float | None
    exclusive: bool
    source: str
    status: Status


EDITIONS = {
    "iso_2019": "ISO 23500-3 and -5:2019, replaced in 2024",
    "iso_2024": "ISO 23500-3 and -5:2024; its figures were not seen: the unit enters them, nothing is held here",
    "us_2004": "US limits of 2004, still used for payment there",
}
FLUIDS = ("dialysis_water", "ultrapure_water", "dialysis_fluid", "ultrapure_fluid")

_WATER_3 = "ISO 23500-3:2019 clause 4.3 (CSA text; PMC4596525 Table 2)"
_FLUID_5 = "ISO 23500-5:2019 (ISO 11663:2014 text, laboratory table)"
_CHEMICAL = "ISO 23500-3:2019 Table 1"
_US = "ANSI/AAMI RD52:2004 (PMC4596525 Table 2)"


def _microbes(
    edition: str,
    fluid: str,
    bacteria: tuple[float, float | None],
    endotoxin: tuple[float, float | None],
    source: str,
) -> Iterable[tuple[tuple[str, str, str], WaterLimit]]:
    for quantity, unit, (limit, action) in (
        ("bacteria", "CFU/mL", bacteria),
        ("endotoxin", "EU/mL", endotoxin),
    ):
        yield (edition, fluid, quantity), WaterLimit(unit, limit, action, True, source, Status.SEEN)


LIMITS: dict[tuple[str, str, str], WaterLimit] = dict(
    [
        *_microbes("iso_2019", "dialysis_water", (100, 50), (0.25, 0.125), _WATER_3),
        *_microbes("iso_2019", "ultrapure_water", (0.1, None), (0.03, None), _WATER_3),
        *_microbes("iso_2019", "dialysis_fluid", (100, 50), (0.5, 0.25), _FLUID_5),
        *_microbes("iso_2019", "ultrapure_fluid", (0.1, None), (0.03, None), _FLUID_5),
        *_microbes("us_2004", "dialysis_water", (200, 50), (2.0, 1.0), _US),
        *_microbes("us_2004", "dialysis_fluid", (200, 50), (2.0, 1.0), _US),
        *_microbes("us_2004", "ultrapure_fluid", (0.1, None), (0.03, None), _US),
    ]
)
"""By edition, fluid and quantity."""

CHLORINE = WaterLimit("mg/L", 0.1, 0.05, False, _CHEMICAL + "; action level common practice", Status.MEMORY)
"""Total chlorine, never free chlorine alone: strips for it missed 10.7 % (seen). Before every treatment."""
LIMITS["iso_2019", "dialysis_water", "total_chlorine"] = CHLORINE


@quiet
def grade_against(*, limit: WaterLimit, value: ArrayLike, below_detection: ArrayLike = 0.0) -> Measure:
    """Grade of a result against a limit, the standard's or the unit's own [grade].

    value: not negative, in the limit's unit; below_detection: 1 where the laboratory answered "less than
    value". Such a result passes if even the value would, and is unknown otherwise: the method was too coarse.

    >>> [grade_against(limit=CHLORINE, value=v).number for v in (0.04, 0.05, 0.1, 0.11)]
    [0.0, 1.0, 1.0, 2.0]
    """
    result, censored = as_float(value, below_detection)
    checks = not_negative(result=result) + within(0, 1, "", mark_for_below_detection=censored)
    failed = result >= limit.limit if limit.exclusive else result > limit.limit
    act = result >= limit.action if limit.action is not None else np.zeros(result.shape, dtype=bool)
    grade = np.where(failed, Grade.FAIL, np.where(act, Grade.ACTION, Grade.PASS))
    checks.append(((censored > 0) & (grade > Grade.PASS), Reason("method_too_coarse")))
    return measure(grade, "grade", checks)


@quiet
def classify(*, quantity: str, fluid: str, edition: str, value: ArrayLike, below_detection: ArrayLike = 0.0) -> Measure:
    """Grade of a result against the limit that an edition sets [grade].

    quantity: bacteria, endotoxin or total_chlorine; fluid: of `FLUIDS`; edition: of
    `EDITIONS`; value, below_detection: see `grade_against`. Unknown where the edition's figure is not held.
    Source: the limit's own `source`; ISO 23500-3 and -5:2019 (seen in an adoption and a laboratory table).

    >>> water = dict(quantity="bacteria", fluid="dialysis_water", edition="iso_2019")
    >>> [classify(**water, value=v).number for v in (49, 50, 99, 100)]
    [0.0, 1.0, 1.0, 2.0]
    """
    (result,) = as_float(value)
    limit = LIMITS.get((edition, fluid, quantity))
    if limit is None:
        reason = Reason("no_water_limit", given=quantity, fluid=fluid, edition=edition)
        return unknown("grade", reason, result.shape)
    return grade_against(limit=limit, value=result, below_detection=below_detection)
