"""A laboratory's table: columns are found by the mapping that is kept with the laboratory."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

from django.utils.translation import gettext

from dosing.services.importing.line_words import FIELDS, Said, said
from dosing.services.importing.rows import (
    ResultRow,
    Unreadable,
    day_of,
    fault_of_value,
    figure_of,
    limited,
    moment_of,
    text_of,
)

NEEDED = ("identifier", "birth_date", "code", "value", "unit", "drawn_at")
OPTIONAL = ("name", "timing", "reference", "flag", "specimen", "version", "status", "comment")
TIMINGS = {"": "", "pre": "pre", "before": "pre", "post": "post", "after": "post", "apart": "apart", "none": "apart"}
STATES = {"": "final", "f": "final", "final": "final", "c": "corrected", "corrected": "corrected"}


EXAMPLE = datetime(2026, 11, 25, 14, 30, 5)  # noqa: DTZ001  (it shows how a date is written, and is never a time)


@dataclass(frozen=True, slots=True)
class Way:
    """How a laboratory writes its tables. columns: {what we need: the column's name}, the same name where unsaid."""

    columns: dict[str, str] = field(default_factory=dict)
    decimal_comma: bool = False
    date_format: str = "%Y-%m-%d"
    time_format: str = "%Y-%m-%d %H:%M"
    own_codes: bool = False
    encoding: str = "utf-8-sig"
    thousands: str = ""

    def column(self, name: str) -> str:
        return self.columns.get(name) or name


def read(body: bytes, way: Way, zone: ZoneInfo) -> list[ResultRow]:
    """Each line of the table as a row. Raises Unreadable, naming the column that is missing."""
    lines, header = _reader(text_of(body, way.encoding))
    for name in NEEDED:
        if way.column(name) not in header:
            parts = {"column": way.column(name), "field": FIELDS[name], "columns": ", ".join(header)}
            raise Unreadable(
                gettext("The column “%(column)s” (%(field)s) is not in the table; it has: %(columns)s.") % parts
            )
    return limited([_row(cells, header, way, zone, place) for place, cells in lines if any(cells)])


def _reader(text: str) -> tuple[list[tuple[int, list[str]]], list[str]]:
    first = text.partition("\n")[0]
    delimiter = max(";\t,", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        lines = [(reader.line_num, cells) for cells in reader]
    except csv.Error as problem:
        raise Unreadable(
            gettext("Line %(line)s is not a line of a table: %(why)s.") % {"line": reader.line_num, "why": problem}
        ) from problem
    if not lines:
        raise Unreadable(gettext("The table is empty."))
    header = [cell.strip() for cell in lines[0][1]]
    if len(set(header)) != len(header):
        raise Unreadable(gettext("Two columns have the same name: %(columns)s.") % {"columns": ", ".join(header)})
    return lines[1:], header


def _row(cells: list[str], header: list[str], way: Way, zone: ZoneInfo, place: int) -> ResultRow:
    raw = {"cells": cells, "header": header}
    if len(cells) != len(header):
        fault = said("cells", given=len(cells), needed=len(header))
        return ResultRow(said("line", line=place), fault=fault, raw=raw)
    by_name = dict(zip(header, (cell.strip() for cell in cells), strict=True))
    given = {name: by_name.get(way.column(name), "") for name in (*NEEDED, *OPTIONAL)}
    bound, number = figure_of(given["value"], decimal_comma=way.decimal_comma, thousands=way.thousands)
    return ResultRow(
        place=said("line", line=place),
        numbers=(given["identifier"],) if given["identifier"] else (),
        birth_date=day_of(given["birth_date"], way.date_format),
        code=given["code"],
        own_code=way.own_codes,
        name=given["name"],
        value=given["value"],
        number=number,
        bound=bound,
        unit=given["unit"],
        drawn_at=moment_of(given["drawn_at"], way.time_format, zone),
        timing=TIMINGS.get(given["timing"].lower(), ""),
        reference=given["reference"],
        flag=given["flag"],
        specimen=given["specimen"],
        version=int(given["version"]) if _is_version(given["version"]) else 0,
        status=STATES.get(given["status"].lower(), given["status"]),
        comment=given["comment"],
        fault=_fault(given, number, way, zone),
        raw=raw,
    )


def _is_version(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) <= 18


def _fault(given: dict[str, str], number: float | None, way: Way, zone: ZoneInfo) -> Said | None:
    if number is None:
        return fault_of_value(given["value"])
    for name, found in (
        ("birth_date", day_of(given["birth_date"], way.date_format)),
        ("drawn_at", moment_of(given["drawn_at"], way.time_format, zone)),
    ):
        if found is None and given[name]:
            written = way.date_format if name == "birth_date" else way.time_format
            return said("written", given=given[name][:40], field=name, written=EXAMPLE.strftime(written))
    if given["timing"].lower() not in TIMINGS:
        return said("timing", given=given["timing"][:40])
    if given["version"] and not _is_version(given["version"]):
        return said("version", given=given["version"][:40])
    return None
