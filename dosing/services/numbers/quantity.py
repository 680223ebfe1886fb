"""What goes into a number, and what lies between: symbol, name and unit, as homedialysis/docs/notation.md has them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext

from dosing.science.results import Measure
from dosing.services.numbers.blood_units import spoken_of, three_figures
from homedialysis.accounts.services.units import Told, told_in


@dataclass(frozen=True, slots=True)
class Quantity:
    """What an input or a step is called; symbol "" where it only says how something was done; analyte: the LOINC code
    of what a laboratory measured, which equations take in its canonical unit and people read in their own.
    """

    symbol: str
    name: str
    unit: str = ""
    analyte: str = ""

    @property
    def label(self) -> str:
        """The name in the language of the reader."""
        return gettext(self.name)

    @property
    def unit_shown(self) -> str:
        return gettext(self.unit) if self.unit else ""

    @property
    def told(self) -> Told:
        """How its values are told to this reader; the equation has them in `unit`."""
        if self.analyte:
            shown = spoken_of(self.analyte)
            return Told(shown.unit, shown.factor)
        return told_in(self.unit)

    @property
    def told_words(self) -> str:
        """ "1 mmol/L is 2.8 mg/dL urea nitrogen"; "" where the reader has the unit of the equation."""
        if not self.told.differs:
            return ""
        words = gettext("1 %(unit)s is %(figure)s %(told)s")
        return words % {"unit": self.unit_shown, "figure": three_figures(self.told.factor), "told": self.told.unit}

    @property
    def plain(self) -> str:
        """The symbol without the sign that sets its index low."""
        return self.symbol.replace("_", "")


@dataclass(frozen=True, slots=True)
class WorkingStep:
    """A value between what went in and the result: what it is, its equation in symbols, and the science's answer."""

    quantity: Quantity
    written: str
    value: Measure


Steps = Callable[[dict[str, Any]], Iterator[WorkingStep]]
"""The steps of a number by what went in; none where a part of it is missing."""
