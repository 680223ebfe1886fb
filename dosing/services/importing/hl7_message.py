"""HL7 v2 ORU^R01: results in OBX segments, the patient in PID, the time of drawing in OBR-7 or OBX-14.

Parsed by the `hl7` package, which reads leniently: what must hold is checked here.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta, timezone
from typing import Any
from zoneinfo import ZoneInfo

import hl7
from django.utils.translation import gettext

from dosing.services.importing.line_words import Said, said
from dosing.services.importing.rows import ResultRow, Unreadable, fault_of_value, figure_of, limited, text_of

ENCODINGS = {
    "": "utf-8-sig",
    "UNICODE UTF-8": "utf-8-sig",
    "ASCII": "ascii",
    "8859/1": "latin-1",
    "8859/15": "iso8859-15",
}
STATES = {"F": "final", "": "final", "C": "corrected", "P": "preliminary", "X": "withdrawn", "D": "withdrawn"}
_TIME = re.compile(r"(\d{4})(\d\d)(\d\d)(?:(\d\d)(\d\d)(?:(\d\d)(?:\.\d{1,4})?)?)?([+-]\d{4})?")


def read(body: bytes, zone: ZoneInfo) -> list[ResultRow]:
    """The results of one message or of several in a row. Raises Unreadable."""
    text = text_of(body, _encoding(body)).replace("\x0b", "").replace("\x1c", "")
    text = re.sub(r"\r\n?|\n", "\r", text).strip("\r ")
    if not text.startswith("MSH"):
        raise Unreadable(gettext("It does not begin with an MSH segment."))
    messages = re.split(r"\r+(?=MSH)", text)
    return limited([row for index, each in enumerate(messages) for row in _rows(each, index, zone)])


def _encoding(body: bytes) -> str:
    fields = re.split(rb"[\r\n]", body.lstrip(b"\x0b\xef\xbb\xbf"), maxsplit=1)[0].split(b"|")
    name = fields[17].split(b"~")[0].decode("ascii", "replace").strip() if len(fields) > 17 else ""
    if name not in ENCODINGS:
        parts = {"given": name[:40], "known": ", ".join(filter(None, ENCODINGS))}
        raise Unreadable(gettext("The character set “%(given)s” (MSH-18) is none of %(known)s.") % parts)
    return ENCODINGS[name]


def _rows(text: str, index: int, zone: ZoneInfo) -> Iterator[ResultRow]:
    try:
        message = hl7.parse(text)
    except Exception as problem:  # the package raises whatever it stumbles over
        parts = {"message": index + 1, "why": type(problem).__name__}
        raise Unreadable(gettext("Message %(message)s is not HL7: %(why)s.") % parts) from problem
    head = _Segment(message[0], message)
    if (head.part(9, 1), head.part(9, 2)) != ("ORU", "R01"):
        parts = {"message": index + 1, "given": head.text(9)[:20]}
        raise Unreadable(gettext("Message %(message)s is a “%(given)s” (MSH-9), not an ORU^R01.") % parts)
    version = _digits(head.text(7))
    patient, order, count = None, None, 0
    base = above = [str(message[0])]
    specimens, comments = _specimens(message), _comments(message)
    for segment in message:
        kind = str(segment[0])
        here = _Segment(segment, message)
        if kind == "PID":
            patient, order = here, None
            base = above = [str(message[0]), str(segment)]
        elif kind == "OBR":
            order = here
            above = [*base, str(segment)]
        elif kind == "OBX":
            count += 1
            place = said("obx", message=index + 1, obx=count)
            raw = {"head": above, "line": str(segment)}
            made = _row(here, patient, order, place, specimens.get(id(segment), ""), version, zone, raw)
            yield replace(made, comment=" ".join(comments.get(id(segment), [])))


class _Segment:
    """Fields and components of a segment as text; what is not there is ""."""

    def __init__(self, segment: Any, message: Any) -> None:
        self.segment, self.message = segment, message
        self.component, self.repeat = message.separators[3], message.separators[2]
        # The package orders them segment, field, repetition, component, subcomponent.

    def text(self, field: int) -> str:
        try:
            return str(self.segment[field]).strip()
        except IndexError:
            return ""

    def part(self, field: int, component: int, text: str | None = None) -> str:
        first = self.text(field).split(self.repeat)[0] if text is None else text
        parts = first.split(self.component)
        found = parts[component - 1].strip() if len(parts) >= component else ""
        return str(self.message.unescape(found)) if "\\" in found else found

    def repeats(self, field: int, component: int) -> tuple[str, ...]:
        each = (self.part(field, component, text) for text in self.text(field).split(self.repeat))
        return tuple(filter(None, each))


def _specimens(message: Any) -> dict[int, str]:
    """The specimen of each OBX: from the SPM of its order, which comes after, else the filler's order number."""
    found: dict[int, str] = {}
    group: list[int] = []
    name = ""
    for segment in message:
        kind = str(segment[0])
        here = _Segment(segment, message)
        if kind in ("OBR", "PID"):
            found |= dict.fromkeys(group, name)
            group, name = [], here.part(3, 1) or here.part(2, 1) if kind == "OBR" else ""
        elif kind == "SPM":
            name = here.part(2, 1) or here.part(2, 2) or name
        elif kind == "OBX":
            group.append(id(segment))
    return found | dict.fromkeys(group, name)


