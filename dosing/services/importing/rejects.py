"""The lines that were not taken, as a file of the same form, each with its reason: for whoever has to mend them."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Sequence
from itertools import groupby
from typing import Any

from django.utils.translation import gettext

from dosing.services.fhir.parts import outcome
from dosing.services.importing.judging import REJECTED
from dosing.services.importing.line_words import in_words
from dosing.services.importing.taking import LEAVE
from sessions.facts.choices import MessageFormat
from sessions.models import LabLine, LabMessage
from sessions.services.takeout import safe_cell

REASON = "reason"
CONTENT_TYPES = {
    MessageFormat.CSV: ("text/csv; charset=utf-8", "csv"),
    MessageFormat.HL7: ("x-application/hl7-v2+er7; charset=utf-8", "hl7"),
    MessageFormat.FHIR: ("application/fhir+json", "json"),
}


def not_taken(message: LabMessage) -> list[LabLine]:
    """The lines that cannot be taken, and those that somebody left out."""
    return [line for line in message.lines.all() if line.verdict == REJECTED or line.answer == LEAVE]


def reason_of(line: LabLine) -> str:
    """Why a line was not taken, or what is asked about it, in the language of the reader."""
    reason = in_words(line.reason)
    return gettext("Left out. %(reason)s") % {"reason": reason} if line.answer == LEAVE else reason


def rejects_file(message: LabMessage) -> bytes:
    """The file as bytes in UTF-8."""
    return WRITERS[MessageFormat(message.form)](not_taken(message))


def _csv(lines: Sequence[LabLine]) -> bytes:
    target = io.StringIO(newline="")
    writer = csv.writer(target, lineterminator="\r\n")
    for at, line in enumerate(lines):
        raw = line.row["raw"]
        if at == 0:
            writer.writerow([safe_cell(name) for name in (*raw["header"], REASON)])
        padding = [""] * max(0, len(raw["header"]) - len(raw["cells"]))
        writer.writerow([safe_cell(cell) for cell in (*raw["cells"], *padding, reason_of(line))])
    return target.getvalue().encode()


def _hl7(lines: Sequence[LabLine]) -> bytes:
    """The messages with the rejected OBX segments only, each followed by an NTE that says why."""
    segments: list[str] = []
    for head, group in groupby(lines, key=lambda line: line.row["raw"]["head"]):
        segments += head
        for line in group:
            segments += [line.row["raw"]["line"], f"NTE|1||{_escaped(reason_of(line))}"]
    return ("\r".join(segments) + "\r" if segments else "").encode()


def _escaped(text: str) -> str:
    for mark, code in (("\\", "\\E\\"), ("|", "\\F\\"), ("^", "\\S\\"), ("&", "\\T\\"), ("~", "\\R\\")):
        text = text.replace(mark, code)
    return text.replace("\r", " ").replace("\n", " ")


def _fhir(lines: Sequence[LabLine]) -> bytes:
    """A collection: each patient once, each observation, and an OperationOutcome that says why."""
    entries: list[dict[str, Any]] = []
    people: dict[str, Any] = {}
    for line in lines:
        raw = line.row["raw"]
        if raw.get("patient"):
            people[raw["patient_url"]] = raw["patient"]
        entries += [{"resource": raw["resource"]}, {"resource": outcome("processing", reason_of(line))}]
    bundle = {
        "resourceType": "Bundle",
        "type": "collection",
        "entry": [{"fullUrl": url, "resource": each} for url, each in people.items()] + entries,
    }
    return json.dumps(bundle, ensure_ascii=False, indent=1).encode()


WRITERS: dict[MessageFormat, Callable[[Sequence[LabLine]], bytes]] = {
    MessageFormat.CSV: _csv,
    MessageFormat.HL7: _hl7,
    MessageFormat.FHIR: _fhir,
}
