"""The checks asked before each treatment, until the unit writes its own list.

Common practice, no source, but for the chlorine limit: total chlorine at most 0.1 mg/L (ISO 23500-3:2019,
from memory). The unit's training decides what else is checked.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CheckItem:
    """name as kept in the record; hint beneath it; unit of the measured value, "" when none is written."""

    name: str
    hint: str = ""
    unit: str = ""


DEFAULT = (
    CheckItem("Hands and access arm washed"),
    CheckItem("Total chlorine of the water", "At most 0.1 mg/L, before every treatment.", "mg/L"),
    CheckItem("Conductivity and temperature of the dialysate", "Within the range the machine is set to.", "mS/cm"),
    CheckItem("Machine's own test passed"),
    CheckItem("Lines and dialyser primed, no air left"),
    CheckItem("Air detector on and line in it"),
    CheckItem("Leak sensor at the needles on"),
    CheckItem("Telephone charged and in reach", "And the emergency pack."),
)
