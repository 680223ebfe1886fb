"""What goes into a number, and what lies between: symbol, name and unit, as homedialysis/docs/notation.md has them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext

from dosing.science.results import Measure


@dataclass(frozen=True, slots=True)
class Quantity:
    """What an input or a step is called; symbol "" where it only says how something was done."""

    symbol: str
    name: str
    unit: str = ""

    @property
    def label(self) -> str:
        """The name in the language of the reader."""
        return gettext(self.name)

    @property
    def unit_shown(self) -> str:
        return gettext(self.unit) if self.unit else ""

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