def _comments(message: Any) -> dict[int, list[str]]:
    """What NTE segments say: behind an OBX of that result, behind an OBR of every result of the order."""
    found: dict[int, list[str]] = {}
    order: list[str] = []
    below: list[str] | None = None
    for segment in message:
        kind = str(segment[0])
        if kind in ("PID", "OBR"):
            order = []
            below = order if kind == "OBR" else None
        elif kind == "OBX":
            below = found.setdefault(id(segment), list(order))
        elif kind == "NTE" and below is not None:
            here = _Segment(segment, message)
            below += [text for text in here.repeats(3, 1) if text]
    return found


def _row(
    obx: _Segment,
    patient: _Segment | None,
    order: _Segment | None,
    place: Said,
    specimen: str,
    version: int,
    zone: ZoneInfo,
    raw: dict[str, Any],
) -> ResultRow:
    loinc = next((obx.part(3, at) for at in (1, 4) if obx.part(3, at + 2) == "LN"), "")
    value, bound, number, fault = _value(obx)
    drawn = obx.text(14) or (order.text(7) if order else "")
    drawn_at = moment_of(drawn, zone)
    born = patient.text(7) if patient else ""
    if not fault and drawn and drawn_at is None:
        fault = said("hl7_time", given=drawn[:30])
    return ResultRow(
        place=place,
        numbers=patient.repeats(3, 1) if patient else (),
        birth_date=_day(born),
        code=loinc or obx.part(3, 1),
        own_code=not loinc,
        name=obx.part(3, 2),
        value=value,
        number=number,
        bound=bound,
        unit=obx.part(6, 1),
        drawn_at=drawn_at,
        reference=obx.text(7),
        flag=obx.part(8, 1),
        specimen=specimen,
        version=version,
        status=STATES.get(obx.text(11), obx.text(11)),
        fault=fault,
        raw=raw,
    )


def _value(obx: _Segment) -> tuple[str, str, float | None, Said | None]:
    """What was sent, its bound and the number in it, and what is wrong with it. SN ">^2000" is a bound, not 2000."""
    kind = obx.text(2)
    if kind == "SN":
        comparator, first, joint = obx.part(5, 1), obx.part(5, 2), obx.part(5, 3)
        sent = f"{comparator}{first}{joint}{obx.part(5, 4)}"
        bound, number = figure_of(sent.removeprefix("=")) if not joint else ("", None)
        return sent, bound, number, None if number is not None else fault_of_value(sent)
    sent = obx.part(5, 1)
    plain = kind in ("NM", "ST", "") and obx.repeat not in obx.text(5)
    bound, number = figure_of(sent) if plain else ("", None)
    return sent, bound, number, None if number is not None else fault_of_value(sent)


def moment_of(text: str, zone: ZoneInfo) -> datetime | None:
    """An HL7 time to the minute at least; without an offset it is the unit's."""
    found = _TIME.fullmatch(text)
    if not found or found[4] is None:
        return None
    try:
        moment = datetime(*(int(part) for part in found.groups(default="0")[:6]))  # type: ignore[arg-type,misc]  # noqa: DTZ001
    except ValueError:
        return None
    return moment.replace(tzinfo=_offset(found[7]) if found[7] else zone)


def _offset(text: str) -> timezone:
    sign = -1 if text[0] == "-" else 1
    return timezone(sign * timedelta(hours=min(int(text[1:3]), 14), minutes=int(text[3:5]) % 60))


def _day(text: str) -> date | None:
    found = _TIME.fullmatch(text)
    try:
        return date(int(found[1]), int(found[2]), int(found[3])) if found else None
    except ValueError:
        return None


def _digits(text: str) -> int:
    found = _TIME.fullmatch(text)
    return int("".join(found.groups(default="00")[:6])) if found else 0
