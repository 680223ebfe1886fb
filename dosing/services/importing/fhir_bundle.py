"""A FHIR R4 Bundle of Observations, with the Patients they speak of.

Each resource is checked by `fhir.resources` (its R4B classes: the resources read here are the same in R4); that
accepts any word as a status, so the words are checked here.
"""

from __future__ import annotations

import json
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.translation import gettext
from fhir.resources.R4B.observation import Observation
from fhir.resources.R4B.patient import Patient
from pydantic import ValidationError

from dosing.services.importing.line_words import Said, said
from dosing.services.importing.rows import ResultRow, Unreadable, fault_of_value, limited, text_of
from sessions.facts.choices import BloodBound

STATES = {
    "final": "final",
    "amended": "corrected",
    "corrected": "corrected",
    "preliminary": "preliminary",
    "registered": "preliminary",
    "cancelled": "withdrawn",
    "entered-in-error": "withdrawn",
    "unknown": "unknown",
}
LOINC = "http://loinc.org"
UCUM = "http://unitsofmeasure.org"
Json = dict[str, Any]


def read(body: bytes, zone: ZoneInfo) -> list[ResultRow]:
    """The observations of a Bundle. Raises Unreadable."""
    try:
        bundle = json.loads(text_of(body), parse_constant=_refuse)
    except (ValueError, RecursionError) as problem:
        raise Unreadable(gettext("It is not JSON: %(why)s.") % {"why": problem}) from problem
    if not isinstance(bundle, dict) or bundle.get("resourceType") != "Bundle":
        raise Unreadable(gettext("It is not a Bundle: resourceType must be “Bundle”."))
    entries = bundle.get("entry")
    if not isinstance(entries, list):
        raise Unreadable(gettext("The Bundle has no list of entries."))
    people = _people(entries)
    found = [(at, each["resource"]) for at, each in enumerate(entries) if _is(each, "Observation")]
    return limited([_row(resource, said("entry", entry=at + 1), people, zone) for at, resource in found])


def _refuse(word: str) -> None:
    raise ValueError(f"{word} is not a number")


def _is(entry: Any, kind: str) -> bool:
    resource = entry.get("resource") if isinstance(entry, dict) else None
    return isinstance(resource, dict) and resource.get("resourceType") == kind


def _people(entries: list[Any]) -> dict[str, Json]:
    """The Bundle's patients by each name that a reference may use."""
    people: dict[str, Json] = {}
    for entry in entries:
        if not _is(entry, "Patient"):
            continue
        resource = entry["resource"]
        for name in (entry.get("fullUrl"), f"Patient/{resource.get('id')}"):
            if isinstance(name, str):
                people[name] = resource
    return people


def _row(resource: Json, place: Said, people: dict[str, Json], zone: ZoneInfo) -> ResultRow:
    raw: Json = {"resource": resource}
    try:
        seen = Observation.model_validate(resource)
    except ValidationError as problem:
        first = problem.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        return ResultRow(place, fault=said("no_observation", where=where, why=first["msg"]), raw=raw)
    reference = seen.subject.reference if seen.subject else None
    person = people.get(reference or "")
    if person:
        raw |= {"patient": person, "patient_url": reference}
    numbers, born, fault = _who(person)
    value, bound, number, value_fault = _value(seen)
    codings = _there(seen.code.coding) if seen.code else []
    coding = next((each for each in codings if each.system == LOINC), None)
    other = coding or next(iter(codings), None)
    drawn = seen.effectiveDateTime
    return ResultRow(
        place=place,
        numbers=numbers,
        birth_date=born,
        code=(other.code if other else "") or "",
        own_code=coding is None,
        name=((seen.code and seen.code.text) or (other.display if other else "")) or "",
        value=value,
        number=number,
        bound=bound,
        unit=_unit(seen),
        drawn_at=drawn if isinstance(drawn, datetime) and drawn.tzinfo else _with_zone(drawn, zone),
        reference=_reference(seen),
        flag=_flag(seen),
        specimen=_specimen(seen),
        version=_version(seen),
        status=STATES.get(str(seen.status), str(seen.status)[:40]),
        comment=" ".join(str(each.text) for each in _there(seen.note) if each.text),
        fault=fault or value_fault or (None if drawn else said("no_time_given")),
        raw=raw,
    )


def _there(listed: list[Any] | None) -> list[Any]:
    """The elements of a list that are there: the library lets null stand for one, and for the list."""
    return [each for each in listed or [] if each is not None]


def _with_zone(drawn: Any, zone: ZoneInfo) -> datetime | None:
    """A day alone says too little for a sample: its time before or after a treatment matters."""
    return drawn.replace(tzinfo=zone) if isinstance(drawn, datetime) else None


def _who(person: Json | None) -> tuple[tuple[str, ...], date | None, Said | None]:
    if person is None:
        return (), None, said("no_patient_there")
    try:
        seen = Patient.model_validate(person)
    except ValidationError as problem:
        return (), None, said("no_patient", why=problem.errors()[0]["msg"])
    numbers = tuple(str(each.value) for each in _there(seen.identifier) if each.value)
    born = seen.birthDate if type(seen.birthDate) is date else None
    return numbers, born, None


def _value(seen: Any) -> tuple[str, str, float | None, Said | None]:
    """What was sent, its bound and its number, and what is wrong with it."""
    quantity = seen.valueQuantity
    if quantity is None:
        sent = str(seen.valueString or "")
        return sent[:40], "", None, fault_of_value(sent)
    bound = str(quantity.comparator or "")
    sent = f"{bound}{quantity.value}"[:40]
    if quantity.value is None or bound not in ("", *BloodBound.values):
        return sent, "", None, fault_of_value(sent if quantity.value is not None else "")
    return sent, bound, float(quantity.value), None


def _unit(seen: Any) -> str:
    quantity = seen.valueQuantity
    if quantity is None:
        return ""
    return str((quantity.code if quantity.system == UCUM else None) or quantity.unit or "")


def _reference(seen: Any) -> str:
    ranges = _there(seen.referenceRange)
    if not ranges:
        return ""
    low, high = (getattr(ranges[0], end) for end in ("low", "high"))
    words = f"{low.value if low else ''}-{high.value if high else ''}"
    return str(ranges[0].text or ("" if words == "-" else words))[:60]


def _flag(seen: Any) -> str:
    codings = [coding for concept in _there(seen.interpretation) for coding in _there(concept.coding)]
    return str(codings[0].code or "")[:10] if codings else ""


def _specimen(seen: Any) -> str:
    if seen.specimen is None:
        return ""
    identifier = seen.specimen.identifier
    return str((identifier.value if identifier else None) or seen.specimen.reference or "")[:60]


def _version(seen: Any) -> int:
    given = str(seen.meta.versionId or "") if seen.meta else ""
    if given.isascii() and given.isdigit() and len(given) <= 18:
        return int(given)
    issued = seen.issued
    return int(issued.timestamp()) if isinstance(issued, datetime) else 0
