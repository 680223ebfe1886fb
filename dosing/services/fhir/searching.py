"""What can be asked of each kind of resource, by the rules of search in FHIR R4 (https://hl7.org/fhir/R4/search.html).

Each parameter is declared once: the search, its refusals and the CapabilityStatement read the declarations. What is
not declared is refused by name, because a search that leaves out what it does not know answers another question.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.utils.dateparse import parse_date, parse_datetime

from dosing.services.fhir.parts import Json

KINDS = ("Patient", "Device", "Procedure", "Observation", "MedicationStatement")
_PREFIXED = re.compile(r"[a-z]{2}[0-9]")
PREFIXES = ("eq", "ne", "gt", "lt", "ge", "le", "sa", "eb")
Span = tuple[datetime, datetime]
"""From the first moment of a time, as far as it is told, to the first after it."""


class SearchRefused(ValueError):
    """What was asked cannot be answered; the words say what and why."""


@dataclass(frozen=True, slots=True)
class SearchParameter:
    """kind: its type in FHIR; says: for the CapabilityStatement; fits: whether a resource has one of the values asked;
    None where something else answers it."""

    kind: str
    says: str
    fits: Callable[[Json, str], bool] | None = None


def _tokens(codings: Iterator[Json], asked: str) -> bool:
    """Whether a coding is the one asked for: code, system|code, system| or |code."""
    system, bar, code = asked.rpartition("|")
    for each in codings:
        of_system = not bar or each.get("system", "") == system
        if of_system and (not code or each.get("code") == code):
            return True
    return False


def _codings(*concepts: Any) -> Iterator[Json]:
    for concept in concepts:
        yield from concept.get("coding", [])


def _code(resource: Json, asked: str) -> bool:
    concept = resource.get("medicationCodeableConcept") or resource.get("code", {})
    return _tokens(_codings(concept), asked)


def _code_or_part(resource: Json, asked: str) -> bool:
    parts = (each["code"] for each in resource.get("component", []))
    return _code(resource, asked) or _tokens(_codings(*parts), asked)


def _category(resource: Json, asked: str) -> bool:
    return _tokens(_codings(*resource.get("category", [])), asked)


def _status(resource: Json, asked: str) -> bool:
    return bool(resource.get("status") == asked)


def _id(resource: Json, asked: str) -> bool:
    return bool(resource["id"] == asked)


def _identifier(resource: Json, asked: str) -> bool:
    known = ({"system": each["system"], "code": each["value"]} for each in resource["identifier"])
    return _tokens(known, asked)


def _name(resource: Json, asked: str) -> bool:
    """R4: some part of the name begins with it, whatever the case."""
    whole = resource["name"][0]["text"].casefold()
    return any(part.startswith(asked.casefold()) for part in (whole, *whole.split()))


def _born(resource: Json, asked: str) -> bool:
    return _in_time(span_of(resource["birthDate"]), asked)


def _when(resource: Json, asked: str) -> bool:
    """When it was true of the patient: a moment, or a time that may still go on."""
    if at := resource.get("effectiveDateTime"):
        return _in_time(span_of(at), asked)
    period = resource.get("performedPeriod") or resource["effectivePeriod"]
    until = span_of(period["end"])[1] if "end" in period else datetime.max.replace(tzinfo=UTC)
    return _in_time((span_of(period["start"])[0], until), asked)


def _changed(resource: Json, asked: str) -> bool:
    return _in_time(span_of(resource["meta"]["lastUpdated"]), asked)


def span_of(text: str) -> Span:
    """A time as FHIR writes it, as far as it is told: 2026, 2026-03, 2026-03-02 or with time and zone.

    Days without a zone are taken in UTC. Raises SearchRefused for anything else.
    """
    found = _moment_span(text) if "T" in text else _day_span(text)
    if found is None:
        raise SearchRefused(
            f"“{text[:40]}” is no time; write one such as 2026, 2026-03, 2026-03-02 or 2026-03-02T21:30:00Z"
        )
    return found


def _moment_span(text: str) -> Span | None:
    try:
        at = parse_datetime(text)
    except ValueError:
        return None
    if at is None or at.tzinfo is None:
        return None
    return at, at + (timedelta(microseconds=1) if at.microsecond else timedelta(seconds=1))


def _day_span(text: str) -> Span | None:
    whole = text + "-01-01"[len(text) - 4 :] if len(text) in (4, 7) else text
    try:
        day = parse_date(whole) if len(whole) == 10 else None
        if day is None:
            return None
        return _midnight(day), _midnight(_after(day, len(text)))
    except (ValueError, OverflowError):
        return None


def _after(day: date, told: int) -> date:
    if told == 10:
        return day + timedelta(days=1)
    return date(day.year + (told == 4 or day.month == 12), 1 if told == 4 else day.month % 12 + 1, 1)


def _midnight(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=UTC)


_COMPARED: dict[str, Callable[[Span, Span], bool]] = {
    "eq": lambda own, asked: asked[0] <= own[0] and own[1] <= asked[1],
    "ne": lambda own, asked: not (asked[0] <= own[0] and own[1] <= asked[1]),
    "gt": lambda own, asked: own[1] > asked[1],
    "lt": lambda own, asked: own[0] < asked[0],
    "ge": lambda own, asked: own[1] > asked[0],
    "le": lambda own, asked: own[0] < asked[1],
    "sa": lambda own, asked: own[0] >= asked[1],
    "eb": lambda own, asked: own[1] <= asked[0],
}


def _in_time(own: Span, asked: str) -> bool:
    prefix, text = (asked[:2], asked[2:]) if _PREFIXED.match(asked) else ("eq", asked)
    if prefix not in _COMPARED:
        raise SearchRefused(f"“{prefix}” is no way to compare times here; known: {', '.join(PREFIXES)}")
    return _COMPARED[prefix](own, span_of(text))


_WHOSE = SearchParameter("reference", "Whose, by the id of a Patient; one of patient and subject is needed.")
_ID = SearchParameter("token", "The id of a resource.", _id)
_DATE = SearchParameter("date", "When it was, with a prefix such as ge; without one, within.", _when)
_UPDATED = SearchParameter("date", "When this row was last written.", _changed)
_STATUS = SearchParameter("token", "Its status.", _status)
_CODE = SearchParameter("token", "Its code, alone or as system|code.", _code)

SEARCHES: dict[str, dict[str, SearchParameter]] = {
    "Patient": {
        "_id": _ID,
        "identifier": SearchParameter("token", "The hospital's number, alone or as system|number.", _identifier),
        "name": SearchParameter("string", "What a part of the name begins with.", _name),
        "birthdate": SearchParameter("date", "The day of birth.", _born),
    },
    "Device": {"_id": _ID, "patient": _WHOSE},
    "Procedure": {
        "_id": _ID, "_lastUpdated": _UPDATED, "patient": _WHOSE, "subject": _WHOSE, "date": _DATE, "code": _CODE,
        "status": _STATUS,
    },
    "Observation": {
        "_id": _ID, "_lastUpdated": _UPDATED, "patient": _WHOSE, "subject": _WHOSE, "date": _DATE, "code": _CODE,
        "combo-code": SearchParameter("token", "Its code or that of one of its components.", _code_or_part),
        "category": SearchParameter("token", "vital-signs, laboratory or procedure.", _category),
        "status": _STATUS,
    },
    "MedicationStatement": {
        "_id": _ID, "_lastUpdated": _UPDATED, "patient": _WHOSE, "subject": _WHOSE, "effective": _DATE, "code": _CODE,
        "status": _STATUS,
    },
}  # fmt: skip
PAGING = ("_count", "_offset", "_format")
"""What says how to answer, not what to look for."""


@dataclass(frozen=True, slots=True)
class Wish:
    """One condition: several of a name must all hold; within one, any of the values that commas part."""

    parameter: SearchParameter
    values: tuple[str, ...]

    def fits(self, resource: Json) -> bool:
        fits = self.parameter.fits
        return fits is None or any(fits(resource, value) for value in self.values)


def wishes(kind: str, given: Sequence[tuple[str, str]]) -> list[Wish]:
    """The conditions of a search. given: name and value as they stand in the address, without how to answer.

    Raises SearchRefused, naming the parameter, for what is not declared and for values that mean nothing.
    """
    known, found = SEARCHES[kind], []
    for name, value in given:
        if name not in known:
            raise SearchRefused(f"{kind} cannot be searched by “{name[:40]}”; known: {', '.join((*known, *PAGING))}.")
        if not value:
            raise SearchRefused(f"{name} is empty; leave it out or say what is meant.")
        wish = Wish(known[name], tuple(value.split(",")))
        _try(name, wish)
        found.append(wish)
    return found


def _try(name: str, wish: Wish) -> None:
    """A time that is none is told before anything is read."""
    if wish.parameter.kind == "date":
        try:
            for value in wish.values:
                _in_time(span_of("2026"), value)
        except SearchRefused as problem:
            raise SearchRefused(f"{name}: {problem}.") from None
