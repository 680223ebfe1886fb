"""The paper for a night without a phone: what is ordered, what is written down, each step and each emergency.

The first page is filled with what is ordered, or blank; behind it stand lines for a night as long as the prescription
allows, the steps of the run sheet and the emergency cards, in the very words of the phone.

Texts of people reach the page as data, never as part of its source, so that nothing a person is called can be run.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

import typst
from django.conf import settings
from django.utils.text import Truncator
from django.utils.translation import gettext as _

from homedialysis.accounts.models import Unit
from homedialysis.accounts.services.language import language_here
from sessions.facts.choices import CheckPart, TextKind
from sessions.facts.fields import FLUID, MEASURED, READING, SITE, Field, columns, on_paper
from sessions.facts.local_day import plain_day
from sessions.facts.local_number import plain
from sessions.facts.ordered import ORDERED, Ordered
from sessions.models import Patient, Prescription, VascularAccess
from sessions.models.local_time import emergency_number, zone_of
from sessions.services import prescription_lines
from sessions.services.emergency_texts import access_word
from sessions.services.prescribing import prescription_in_force
from sessions.services.unit_texts import TextPlace, Texts, technique_of
from sessions.services.wall_sheet import wall_sheet_of
from sessions.texts.cards import meant_for

LAYOUT = settings.BASE_DIR / "templates" / "reports" / "flow_sheet.typ"
FEWEST_ROWS, MOST_ROWS = 8, 24
"""Of readings: never fewer than by day, never more than the page holds beside what happened."""
BESIDE_THE_EVEN = 3
"""Lines beside those at even times: after the slow start, one more when something is wrong, and before the end."""
EVERY_MINUTES = 60
"""Between readings where nothing else is ordered: common practice, no source."""
MOST_OF_A_NOTE = 160
"""Letters of the prescription's note that fit; a longer one ends in dots and is read in the app."""
BLANK_SITES = 2


def flow_sheet_pdf(patient: Patient, *, at: datetime, blank: bool = False) -> bytes:
    """The sheet of one patient as a tagged PDF (PDF/UA-1).

    blank: without name, prescription and sites, to be filled in by hand. Raises RuntimeError where the page cannot be
    set, which a fault of the layout alone could cause.
    """
    sheet = json.dumps(sheet_of(patient, at=at, blank=blank), ensure_ascii=False)
    made = typst.compile(str(LAYOUT), format="pdf", sys_inputs={"sheet": sheet}, pdf_standards=["ua-1"])
    return bytes(made)


def sheet_of(patient: Patient, *, at: datetime, blank: bool) -> dict[str, Any]:
    """Everything that stands on the pages, as plain data."""
    unit = Unit.objects.current()
    texts, access = Texts(patient), patient.accesses.in_use().first()
    ordered = None if blank else prescription_in_force(patient, at)
    day = at.astimezone(zone_of(patient))
    return {
        "title": _("Treatment flow sheet"),
        "language": language_here().split("-")[0],
        "patient": "" if blank else f"{patient.name} · {patient.hospital_number}",
        "unit": {
            "name": unit.name if unit else "",
            "emergency": emergency_number(patient, unit, at),
            "on_call": unit.on_call_number if unit else "",
        },
        "prescription": _lines(ordered),
        "checks": _checks(texts, access),
        "measured": _headings({name: each.field for name, each in MEASURED.items()}),
        "plan": _plan(),
        "sites": [""] * BLANK_SITES if blank else _sites(access, day.date()),
        "needle_columns": [_("Site"), *_headings(SITE)],
        "reading_columns": [_("Time"), *_headings(READING)],
        "reading_rows": reading_rows(ordered),
        "steps": _steps(texts, patient, access, day.date()),
        "words": _words(),
        "no_alarm": _("This is a record, not an alarm: nobody watches it while you treat."),
        "made": _("Printed on {day}. The prescription may have changed since: ask the unit when in doubt.").format(
            day=plain_day(day)
        ),
        "cards": wall_sheet_of(patient, at=at),
        "afterwards": _("Afterwards: enter this sheet in the app under “From paper”, or hand it to the unit."),
    }


