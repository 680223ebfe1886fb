"""The numbers of a record as cells of tables, laid out as they are declared."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.template.defaultfilters import floatformat
from django.utils.translation import gettext

from sessions.facts.fields import MEASURED, PREFIXES, READING, Column, Field, columns
from sessions.models import Prescription, Reading, TreatmentRecord

NOTHING = "–"


@dataclass(frozen=True, slots=True)
class NotedNumber:
    """A number that was noted: label, text and unit in the language of the reader; ordered: what was prescribed of it,
    in figures and unit, or ""."""

    label: str
    text: str
    unit: str
    ordered: str = ""

    def __str__(self) -> str:
        return f"{self.label} {self.text} {self.unit}".rstrip()


@dataclass(frozen=True, slots=True)
class ReadingLine:
    """One reading as a line of a table: the reading, and its cells in the order of `reading_headings`."""

    reading: Reading
    cells: list[str]


def shown(field: Field, value: float | None) -> str:
    """A number with the figures that are declared for it, in the notation of the reader."""
    return NOTHING if value is None else floatformat(field.told.of(value), field.decimals)


def cell(holder: Any, fields: Mapping[str, Field], column: Column, *, prefix: str = "") -> str:
    """What stands in one column: a number, two of one pressure as 120/80, or a dash."""
    text = shown(column.field, getattr(holder, prefix + column.key))
    if not column.below or not _is_noted(holder, column, prefix):
        return text
    return f"{text}/{shown(fields[column.below], getattr(holder, prefix + column.below))}"


def _is_noted(holder: Any, column: Column, prefix: str = "") -> bool:
    """Whether the number was noted, or that which shares its column."""
    keys = (column.key, column.below) if column.below else (column.key,)
    return any(getattr(holder, prefix + key) is not None for key in keys)


def reading_headings() -> list[str]:
    """What stands over the columns of the readings, after the time."""
    return [column.field.heading for column in columns(READING)]


def reading_lines(record: TreatmentRecord) -> list[ReadingLine]:
    """The readings of a record in order of time: one query."""
    laid_out = columns(READING)
    return [
        ReadingLine(reading, [cell(reading, READING, column) for column in laid_out])
        for reading in record.reading_set.all()
    ]


def before_and_after(record: TreatmentRecord) -> list[tuple[str, list[str]]]:
    """What is taken twice: the heading of a line, and its cells before and after."""
    fields = {name: each.field for name, each in MEASURED.items()}
    return [
        (column.field.heading, [cell(record, fields, column, prefix=prefix) for prefix in PREFIXES])
        for column in columns(fields)
    ]


def noted(holder: Any, fields: Mapping[str, Field], *, ordered: Prescription | None = None) -> list[NotedNumber]:
    """The numbers of a record or a row that were noted, in the order of their declaration; ordered: the prescription
    under which it ran, for what stands beside them."""
    known = [column for column in columns(fields) if _is_noted(holder, column)]
    return [
        NotedNumber(
            _label(column), cell(holder, fields, column), column.field.unit_told, _ordered(column.field, ordered)
        )
        for column in known
    ]


def _ordered(field: Field, prescription: Prescription | None) -> str:
    value = getattr(prescription, field.ordered) if field.ordered and prescription else None
    return "" if value is None else f"{shown(field, value)} {field.unit_told}".rstrip()


def _label(column: Column) -> str:
    """The short label; two numbers of one pressure have one of their own."""
    return gettext("Pressure") if column.below else column.field.short_words
