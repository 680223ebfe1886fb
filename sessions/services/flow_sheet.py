"""The paper flow sheet: a page for the night on which the phone fails, filled with what is ordered, or blank, and the
emergency steps behind it.

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
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from homedialysis.accounts.models import Unit
from sessions.facts.choices import AccessKind, CheckPart, TextKind
from sessions.facts.fields import FLUID, MEASURED, READING, SITE, Field, columns, on_paper
from sessions.facts.local_number import plain
from sessions.facts.ordered import ORDERED, Ordered
from sessions.models import Patient
from sessions.models.local_time import zone_of
from sessions.services import prescription_lines
from sessions.services.prescribing import prescription_in_force
from sessions.services.unit_texts import TextPlace, Texts
from sessions.services.wall_sheet import wall_sheet_of
from sessions.texts import checklist

LAYOUT = settings.BASE_DIR / "templates" / "reports" / "flow_sheet.typ"
READING_ROWS = 8
MOST_OF_A_NOTE = 160
"""Letters of the prescription's note that fit; a longer one ends in dots and is read in the app."""
BLANK_SITES = 2


def flow_sheet_pdf(patient: Patient, *, at: datetime, blank: bool = False) -> bytes:
    """The sheet of one patient as a tagged PDF (PDF/UA-1): one page to write on, then the emergency cards.

    blank: without name, prescription and sites, to be filled in by hand. Raises RuntimeError where the page cannot be
    set, which a fault of the layout alone could cause.
    """
    sheet = json.dumps(sheet_of(patient, at=at, blank=blank), ensure_ascii=False)
    made = typst.compile(str(LAYOUT), format="pdf", sys_inputs={"sheet": sheet}, pdf_standards=["ua-1"])
    return bytes(made)


def sheet_of(patient: Patient, *, at: datetime, blank: bool) -> dict[str, Any]:
    """Everything that stands on the page, as plain data."""
    unit = Unit.objects.current()
    day = at.astimezone(zone_of(patient))
    return {
        "title": _("Treatment flow sheet"),
        "language": (get_language() or "en").split("-")[0],
        "patient": "" if blank else f"{patient.name} · {patient.hospital_number}",
        "unit": {
            "name": unit.name if unit else "",
            "emergency": unit.emergency_number if unit else "",
            "on_call": unit.on_call_number if unit else "",
        },
        "prescription": _blank_lines() if blank else _lines(patient, at),
        "checks": _checks(patient),
        "measured": _headings({name: each.field for name, each in MEASURED.items()}),
        "plan": _plan(),
        "sites": [""] * BLANK_SITES if blank else _sites(patient, day.date()),
        "needle_columns": [_("Site"), *_headings(SITE)],
        "reading_columns": [_("Time"), *_headings(READING)],
        "reading_rows": READING_ROWS,
        "words": _words(),
        "no_alarm": _("This is a record, not an alarm: nobody watches it while you treat."),
        "made": _("Printed on {day}. The prescription may have changed since: ask the unit when in doubt.").format(
            day=f"{day:%Y-%m-%d}"
        ),
        "cards": wall_sheet_of(patient, at=at),
        "afterwards": _("Afterwards: enter this sheet in the app under “From paper”, or hand it to the unit."),
    }


def _checks(patient: Patient) -> list[dict[str, str]]:
    """The unit's checks before the treatment and at the access, with their limits."""
    catheter = patient.accesses.in_use().filter(kind=AccessKind.CATHETER).exists()
    for_whom = {checklist.EVERYBODY, checklist.CATHETER if catheter else checklist.NEEDLES}
    items = Texts(patient).standing(TextPlace(TextKind.CHECKLIST)).content["items"]
    wanted = [item for item in items if item["for_whom"] in for_whom and item["part"] != CheckPart.AFTER]
    return [{"name": item["name"], "limit": _limit(item), "unit": item["unit"]} for item in wanted]


def _limit(item: dict[str, Any]) -> str:
    low, high, unit = item["limit_low"], item["limit_high"], item["unit"]
    if low is None and high is None:
        return ""
    if low is None:
        return _("at most {high} {unit}").format(high=plain(high), unit=unit)
    if high is None:
        return _("at least {low} {unit}").format(low=plain(low), unit=unit)
    return _("{low} to {high} {unit}").format(low=plain(low), high=plain(high), unit=unit)


def _lines(patient: Patient, at: datetime) -> list[dict[str, str]]:
    prescription = prescription_in_force(patient, at)
    if prescription is None:
        return _blank_lines()
    lines = prescription_lines.all_lines(prescription)
    shown = [{"label": str(line.label), "text": f"{line.number} {line.unit}".strip()} for line in lines]
    note = Truncator(" ".join(prescription.note.split())).chars(MOST_OF_A_NOTE)
    return [*shown, *([{"label": _("Note"), "text": note}] if note else [])]


def _blank_lines() -> list[dict[str, str]]:
    return [{"label": each.heading, "text": ""} for each in sorted(ORDERED.values(), key=_place) if each.on_paper]


def _place(each: Ordered) -> float:
    """What is set before each treatment comes first."""
    return math.inf if each.main is None else each.main


def _sites(patient: Patient, day: date) -> list[str]:
    """The sites that do not rest by name; two empty lines where there are none."""
    access = patient.accesses.in_use().first()
    free = access.free_sites(day) if access else []
    return [site.name for site in free][:4] or [""] * BLANK_SITES


def _headings(numbers: Mapping[str, Field]) -> list[str]:
    """Over the columns, or before the lines, of the numbers that stand on paper."""
    return [column.field.heading for column in columns(numbers, on_paper(numbers))]


def _plan() -> list[str]:
    """What is planned and read off the machine, and what is ringed at the end."""
    return [*_headings(FLUID), _("Dialyser: clear / few / half / clotted"), _("Disinfected: yes / no")]


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
    }