def reading_rows(ordered: Prescription | None) -> int:
    """Lines for the readings of the longest night that is ordered; by its own step between readings, or every hour."""
    if ordered is None:
        return MOST_ROWS
    every: int = ordered.reading_interval_minutes or EVERY_MINUTES
    longest: int = max(ordered.minutes, ordered.max_minutes or 0)
    return min(MOST_ROWS, max(FEWEST_ROWS, math.ceil(longest / every) + BESIDE_THE_EVEN))


def _checks(texts: Texts, access: VascularAccess | None) -> list[dict[str, str]]:
    """The unit's checks before the treatment and at the access, with their limits."""
    items = texts.standing(TextPlace(TextKind.CHECKLIST)).content["items"]
    for_whom = access_word(access)
    wanted = [each for each in items if meant_for(each["for_whom"], for_whom) and each["part"] != CheckPart.AFTER]
    return [{"name": item["name"], "limit": _limit(item), "unit": item["unit"]} for item in wanted]


def _steps(texts: Texts, patient: Patient, access: VascularAccess | None, day: date) -> list[dict[str, str]]:
    """Each step of the patient's own run sheet, in its words."""
    technique = technique_of(access, [site.technique for site in access.free_sites(day)] if access else [])
    steps = texts.standing(TextPlace(TextKind.RUN_SHEET, technique, patient)).content["steps"]
    return [{"words": step["words"], "hint": step.get("hint", "")} for step in steps]


def _limit(item: dict[str, Any]) -> str:
    low, high, unit = item["limit_low"], item["limit_high"], item["unit"]
    if low is None and high is None:
        return ""
    if low is None:
        return _("at most {high} {unit}").format(high=plain(high), unit=unit)
    if high is None:
        return _("at least {low} {unit}").format(low=plain(low), unit=unit)
    return _("{low} to {high} {unit}").format(low=plain(low), high=plain(high), unit=unit)


def _lines(ordered: Prescription | None) -> list[dict[str, str]]:
    if ordered is None:
        return _blank_lines()
    lines = prescription_lines.all_lines(ordered)
    shown = [{"label": str(line.label), "text": f"{line.number} {line.unit}".strip()} for line in lines]
    note = Truncator(" ".join(ordered.note.split())).chars(MOST_OF_A_NOTE)
    return [*shown, *([{"label": _("Note"), "text": note}] if note else [])]


def _blank_lines() -> list[dict[str, str]]:
    return [{"label": each.heading, "text": ""} for each in sorted(ORDERED.values(), key=_place) if each.on_paper]


def _place(each: Ordered) -> float:
    """What is set before each treatment comes first."""
    return math.inf if each.main is None else each.main


def _sites(access: VascularAccess | None, day: date) -> list[str]:
    """The sites that do not rest by name; two empty lines where there are none."""
    free = access.free_sites(day) if access else []
    return [site.name for site in free][:4] or [""] * BLANK_SITES


def _headings(numbers: Mapping[str, Field]) -> list[str]:
    """Over the columns, or before the lines, of the numbers that stand on paper."""
    return [column.field.heading for column in columns(numbers, on_paper(numbers))]


def _plan() -> list[str]:
    """What is planned and read off the machine, and what is ringed at the end."""
    blood = _("Blood in the lines: all back / part / not back")
    return [*_headings(FLUID), blood, _("Dialyser: clear / few / half / clotted"), _("Disinfected: yes / no")]


def _words() -> dict[str, str]:
    return {
        "date": _("Date"),
        "start": _("Start"),
        "end": _("End"),
        "patient": _("Patient"),
        "emergency": _("Emergency"),
        "on_call": _("The unit on call"),
        "prescription": _("Prescription"),
        "what": _("What"),
        "ordered": _("Ordered"),
        "checks": _("Checks before"),
        "check": _("Check"),
        "value": _("Value"),
        "done": _("Good"),
        "measured": _("Measured"),
        "before": _("Before"),
        "after": _("After"),
        "plan": _("Fluid and machine"),
        "written": _("Written"),
        "needles": _("Needles"),
        "readings": _("Readings"),
        "events": _("What happened, what was given"),
        "time": _("Time"),
        "happened": _("Symptom, alarm"),
        "medicine": _("Medicine and amount"),
        "steps": _("Step by step"),
    }
