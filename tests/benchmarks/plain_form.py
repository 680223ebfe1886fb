"""The baseline: one plain form with a field for each value of a record, filled in by touch and keyboard."""

from __future__ import annotations

import html
import sys
from datetime import datetime
from typing import Any

from playwright.sync_api import Page
from tqdm import tqdm

from tests.browser.hands import Counted, Hands

TIMES = {"started_at", "ended_at", "at"}
LISTS = {"checks", "sites", "readings", "events", "medicines", "used_stock"}
LEFT_OUT = {
    "status", "id", "patient", "revision", "night", "received_at", "clock_offset_s", "entered_by", "marks", "steps",
    "confirmed", "prescription_version", "checklist_version", "run_sheet_version",
}  # fmt: skip
READY = {"name", "key", "part", "unit", "use", "item", "overruled", "reason"}
"""What stands in the form already, or is never asked there."""
PICKED = {"site", "needle", "dialyser_look", "plan_choice", "blood_return", "early_reason"}
UNTIMED = {"checks", "sites"}

Field = tuple[str, str, str]


def field_of(path: str, name: str, value: Any) -> Field | None:
    """(path, kind, value) of one field: kind "text", "mark" or "pick"; None for what is not typed."""
    if value is None or value == "" or name in READY:
        return None
    if isinstance(value, bool):
        return (path, "mark", "on" if value else "")
    if name in TIMES:
        return (path, "text", datetime.fromisoformat(value).strftime("%H%M"))
    return (path, "pick" if name in PICKED else "text", f"{value:g}" if isinstance(value, float) else str(value))


def fields_of(record: dict[str, Any]) -> list[Field]:
    """A field for each value of the record that somebody had to give."""
    found: list[Field | None] = []
    for name, value in record.items():
        if name in LISTS:
            for index, row in enumerate(value):
                timeless = {key: each for key, each in row.items() if not (name in UNTIMED and key == "at")}
                found += [field_of(f"{name}.{index}.{key}", key, each) for key, each in timeless.items()]
        elif name not in LEFT_OUT:
            found.append(field_of(name, name, value))
    return [each for each in found if each]


def form_of(fields: list[Field]) -> str:
    """One plain page: a line a field, as large as browsers make them with ordinary spacing."""
    parts = {
        "text": '<input id="{0}" name="{0}" inputmode="decimal">',
        "mark": '<input id="{0}" name="{0}" type="checkbox">',
        "pick": '<select id="{0}" name="{0}"><option></option><option>{1}</option></select>',
    }
    rows = [f'<p><label for="{path}">{path}</label> {parts[kind].format(path, html.escape(value))}</p>'
            for path, kind, value in fields]  # fmt: skip
    head = '<!DOCTYPE html><html lang="en"><meta name="viewport" content="width=device-width"><title>Night</title>'
    return f'{head}<form>{"".join(rows)}<button type="button" id="send">Send</button></form>'


def night_by_form(page: Page, fields: list[Field]) -> tuple[Counted, int]:
    """Fill it in field by field -> (counted, contacts of the readings alone). Fails unless it holds what was typed."""
    page.set_content(form_of(fields))
    hands, typing, readings = Hands(page), False, 0
    for path, kind, value in tqdm(fields, desc="a night in the form", file=sys.stderr):
        before = hands.counted.contacts
        typing = fill(hands, path, kind, value, typing)
        readings += (hands.counted.contacts - before) if path.startswith("readings.") else 0
    hands.touch(page.locator("#send"))
    held = page.evaluate("Object.fromEntries(new FormData(document.querySelector('form')))")
    if held != {path: value for path, kind, value in fields if value}:
        raise SystemExit("the form does not hold what was typed")
    return hands.counted, readings


def fill(hands: Hands, path: str, kind: str, value: str, typing: bool) -> bool:
    """One field -> whether the keyboard is up afterwards."""
    target = hands.page.locator(f'[id="{path}"]')
    if kind == "text":
        if typing:
            hands.page.keyboard.press("Tab")
            hands.counted.keys += 1
        else:
            hands.touch(target)
        hands.counted.keys += len(value)
        hands.page.keyboard.type(value)
        return True
    if kind == "mark":
        if value:
            hands.touch(target)
    else:
        hands.touch(target)
        hands.counted.touches += 1
        target.select_option(value)
    return False
