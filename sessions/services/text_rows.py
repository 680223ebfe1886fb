"""The rows of a text of the unit, each word of them either the program's or the unit's own.

Whoever saves a text saves all its rows, but means only those that were changed. So what reads as the program's words
stays the program's: it follows them into the next release, and into the language of each reader. What the unit wrote
stands as it was written, under `own`: {field: language}.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.utils.translation import get_language_info, gettext, override

from homedialysis.accounts.services.language import language_here
from sessions.facts.choices import TextKind
from sessions.texts import checklist, emergency, flows, run_sheets
from sessions.texts.earlier import EARLIER

Content = dict[str, Any]
Row = dict[str, Any]
LISTED = {
    TextKind.CHECKLIST: "items",
    TextKind.RUN_SHEET: "steps",
    TextKind.CARDS: "cards",
    TextKind.FIRST_AID: "texts",
    TextKind.FLOWS: "steps",
}
"""Under which key the content of a text has its rows."""
CARD_WORDS = ("title", "signs", "now", "never", "call", "helper", "alone", "say")
WORDS: dict[str, tuple[str, ...]] = {
    TextKind.CHECKLIST: ("name", "hint", "if_failed"),
    TextKind.RUN_SHEET: ("words", "hint"),
    TextKind.CARDS: CARD_WORDS,
    TextKind.FIRST_AID: ("words",),
    TextKind.FLOWS: ("words", "hint"),
}
"""Which fields of a row are words."""
FIXED = frozenset({TextKind.CARDS, TextKind.FIRST_AID, TextKind.FLOWS})
"""Kinds whose rows are those of the program: a new one is there for every unit."""


def key_of(row: Row) -> str:
    return str(row.get("key") or row["kind"])


def program_rows(kind: str, technique: str = "") -> dict[str, Row]:
    """Key -> the row that comes with the program, in the language of the moment; of a run sheet those of every way to
    connect."""
    if kind == TextKind.RUN_SHEET:
        ways = (run_sheets.default_content(technique, way)["steps"] for way in run_sheets.CONNECTIONS)
        return {row["key"]: row for rows in ways for row in rows}
    return {key_of(row): row for row in _rows(kind, _DEFAULT[kind]())}


_DEFAULT: dict[str, Callable[[], Content]] = {
    TextKind.CHECKLIST: checklist.default_content,
    TextKind.CARDS: emergency.default_cards,
    TextKind.FIRST_AID: emergency.default_first_aid,
    TextKind.FLOWS: flows.default_flows,
}


def _rows(kind: str, content: Content) -> list[Row]:
    """The rows as dictionaries; first aid is kept as {key: words}."""
    listed = content[LISTED[TextKind(kind)]]
    if kind != TextKind.FIRST_AID:
        return list(listed)
    own = content.get("own", {})
    return [{"key": key, "words": words, "own": own.get(key, {})} for key, words in listed.items()]


def _content(kind: str, rows: list[Row]) -> Content:
    if kind != TextKind.FIRST_AID:
        return {LISTED[TextKind(kind)]: rows}
    own = {row["key"]: row["own"] for row in rows if row.get("own")}
    return {"texts": {row["key"]: row["words"] for row in rows}, "own": own}


def read(kind: str, technique: str, kept: Content) -> Content:
    """A kept content as it is read now: the program's words in the language of the moment, the unit's own as it is."""
    ours = program_rows(kind, technique)
    with override(settings.LANGUAGE_CODE):
        written = program_rows(kind, technique)
    rows = [_read(kind, row, ours.get(key_of(row)), written.get(key_of(row), {})) for row in _rows(kind, kept)]
    if kind == TextKind.RUN_SHEET:
        rows = _whole_sheet(rows, technique)
    if kind in FIXED:
        known = {key_of(row): row for row in rows if key_of(row) in ours or _still_said(kind, row)}
        rows = [known.pop(key, row | {"own": {}}) for key, row in ours.items()] + [*known.values()]
    return _content(kind, rows)


def _read(kind: str, row: Row, ours: Row | None, written: Row) -> Row:
    """One row. Cards keep what is no word of theirs (for whom, which events) from the program."""
    row = _as_now(row) if kind == TextKind.CARDS else row
    marked: dict[str, str] | None = row.get("own")
    own: dict[str, str] = {}
    words: Row = {}
    for name in WORDS[kind]:
        if ours is not None and name in ours and not _is_own(kind, row, name, marked, written):
            words[name] = ours[name]
        elif name in row:
            words[name] = row[name]
            own[name] = (marked or {}).get(name, settings.LANGUAGE_CODE)
    base = (ours or {}) | {"first": row.get("first", (ours or {}).get("first"))} if kind == TextKind.CARDS else row
    return base | words | {"own": own}


def _is_own(kind: str, row: Row, name: str, marked: dict[str, str] | None, written: Row) -> bool:
    if name not in row:
        return False
    if marked is not None:
        return name in marked
    return bool(row[name] != written.get(name) and fingerprint([kind, key_of(row), name, row[name]]) not in EARLIER)


def _whole_sheet(rows: list[Row], technique: str) -> list[Row]:
    """The run sheet; where the unit wrote its own before there was a part that ends a treatment, with the program's."""
    if any(row.get("part") == run_sheets.COMING_OFF for row in rows):
        return rows
    return [*rows, *(step.as_json() | {"own": {}} for step in run_sheets.steps_off(technique))]


