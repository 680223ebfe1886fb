"""A month's review as PDF for the hospital's record: tagged (PDF/UA-1), with charts, set by typst.

Texts of people reach the page as data, never as part of its source.
"""

from __future__ import annotations

import json
from datetime import date, datetime
from typing import Any

import typst
from django.conf import settings
from django.utils.timezone import localtime
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from dosing.models import Job, MonthlyReview, PatientMonth
from dosing.services.decision.half_year import read_half_year
from dosing.services.decision.tiles import Screen, Tile
from dosing.services.month.beside import beside
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.figures import value_shown
from dosing.services.month.ranges import range_words
from dosing.services.month.review_sheet import NumberOverMonths, ReviewSheet, review_sheet
from dosing.services.month.svg import ChartLine, line_chart
from dosing.services.numbers.standing import DOUBT_MARK
from homedialysis.accounts.models import Unit
from homedialysis.accounts.services.dates import told_day
from homedialysis.accounts.services.language import language_here
from sessions.facts.local_day import month as month_words
from sessions.facts.local_day import plain_day, plain_moment
from sessions.models import Patient, Prescription
from sessions.services.cautions import cautions_of
from sessions.services.prescription_lines import all_lines
from sessions.services.prescription_read import read_words

LAYOUT = settings.BASE_DIR / "templates" / "reports" / "review.typ"
NOT_SUSPECT = b"/Suspects false"
"""What typst writes beside /Marked. It says what holds without it (ISO 32000-1, table 321), and poppler calls it a
wrong type; blanks in its place leave every offset of the file as it is."""
PLACES = {1: _("▲ above"), -1: _("▼ below"), 0: ""}
AIMS = {1: "△", -1: "▽", 0: ""}
WORDS: dict[str, Any] = {
    "caution": _("A record for people who judge it. It gives no advice, and it is no alarm."),
    "page": _("Page {page} of {pages}."),
    "judgement": _("Judgement"),
    "for_patient": _("Written for the patient"),
    "nothing_written": _("Nothing written yet."),
    "plan": _("Plan"),
    "nothing_planned": _("Nothing planned."),
    "addenda": _("Addenda"),
    "changes": _("Changed since the last signed review"),
    "blocks": _("Half a year: what goes on being wrong, what was changed and what came of it"),
    "nothing_changed": _("Nothing to tell."),
    "prescription": _("Prescription in force"),
    "no_prescription": _("None."),
    "what": _("What"),
    "ordered": _("Ordered"),
    "entered": _("Entered"),
    "beside": _("Access, hospital and alerts of this month, as entered by the day of printing"),
    "later": _("Came after the signature"),
    "six_months": _("Six months, the newest first"),
    "rests_on": _("What this month rests on; a question mark above stands for a doubt"),
    "unknown": _("What is not known of this month, and why"),
    "sources": _("Who says the ranges"),
    "number": _("Number"),
    "range": _("Range"),
    "charts": _("Charts"),
    "aims": _(
        "▽ and △: within the range, below or above what is aimed at. In brackets: outside, and the interval of the "
        "number reaches into the range."
    ),
    "marks": _(
        "Dashed lines are the ends of the range. A first series has round marks, a second one square marks and a "
        "dotted line."
    ),
}
"""What the layout says by itself; it puts the numbers in place of {page} and {pages}."""


def review_pdf(person: Patient, month: date, *, at: datetime) -> bytes:
    """The review of a month as it stands, signed or not (it says which), as a tagged PDF."""
    sheet = json.dumps(sheet_of(person, month, at=at), ensure_ascii=False)
    made = bytes(typst.compile(str(LAYOUT), format="pdf", sys_inputs={"sheet": sheet}, pdf_standards=["ua-1"]))
    return made.replace(NOT_SUSPECT, b" " * len(NOT_SUSPECT), 1)


def sheet_of(person: Patient, month: date, *, at: datetime) -> dict[str, Any]:
    """Everything that stands on the page, as plain data."""
    sheet, unit = review_sheet(person, month, at=at), Unit.objects.current()
    review, row = sheet.review, sheet.row
    return {
        "title": gettext("Review of %(month)s") % {"month": month_words(month)},
        "unit": unit.name if unit else "",
        "patient": gettext("%(person)s, %(number)s, born %(day)s")
        % {"person": person.name, "number": person.hospital_number, "day": plain_day(person.birth_date)},
        "state": _state(review),
        "made": gettext("Printed on %(at)s.") % {"at": plain_moment(at)},
        "language": language_here().split("-")[0],
        "says": {name: str(words) for name, words in WORDS.items()},
        "words": review.words if review else "",
        "for_patient": review.for_patient if review else "",
        "plan": [_plan(item) for item in review.plan.select_related("owner")] if review else [],
        "addenda": [f"{plain_day(localtime(each.at))}, {each.by}: {each.words}" for each in sheet.addenda],
        "cautions": [str(line) for line in cautions_of(person)],
        "changes": sheet.changes,
        "blocks": _blocks(sheet, at),
        "later": sheet.later,
        "prescription": _prescription(sheet.prescription),
        "orders": sheet.orders,
        "rests_on": [*([" ".join(sheet.in_treatment)] if sheet.in_treatment else []), *sheet.doubts],
        "unknown": sheet.unknown,
        "sources": sheet.range_sources,
        "beside": [[each.label, each.words] for each in beside(person, month)],
        "months": [told_day(each, "M Y") for each in sheet.columns],
        "numbers": [_line(each) for each in sheet.lines],
        "charts": _charts(sheet),
        "science": gettext("Science version %(version)s.") % {"version": row.science_version if row else "–"},
    }


