"""What a number can be: two limits, and the words for what lies outside.

Outside `hard` it is physically impossible or a slip of the finger and is refused, saying the limit and what was
given. Outside `usual` it is kept, marked, and asked about once more.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from homedialysis.accounts.services.units import Told, told_in
from sessions.facts.local_number import plain


@dataclass(frozen=True, slots=True)
class Range:
    """label for people, in English; unit as shown; hard and usual (low, high), inclusive; step of the entry field."""

    label: str
    unit: str
    hard: tuple[float, float]
    usual: tuple[float, float]
    step: float = 1

    @property
    def told(self) -> Told:
        """How it is told to this reader."""
        return told_in(self.unit)

    @property
    def unit_told(self) -> str:
        """The unit in which it is told, in the language of the reader."""
        return unit_words(self.told.unit)

    def figure(self, value: float) -> str:
        """A value as it is told, without unit; a tenth where it was converted."""
        return plain(round(self.told.of(value), 1) if self.told.differs else value)

    def refusal(self, given: float) -> str:
        """Why a number is refused, or "" when it is possible."""
        low, high = self.hard
        if low <= given <= high:
            return ""
        words = gettext("%(label)s must be between %(low)s and %(high)s %(unit)s; %(given)s was given.")
        parts = {"low": self.figure(low), "high": self.figure(high), "given": self.figure(given)}
        parts["unit"] = self.unit_told
        return (words % (parts | {"label": gettext(self.label)})).replace(" ;", ";")

    @property
    def needed(self) -> str:
        """Why something that is no number is refused."""
        words = gettext("%(label)s: a number is needed, in %(unit)s.")
        return words % {"label": gettext(self.label), "unit": self.unit_told or gettext("plain units")}

    def oddity(self, given: float) -> str:
        """What is unusual about a number, or "". In English: it is kept with the record, and the unit reads it."""
        low, high = self.usual
        return "" if low <= given <= high else f"usually between {low:g} and {high:g} {self.unit}".rstrip()

    def asked_words(self, given: float) -> str:
        """What to ask about an unusual number, in the language of the reader; "" for a usual one."""
        if not self.oddity(given):
            return ""
        return f"{gettext(self.label)}: {self.figure(given)} {self.unit_told}".rstrip() + f", {self.usual_words}"

    @property
    def usual_words(self) -> str:
        """The same in the language of the reader."""
        low, high = (self.figure(end) for end in self.usual)
        words = gettext("usually between %(low)s and %(high)s %(unit)s")
        return (words % {"low": low, "high": high, "unit": self.unit_told}).rstrip()


def unit_words(unit: str) -> str:
    """A unit as people read it: most are signs, some are words."""
    return gettext(unit) if unit else ""


UNITS_IN_WORDS = (_("units"), _("units/h"), _("days"), _("weeks"), _("months"), _("treatments"), _("1/wk"))
UCUM = {
    "mmHg": "mm[Hg]",
    "mmHg/wk": "mm[Hg]/wk",
    "mmol/L": "mmol/L",
    "mL/kg/h": "mL/kg/h",
    "mL/min": "mL/min",
    "mL/min/1.73 m2": "mL/min/{1.73_m2}",
    "mL/h": "mL/h",
    "mL/d": "mL/d",
    "d": "d",
    "mS/cm": "mS/cm",
    "g/kg/d": "g/kg/d",
    "L": "L",
    "mL": "mL",
    "kg": "kg",
    "min": "min",
    "mm": "mm",
    "%": "%",
    "1": "1",
    "1/wk": "/wk",
    "h/wk": "h/wk",
    "/min": "/min",
    "°C": "Cel",
}
"""Codes of the Unified Code for Units of Measure for the units that pages write; "1" stands for a plain number."""
