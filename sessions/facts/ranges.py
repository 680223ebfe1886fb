"""What a number can be: two limits, and the words for what lies outside.

Outside `hard` it is physically impossible or a slip of the finger and is refused, saying the limit and what was
given. Outside `usual` it is kept, marked, and asked about once more.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from sessions.facts.local_number import plain


@dataclass(frozen=True, slots=True)
class Range:
    """label for people, in English; unit as shown; hard and usual (low, high), inclusive; step of the entry field."""

    label: str
    unit: str
    hard: tuple[float, float]
    usual: tuple[float, float]
    step: float = 1

    def refusal(self, given: float) -> str:
        """Why a number is refused, or "" when it is possible."""
        low, high = self.hard
        if low <= given <= high:
            return ""
        words = gettext("%(label)s must be between %(low)s and %(high)s %(unit)s; %(given)s was given.")
        parts = {"low": plain(low), "high": plain(high), "unit": unit_words(self.unit), "given": plain(given)}
        return (words % (parts | {"label": gettext(self.label)})).replace(" ;", ";")

    @property
    def needed(self) -> str:
        """Why something that is no number is refused."""
        words = gettext("%(label)s: a number is needed, in %(unit)s.")
        return words % {"label": gettext(self.label), "unit": unit_words(self.unit) or gettext("plain units")}

    def oddity(self, given: float) -> str:
        """What is unusual about a number, or "". In English: it is kept with the record, and the unit reads it."""
        low, high = self.usual
        return "" if low <= given <= high else f"usually between {low:g} and {high:g} {self.unit}".rstrip()

    def asked_words(self, given: float) -> str:
        """What to ask about an unusual number, in the language of the reader; "" for a usual one."""
        if not self.oddity(given):
            return ""
        return f"{gettext(self.label)}: {plain(given)} {unit_words(self.unit)}".rstrip() + f", {self.usual_words}"

    @property
    def usual_words(self) -> str:
        """The same in the language of the reader."""
        low, high = (plain(end) for end in self.usual)
        words = gettext("usually between %(low)s and %(high)s %(unit)s")
        return (words % {"low": low, "high": high, "unit": unit_words(self.unit)}).rstrip()


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
