"""How a number is worked out by hand: what went in by symbol, name, unit and place, the steps between, the result.

Symbols are those of homedialysis/docs/notation.md. An equation is written in symbols, numbers, + − · / ^, brackets,
comparisons and the functions ln, exp, abs, min, max, sum, mean, median, count and slopes: f(x | condition) takes those
of a row of values for which the condition holds, slopes(y, x) are the slopes between all pairs of points and
area(y, x, end) is the area under straight lines between points, the first held back to 0 and the last on to the end.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils.formats import get_format
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from dosing.services.numbers.blood_units import three_figures
from dosing.services.numbers.kept import KeptNumber
from dosing.services.numbers.origin import Origin
from dosing.services.numbers.quantity import Quantity, WorkingStep
from sessions.facts.choices_surroundings import WaterKind
from sessions.facts.local_day import plain_day

DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
DIGITS = 9
"""Figures of a value that went in or came between: enough that what is shown of the result can be had from them."""


@dataclass(frozen=True, slots=True)
class WorkedLine:
    """One value; written: its equation, "" where it went in as it is; origin: where it comes from, for people."""

    quantity: Quantity
    kept: Any
    written: str = ""
    origin: str = ""

    @property
    def value(self) -> str:
        return shown_value(self.kept)

    @property
    def unit(self) -> str:
        return self.quantity.unit_shown

    @property
    def told(self) -> str:
        """The same in the unit of the reader; "" where that is the unit of the equation."""
        told = self.quantity.told
        if not told.differs or isinstance(self.kept, bool) or not isinstance(self.kept, int | float):
            return ""
        return f"{decimal_sign(three_figures(told.of(self.kept)))} {told.unit}"


@dataclass(frozen=True, slots=True)
class WorkedRows:
    """Rows of values that went in together, such as the readings of a night."""

    heads: list[Quantity]
    columns: list[list[Any]]

    @property
    def rows(self) -> list[list[str]]:
        """As they are shown."""
        return [[shown_value(value) for value in row] for row in zip(*self.columns, strict=True)]

    @property
    def told_words(self) -> list[str]:
        """What its units are in those of the reader, each once."""
        return list(dict.fromkeys(words for head in self.heads if (words := head.told_words)))


@dataclass(frozen=True, slots=True)
class Worked:
    """All that a reader needs to come to a number with pencil and paper."""

    figure: KeptNumber
    given: list[WorkedLine]
    table: WorkedRows | None
    steps: list[WorkedLine]

    @property
    def written(self) -> str:
        """The equation of the result."""
        return self.figure.number.equation


def worked(figure: KeptNumber, words: Mapping[str, Quantity], otherwise: Origin | None = None) -> Worked:
    """A stored number, laid out. words: what each input is called; otherwise: where it comes from if nothing is kept.

    What is worked out again in a step, such as treatments a week from their count, is shown there alone.
    """
    own = {**words, **figure.number.words}
    steps = [
        WorkedLine(step.quantity, step.value.number, step.written)
        for step in _steps(figure)
        if step.value.number is not None
    ]
    again = {line.quantity.symbol for line in steps}
    # As the words are declared: the database gives the inputs back in an order of its own.
    place = {name: at for at, name in enumerate(own)}
    inputs = dict(sorted(figure.inputs.items(), key=lambda each: place.get(each[0], len(place))))
    # What is not known of a known number has no part in it.
    told = {name: value for name, value in inputs.items() if value is not None or figure.value is None}
    single = {name: value for name, value in told.items() if not isinstance(value, list)}
    given = [_given(figure, name, value, own, otherwise) for name, value in single.items()]
    # What two equations call the same by two names, such as the weight, stands once.
    once = {(line.quantity, line.value): line for line in reversed(given) if line.quantity.symbol not in again}
    listed = {name: value for name, value in told.items() if isinstance(value, list) and value}
    return Worked(figure, list(once.values())[::-1], _table(listed, own), steps)


def _given(
    figure: KeptNumber, name: str, value: Any, words: Mapping[str, Quantity], otherwise: Origin | None
) -> WorkedLine:
    origin = figure.origins.get(name, otherwise) if value is not None else None
    return WorkedLine(_called(name, words), value, origin=origin.words if origin else "")


def _steps(figure: KeptNumber) -> Iterator[WorkingStep]:
    """Nothing is worked out where the number is not known."""
    steps = figure.number.steps
    return steps(figure.inputs) if steps and figure.value is not None else iter(())


def _called(name: str, words: Mapping[str, Quantity]) -> Quantity:
    """A name that nobody has put into words yet is shown without its underscores; a test finds it."""
    return words.get(name) or Quantity("", name.replace("_", " "))


def _table(listed: Mapping[str, Sequence[Any]], words: Mapping[str, Quantity]) -> WorkedRows | None:
    """Lists side by side, each symbol once; None where there are none."""
    by_head: dict[Quantity, Sequence[Any]] = {}
    for name, values in listed.items():
        by_head.setdefault(_called(name, words), values)
    if not by_head:
        return None
    return WorkedRows(list(by_head), [list(values) for values in by_head.values()])


CODES: dict[str, StrOrPromise] = {
    "female": _("female"),
    "male": _("male"),
    "late": _("late, 30 to 60 minutes after the end"),
    "unprotected": _("neither slow flow nor stopped dialysate"),
    "slow_flow": _("at slow flow"),
    "stop_dialysate": _("with the dialysate stopped"),
    "tattersall_arterial": _("fistula or graft"),
    "tattersall_venous": _("catheter"),
    "total": _("the machine's total"),
    "weights": _("the weights before and after"),
    "readings": _("the last reading of the volume"),
    **{kind.value: kind.label for kind in WaterKind},
}
"""Inputs that are codes."""


def decimal_sign(figures: str) -> str:
    """A number as Python writes it, with a true minus and the decimal sign of the reader."""
    return figures.replace("-", "−").replace(".", get_format("DECIMAL_SEPARATOR"))


def shown_value(value: Any) -> str:
    """A value that went in or came between, as people read it and with all the digits that the result needs."""
    if value is None:
        return gettext("not known")
    if isinstance(value, float):
        return decimal_sign(f"{value:.{DIGITS}g}")
    if isinstance(value, str) and DAY.fullmatch(value):
        return plain_day(date.fromisoformat(value))
    if isinstance(value, int):
        return str(value).replace("-", "−")
    return str(CODES.get(value, value))
