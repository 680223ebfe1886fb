"""A laboratory's table line by line: separators, dates, commas, and what is wrong with which line."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from dosing.services.importing.csv_table import Way, read
from dosing.services.importing.rows import ResultRow, Unreadable

HEAD = ["identifier", "birth_date", "code", "value", "unit", "drawn_at", "timing", "version", "status", "name"]
LINE = ["H-1", "1970-01-31", "22664-7", "25.5", "mmol/L", "2026-07-02 07:30", "before", "2", "C", " Urea "]
LISBON = ZoneInfo("Europe/Lisbon")


def table(*lines: list[str], by: str = ",") -> bytes:
    return "\n".join(by.join(cells) for cells in (HEAD, *lines)).encode()


def one(way: Way | None = None, **cells: str) -> ResultRow:
    line = [cells.get(name, cell) for name, cell in zip(HEAD, LINE, strict=True)]
    (row,) = read(table(line, by=";"), way or Way(), LISBON)
    return row


@pytest.mark.parametrize("by", [",", ";", "\t"])
def test_a_whole_line_whatever_separates_it(by: str) -> None:
    """7:30 in Lisbon's summer is 6:30 UTC."""
    (row,) = read(table(LINE, by=by), Way(), LISBON)
    assert (row.numbers, row.birth_date, row.code, row.own_code) == (("H-1",), date(1970, 1, 31), "22664-7", False)
    assert (row.value, row.number, row.unit, row.name) == ("25.5", 25.5, "mmol/L", "Urea")
    assert row.drawn_at == datetime(2026, 7, 2, 6, 30, tzinfo=UTC)
    assert (row.timing, row.version, row.status, row.fault) == ("pre", 2, "corrected", None)
    assert row.raw == {"cells": LINE, "header": HEAD}


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        ({"timing": "AFTER"}, {"timing": "post"}),
        ({"timing": "none"}, {"timing": "apart"}),
        ({"timing": ""}, {"timing": ""}),
        ({"status": ""}, {"status": "final"}),
        ({"status": "Preliminary"}, {"status": "Preliminary"}),
        ({"version": ""}, {"version": 0}),
        ({"identifier": ""}, {"numbers": ()}),
    ],
)
def test_what_a_cell_means(cells: dict[str, str], expected: dict[str, Any]) -> None:
    row = one(**cells)
    assert {name: getattr(row, name) for name in expected} == expected
    assert row.fault is None


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({"value": "<low"}, "“<low” is not a number."),
        ({"value": ""}, "There is no value."),
        ({"value": "25,5"}, "“25,5” is not a number."),
        ({"birth_date": "31.1.1970"}, "“31.1.1970” (date of birth) is not written as in 2026-11-25."),
        ({"drawn_at": "2 July"}, "“2 July” (drawn at) is not written as in 2026-11-25 14:30."),
        ({"timing": "noon"}, "“noon” says neither before nor after: write before, after or apart."),
        ({"version": "two"}, "The version must be a whole number; “two” was given."),
        ({"version": "1" * 19}, f"The version must be a whole number; “{'1' * 19}” was given."),
    ],
)
def test_what_is_wrong_with_a_line(cells: dict[str, str], words: str) -> None:
    assert str(one(**cells).fault) == words


def test_a_line_with_a_cell_too_few_and_one_that_is_empty() -> None:
    short, empty = LINE[:-1], [""] * len(HEAD)
    rows = read(table(short, empty, LINE), Way(), LISBON)
    assert [str(row.place) for row in rows] == ["line 2", "line 4"]
    assert [row.fault and str(row.fault) for row in rows] == ["It has 9 cells; the head has 10.", None]


def test_another_laboratory_s_way_of_writing() -> None:
    way = Way(
        columns={"value": "Wert", "code": ""}, decimal_comma=True, date_format="%d.%m.%Y",
        time_format="%d.%m.%Y %H.%M", own_codes=True,
    )  # fmt: skip
    cells = {"value": "25,5", "birth_date": "31.01.1970", "drawn_at": "02.07.2026 07.30", "code": "UREA"}
    line = [cells.get(name, cell) for name, cell in zip(HEAD, LINE, strict=True)]
    (row,) = read(table(line, by=";").replace(b"value", b"Wert"), way, LISBON)
    assert (row.number, row.birth_date, row.code, row.own_code) == (25.5, date(1970, 1, 31), "UREA", True)
    assert (row.drawn_at, row.fault) == (datetime(2026, 7, 2, 6, 30, tzinfo=UTC), None)


@pytest.mark.parametrize(
    ("way", "value", "drawn_at", "number"),
    [
        (Way(decimal_comma=True, thousands="."), "1.234,5", "2026-07-02 07:30", 1234.5),
        (Way(thousands=","), "1,234.5", "2026-07-02 07:30", 1234.5),
        (Way(decimal_comma=True, thousands=" "), "612,5", "2026-07-02 07:30", 612.5),
        (Way(decimal_comma=True, thousands="."), "45.2", "2026-07-02 07:30", None),
        (Way(time_format="%m/%d/%Y %I:%M %p"), "25.5", "07/02/2026 07:30 PM", 25.5),
    ],
)
def test_thousands_and_half_days_as_a_laboratory_writes_them(
    way: Way, value: str, drawn_at: str, number: float | None
) -> None:
    cells = {"value": value, "drawn_at": drawn_at}
    line = [cells.get(name, cell) for name, cell in zip(HEAD, LINE, strict=True)]
    (row,) = read(table(line, by=";"), way, LISBON)
    assert row.number == number
    assert row.drawn_at == datetime(2026, 7, 2, 18 if "PM" in drawn_at else 6, 30, tzinfo=UTC)


def test_a_table_as_a_spreadsheet_of_windows_writes_it() -> None:
    line = ["Grund, Müßig" if name == "name" else cell for name, cell in zip(HEAD, LINE, strict=True)]
    body = table(line, by=";").decode().encode("cp1252")
    with pytest.raises(Unreadable, match="is not a character"):
        read(body, Way(), LISBON)
    (row,) = read(body, Way(encoding="cp1252"), LISBON)
    assert row.name == "Grund, Müßig"


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b"", "The table is empty."),
        (b"identifier,code,code", "Two columns have the same name: identifier, code, code."),
        (
            table(LINE).replace(b"drawn_at", b"taken"),
            r"The column “drawn_at” \(drawn at\) is not in the table; it has: identifier, birth_date, ",
        ),
        (table(LINE) + b'\n"never closed', "Line 3 is not a line of a table"),
    ],
)
def test_what_is_no_table(body: bytes, words: str) -> None:
    with pytest.raises(Unreadable, match=words):
        read(body, Way(), LISBON)
