"""A computed number as it was stored: the value or why there is none, how sure it is, what went in, how it is read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext

from dosing.science.reasons import Reason, reason_of
from dosing.services.numbers.number import Computation, Inputs, Number
from dosing.services.numbers.origin import Origin, origin_of
from dosing.services.numbers.reasons import NOT_COMPUTED, reason_words
from dosing.services.numbers.standing import NumberInterval, Standing, interval_of
from homedialysis.accounts.services.units import SI, speaking

Stored = Mapping[str, Mapping[str, Any]]
"""Key → {"value", "why", "inputs", "function", "at"}, and "interval", "doubts" and "from" where there are any: how the
numbers of a night and of a month lie in the database."""


@dataclass(frozen=True, slots=True)
class KeptNumber:
    """One number of one night or month, ready for a page."""

    number: Number[Any]
    kept: Mapping[str, Any] = field(default_factory=dict)

    @property
    def value(self) -> float | None:
        found: float | None = self.kept.get("value")
        return found

    @property
    def reason(self) -> Reason | None:
        """Why there is no number; None where there is one."""
        if not self.kept:
            return NOT_COMPUTED
        stored = self.kept.get("why")
        return reason_of(stored) if stored else None

    @property
    def why(self) -> str:
        """Why there is no number, in the language of the reader; "" where there is one."""
        return reason_words(self.reason)

    @property
    def doubts(self) -> list[Reason]:
        """What speaks against a known number."""
        return [reason_of(each) for each in self.kept.get("doubts", [])]

    @property
    def doubt_words(self) -> list[str]:
        return [reason_words(each) for each in self.doubts]

    @property
    def standing(self) -> Standing:
        if self.value is None:
            return Standing.UNKNOWN
        return Standing.DOUBTFUL if self.doubts else Standing.SURE

    @property
    def interval(self) -> NumberInterval | None:
        return interval_of(self.kept.get("interval"))

    @property
    def because(self) -> str:
        """Why the number is doubtful, in the language of the reader; "" where it is not."""
        return "; ".join(self.doubt_words)

    @property
    def interval_words(self) -> str:
        """Where the true value lies, in the language of the reader; "" where no interval is known."""
        found = self.interval
        if found is None:
            return ""
        return gettext("With a probability of %(level)s %% it lies between %(low)s and %(high)s %(unit)s.") % {
            "level": round(100 * found.level),
            "low": self.number.text(found.low),
            "high": self.number.text(found.high),
            "unit": self.unit,
        }

    @property
    def between(self) -> str:
        """The interval as "2.05 to 2.31", for tables; "" where none is known."""
        found = self.interval
        if found is None:
            return ""
        ends = {"low": self.number.text(found.low), "high": self.number.text(found.high)}
        return gettext("%(low)s to %(high)s") % ends

    @property
    def reckoned(self) -> str:
        """The number in the unit of its equation, where the reader has another one; else ""."""
        if self.value is None or not (self.number.told.differs or self.number.analyte):
            return ""
        told = f"{self.shown} {self.unit}"
        with speaking(SI):
            own = f"{self.shown} {self.unit}"
        return "" if own == told else own

    @property
    def inputs(self) -> Inputs:
        found: Inputs = self.kept.get("inputs", {})
        return found

    @property
    def origins(self) -> dict[str, Origin]:
        """Where the inputs come from, by their names, as far as it is kept."""
        return {name: origin_of(each) for name, each in self.kept.get("from", {}).items()}

    @property
    def function(self) -> str:
        return str(self.kept.get("function", ""))

    @property
    def at(self) -> str:
        """When it was measured (ISO), for results that can be old."""
        return str(self.kept.get("at", ""))

    @property
    def shown(self) -> str:
        return gettext("unknown") if self.value is None else self.number.text(self.value)

    @property
    def unit(self) -> str:
        return self.number.unit_shown


def kept_number(number: Number[Any], numbers: Stored) -> KeptNumber:
    """A number out of the stored ones of a night or a month; without an entry it was not computed."""
    return KeptNumber(number, numbers.get(number.key, {}))


def as_stored(number: Number[Any], found: Computation) -> dict[str, Any]:
    """A computed number as it is stored."""
    reason = found.answer.reason
    stored: dict[str, Any] = {
        "value": found.answer.number,
        "why": reason.as_json() if reason else None,
        "inputs": found.inputs,
        "function": number.function,
        "at": found.at,
    }
    if found.origins:
        stored["from"] = {name: origin.as_json() for name, origin in found.origins.items()}
    if found.interval:
        stored["interval"] = found.interval.as_json()
    if found.doubts and reason is None:
        stored["doubts"] = [each.as_json() for each in found.doubts]
    return stored
