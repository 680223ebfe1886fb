"""How far a result lies from where it should: against the unit's range and the laboratory's, with a weight.

A potassium of 6.4 is not a haemoglobin one above its range: what is far out weighs most, then what is well outside the
unit's range, then what is barely outside it, or outside the laboratory's range alone.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum

from django.utils.translation import gettext as _

from dosing.science.bloods import FAR_OUT
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.ranges import RangeBook, range_words
from dosing.services.numbers.blood_units import KEPT_ANALYTES
from sessions.facts.choices import SampleTiming
from sessions.models import BloodResult

NAMES = {analyte.value: name for name, analyte in KEPT_ANALYTES.items()}
WELL_OUTSIDE = 0.1
"""From a tenth beyond the end of a range a result is well outside it (common practice, no source)."""
OF_LABORATORY = {"L": -1, "LL": -1, "H": 1, "HH": 1}
"""Flags of HL7 table 0078 that name a side."""
_REFERENCE = re.compile(r"\s*([\d.,]+)?\s*([-–<>≤≥]=?)\s*([\d.,]+)\s*")


class FlagWeight(IntEnum):
    SLIGHT = 1
    CLEAR = 2
    FAR = 3


@dataclass(frozen=True, slots=True)
class BloodFlag:
    """side: -1 below, 1 above; words: of which range, for whoever asks."""

    weight: FlagWeight
    side: int
    words: str

    @property
    def mark(self) -> str:
        return "▲" if self.side > 0 else "▼"

    @property
    def tone(self) -> str:
        """The badge's class; "" for a slight one, which is only a mark."""
        return {FlagWeight.FAR: "tone-call-today", FlagWeight.CLEAR: "tone-this-week"}.get(self.weight, "")


def flagging(ranges: RangeBook) -> Callable[[BloodResult], BloodFlag | None]:
    """The flags of results by these ranges."""
    return lambda result: flag_of(result, ranges)


def flag_of(result: BloodResult, ranges: RangeBook) -> BloodFlag | None:
    """The weightiest that there is to say of a result; None where it is inside, or has no range. No query.

    Samples after a treatment have no range of the unit, nor are they far out: they are meant to be low.
    """
    unit = None if result.timing == SampleTiming.POST else _of_unit(result, ranges)
    far = (
        0 if result.timing == SampleTiming.POST else _beyond(result, *FAR_OUT.get(NAMES[result.analyte], (None, None)))
    )
    laboratory = side_by_laboratory(result)
    if far:
        words = _("far out") + (f"; {unit.words}" if unit else "")
        return BloodFlag(FlagWeight.FAR, far, words)
    if unit or not laboratory:
        return unit
    side = _("above") if laboratory > 0 else _("below")
    parts = {"side": side, "range": result.reference or result.flag}
    return BloodFlag(FlagWeight.SLIGHT, laboratory, _("%(side)s the laboratory’s range, %(range)s") % parts)


def _of_unit(result: BloodResult, ranges: RangeBook) -> BloodFlag | None:
    number = MONTH_NUMBERS.get(NAMES[result.analyte])
    usual = ranges.of(number.key) if number else None
    side = _beyond(result, usual.low, usual.high) if usual else 0
    if number is None or usual is None or not side:
        return None
    end = usual.high if side > 0 else usual.low
    weight = FlagWeight.CLEAR if end and abs(result.value - end) >= WELL_OUTSIDE * abs(end) else FlagWeight.SLIGHT
    parts = {"side": _("above") if side > 0 else _("below"), "range": range_words(number, usual)}
    return BloodFlag(weight, side, _("%(side)s the unit’s range, %(range)s") % parts)


def _beyond(result: BloodResult, low: float | None, high: float | None) -> int:
    """-1 or 1 where a result is surely beyond an end, 0 inside; a bound only on its own side."""
    if high is not None and result.value > high and not result.bound.startswith("<"):
        return 1
    return -1 if low is not None and result.value < low and not result.bound.startswith(">") else 0


def side_by_laboratory(result: BloodResult) -> int:
    """-1 or 1 where it is outside for the laboratory: by its flag, else by its range in the unit as sent; else 0."""
    if result.flag:
        return OF_LABORATORY.get(result.flag.upper(), 0)
    found, sent = _REFERENCE.fullmatch(result.reference), _number(result.value_sent.lstrip("<>=≤≥ "))
    if found is None or sent is None:
        return 0
    low, sign, high = _number(found[1] or ""), found[2], _number(found[3])
    if sign[0] in ">≥":
        low, high = high, None
    if high is not None and sent > high:
        return 1
    return -1 if low is not None and sent < low else 0


def _number(text: str) -> float | None:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return None