def _state(review: MonthlyReview | None) -> str:
    if review is None or review.signed_at is None:
        return gettext("Not signed: a draft.")
    return gettext("Signed by %(person)s on %(at)s.") % {
        "person": review.signed_by,
        "at": plain_moment(review.signed_at),
    }


def _plan(item: Any) -> str:
    parts = {"words": item.words, "owner": item.owner, "due": plain_day(item.due_on)}
    if not item.done_at:
        return gettext("%(words)s (%(owner)s, until %(due)s)") % parts
    parts |= {"done": plain_day(localtime(item.done_at)), "how": item.done_words}
    if not item.done_words:
        return gettext("%(words)s (%(owner)s, until %(due)s; done %(done)s)") % parts
    return gettext("%(words)s (%(owner)s, until %(due)s; done %(done)s %(how)s)") % parts


def _prescription(order: Prescription | None) -> list[list[str]]:
    if order is None:
        return []
    return [
        [
            gettext("Version"),
            gettext("%(version)s, signed by %(person)s on %(day)s")
            % {"version": order.version, "person": order.signed_by, "day": plain_day(localtime(order.signed_at))},
        ],
        *([line.label, f"{line.number} {line.unit}".strip()] for line in all_lines(order)),
        *([[gettext("Note"), order.note]] if order.note else []),
        *([gettext("Told to the patient"), words] for words in read_words(order)),
    ]


def _blocks(sheet: ReviewSheet, at: datetime) -> list[dict[str, Any]]:
    """Dose, fluid, access and bloods of half a year, as the screen of the decision says them."""
    tiles = Screen(sheet, read_half_year(sheet.patient, sheet.month, at=at)).tiles()
    return [{"title": tile.kind.title, "lines": _block_lines(tile)} for tile in tiles]


def _block_lines(tile: Tile) -> list[str]:
    changed = [each.line for each in tile.decided] or [gettext("Nothing was changed in this half year.")]
    taken = [f"{tile.taken} {'; '.join(tile.medicines)}"] if tile.medicines else []
    return [*tile.wrong, *tile.coming, *changed, *filter(None, [tile.came]), *tile.notes, *taken]


def _line(line: NumberOverMonths) -> list[str]:
    """Label, six months as text, and the range."""
    number = line.number
    marks = [f"({PLACES[cell.place]})" if cell.unsure else PLACES[cell.place] or AIMS[cell.aim] for cell in line.cells]
    doubts = [DOUBT_MARK if cell.because else "" for cell in line.cells]
    texts = [
        f"{cell.shown or '–'}{doubt} {mark}".strip()
        for cell, doubt, mark in zip(line.cells, doubts, marks, strict=True)
    ]
    unit = number.unit_shown
    return [f"{number.label}, {unit}" if unit else number.label, *texts, line.range]


def _charts(sheet: ReviewSheet) -> list[dict[str, str]]:
    charts, months, rows = [], sheet.months, sheet.rows
    schedule = sheet.row.schedule if sheet.row else ""
    for numbers in MONTH_NUMBERS.charts():
        lines = [ChartLine(each.label, [value_shown(rows.get(month), each) for month in months]) for each in numbers]
        if all(value is None for line in lines for value in line.values):
            continue
        first = numbers[0]
        usual = sheet.ranges.held_for(first.key, schedule)
        ends = (usual.low, usual.high) if usual else (None, None)
        low, high = (None if end is None else first.as_drawn(end) for end in ends)
        words = "; ".join(each.label for each in numbers)
        charts.append(
            {
                "caption": words,
                "alt": gettext("%(number)s, month by month; the numbers stand in the table. Range: %(range)s.")
                % {"number": words, "range": range_words(first, usual)},
                "svg": line_chart(
                    [told_day(month, "M") for month in months], lines, low=low, high=high, unit=first.unit_shown
                ),
            }
        )
    return charts


def keys(job: Job) -> list[str]:
    """The patients who were in the programme in the month of a batch."""
    month = date.fromisoformat(f"{job.params['month']}-01")
    there = PatientMonth.objects.filter(month=month).order_by("patient")
    return [str(pk) for pk in there.values_list("patient", flat=True)]


def part(job: Job, key: str) -> list[tuple[str, bytes]]:
    """One patient's review as a file of the batch."""
    person = Patient.objects.get(pk=key)
    month = date.fromisoformat(f"{job.params['month']}-01")
    return [(f"{person.hospital_number}-{month:%Y-%m}.pdf", review_pdf(person, month, at=job.asked_at))]
