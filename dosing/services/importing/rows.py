"""What a parser makes of one line of a laboratory's message, whatever form it had."""

from __future__ import annotations

import re
from dataclasses import asdict, dataclass, field
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.translation import gettext

from dosing.services.importing.line_words import Said, said
from sessions.facts.choices import MessageFormat

MOST_BYTES = 2_000_000
MOST_ROWS = 5_000
CONFIRMED, CORRECTED = "final", "corrected"
_NUMBER = re.compile(r"[+-]?[0-9]{1,9}([.,][0-9]{1,9})?")


class Unreadable(Exception):
    """The message as a whole cannot be read; the words say why."""


@dataclass(frozen=True, slots=True)
class ResultRow:
    """One result as it was sent. Times are aware; number is None where `fault` says why. With a bound, such as <, it
    is what the value lies beyond.

    place: where in the message; numbers: the patient's identifiers; code: LOINC, or the laboratory's own with
    own_code; timing: pre, post, apart or "" where nothing is said; version: later is larger, 0 unknown;
    status: final, corrected, or the sender's word for what is not to be taken; raw: the line itself.
    """

    place: Said
    numbers: tuple[str, ...] = ()
    birth_date: date | None = None
    code: str = ""
    own_code: bool = False
    name: str = ""
    value: str = ""
    number: float | None = None
    bound: str = ""
    unit: str = ""
    drawn_at: datetime | None = None
    timing: str = ""
    reference: str = ""
    flag: str = ""
    specimen: str = ""
    version: int = 0
    status: str = CONFIRMED
    comment: str = ""
    fault: Said | None = None
    raw: dict[str, Any] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        data = asdict(self)
        data["birth_date"] = self.birth_date.isoformat() if self.birth_date else None
        data["drawn_at"] = self.drawn_at.isoformat() if self.drawn_at else None
        data["numbers"] = list(self.numbers)
        return data

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> ResultRow:
        born, drawn, fault = data["birth_date"], data["drawn_at"], data["fault"]
        dates = {
            "birth_date": date.fromisoformat(born) if born else None,
            "drawn_at": datetime.fromisoformat(drawn) if drawn else None,
            "numbers": tuple(data["numbers"]),
            "place": Said.from_json(data["place"]),
            "fault": Said.from_json(fault) if fault else None,
        }
        return cls(**(data | dates))


def number_of(text: str, *, decimal_comma: bool = False, thousands: str = "") -> float | None:
    """A plain decimal number, or None: "<5", ">2000", "1e3" and "5 420" are none. thousands: the sign that a
    laboratory puts between them; where it stands it has to part threes, else the number is none.

    >>> [number_of(each, decimal_comma=True, thousands=".") for each in ("1.234,5", "612,5", "1.23", "12.34,5")]
    [1234.5, 612.5, None, None]
    """
    stripped = text.strip()
    if thousands and thousands in stripped:
        if not re.fullmatch(rf"[+-]?\d{{1,3}}(?:{re.escape(thousands)}\d{{3}})+(?:[.,]\d+)?", stripped):
            return None
        stripped = stripped.replace(thousands, "")
    if not _NUMBER.fullmatch(stripped) or ("." if decimal_comma else ",") in stripped:
        return None
    return float(stripped.replace(",", "."))


def figure_of(text: str, *, decimal_comma: bool = False, thousands: str = "") -> tuple[str, float | None]:
    """The bound and the number of a value as it is written; the number None where it is none.

    >>> figure_of("> 1650"), figure_of("<=0.3"), figure_of("5.1"), figure_of(">high")
    (('>', 1650.0), ('<=', 0.3), ('', 5.1), ('>', None))
    """
    given = text.strip().replace("≤", "<=").replace("≥", ">=")
    bound = next((each for each in ("<=", ">=", "<", ">") if given.startswith(each)), "")
    return bound, number_of(given.removeprefix(bound), decimal_comma=decimal_comma, thousands=thousands)


def fault_of_value(text: str) -> Said:
    if not text.strip():
        return said("no_value")
    return said("no_number", given=text.strip()[:40])


def day_of(text: str, written: str) -> date | None:
    """A date written in the given way (strptime), or None."""
    try:
        return datetime.strptime(text.strip(), written).date()  # noqa: DTZ007  (a date has no zone)
    except ValueError:
        return None


def moment_of(text: str, written: str, zone: ZoneInfo) -> datetime | None:
    """A time written in the given way; without a zone of its own it is the unit's."""
    try:
        found = datetime.strptime(text.strip(), written)  # noqa: DTZ007  (the zone is set below)
    except ValueError:
        return None
    return found if found.tzinfo else found.replace(tzinfo=zone)


def limited(rows: list[ResultRow]) -> list[ResultRow]:
    """The rows; Unreadable when there are none or too many."""
    if not rows:
        raise Unreadable(gettext("There is no result in it."))
    if len(rows) > MOST_ROWS:
        parts = {"most": MOST_ROWS, "given": len(rows)}
        raise Unreadable(gettext("At most %(most)s results can be taken at once; there are %(given)s.") % parts)
    return rows


def text_of(body: bytes, encoding: str = "utf-8-sig") -> str:
    """The bytes as text. Raises Unreadable."""
    if len(body) > MOST_BYTES:
        parts = {"most": MOST_BYTES // 1_000_000, "given": len(body)}
        raise Unreadable(gettext("At most %(most)s MB can be read at once; it has %(given)s bytes.") % parts)
    try:
        text = body.decode(encoding)
    except UnicodeDecodeError as problem:
        where = {"encoding": encoding, "place": problem.start}
        raise Unreadable(
            gettext("It is not written in %(encoding)s: byte %(place)s is not a character.") % where
        ) from problem
    if "\x00" in text:
        raise Unreadable(gettext("It holds zero bytes: it is not a text."))
    return text


def form_of(body: bytes) -> str:
    """Which form a file has, by how it begins."""
    begin = body.lstrip(b"\xef\xbb\xbf\x0b \t\r\n")[:3]
    if begin == b"MSH":
        return MessageFormat.HL7
    return MessageFormat.FHIR if begin[:1] in (b"{", b"[") else MessageFormat.CSV