def _still_said(kind: str, row: Row) -> bool:
    """Whether the unit itself wrote a row that the program has no longer."""
    return any(
        row.get(name) and fingerprint([kind, key_of(row), name, row[name]]) not in EARLIER for name in WORDS[kind]
    )


def _as_now(row: Row) -> Row:
    """A card as 0.2.0 kept it had lines, of which the first things to do were the first."""
    return row if "lines" not in row else {"kind": row["kind"], "title": row["title"], "now": row["lines"]}


def mark(kind: str, technique: str, content: Content, standing: Content) -> Content:
    """A content that is to be kept, each row with the fields that are the unit's own and the language they are in.

    standing: what was read before, in the language of the moment; what did not change keeps its mark.
    """
    ours = program_rows(kind, technique)
    before = {key_of(row): row for row in _rows(kind, standing)}
    rows = _rows(kind, content)
    return _content(kind, [_marked(kind, row, ours.get(key_of(row), {}), before.get(key_of(row), {})) for row in rows])


def _marked(kind: str, row: Row, ours: Row, before: Row) -> Row:
    now = language_here()
    own = {}
    for name in WORDS[kind]:
        if row.get(name) != ours.get(name, ""):
            kept = before.get("own", {}).get(name) if before.get(name) == row.get(name) else None
            own[name] = kept or now
    return row | {"own": own}


def without_marks(kind: str, content: Content) -> list[Row]:
    """The rows alone, to be compared."""
    return [{name: value for name, value in row.items() if name != "own"} for row in _rows(kind, content)]


def only(kind: str, content: Content, key: str) -> Content:
    """The content with the row of this key alone; all of it for ""."""
    return _content(kind, [row for row in _rows(kind, content) if not key or key_of(row) == key])


def foreign(row: Row, *names: str) -> str:
    """A sentence that says in which other language the unit wrote these words itself, or "" where it did not."""
    here = language_here()
    found = {row["own"][name] for name in names or tuple(row["own"]) if row["own"].get(name) and row.get(name)} - {here}
    if not found:
        return ""
    language = get_language_info(min(found))["name_translated"]
    return gettext("Your unit wrote this itself (%(language)s).") % {"language": language}


def fingerprint(words: Any) -> str:
    """A short fingerprint of plain data; the same data gives the same one everywhere."""
    told = json.dumps(words, ensure_ascii=False, sort_keys=True)
    return hashlib.sha256(told.encode()).hexdigest()[:16]
