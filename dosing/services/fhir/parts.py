"""Small parts that FHIR resources are made of. What is None or empty is left out: FHIR knows no null."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.conf import settings

LOINC = "http://loinc.org"
UCUM = "http://unitsofmeasure.org"
SNOMED = "http://snomed.info/sct"
CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
ABSENT = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
INTERPRETATION = "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation"
Json = dict[str, Any]


def own(name: str) -> str:
    """An address of our own, for codes and numbers that no common system has."""
    return f"{settings.SITE_ADDRESS.rstrip('/')}/fhir/{name}"


def without_empty(resource: Json) -> Json:
    return {name: value for name, value in resource.items() if value not in (None, "", [], {})}


def outcome(code: str, words: str) -> Json:
    """Why something could not be: what FHIR answers in the place of what was asked."""
    return {
        "resourceType": "OperationOutcome",
        "issue": [{"severity": "error", "code": code, "diagnostics": words}],
    }


def moment(at: datetime | None) -> str | None:
    return at.isoformat() if at else None


def coded(system: str, code: str, words: str, *more: Json) -> Json:
    """A concept in our words. A display stands only beside codes of our own: that of another's code is the other's."""
    ours = system.startswith(own(""))
    first = without_empty({"system": system, "code": code, "display": words if ours else None})
    return {"coding": [first, *more], "text": words}


def quantity(value: float, unit: str, ucum: str | None) -> Json:
    """A number with its unit; the UCUM code where there is one, "1" for a plain number."""
    return without_empty({"value": value, "unit": unit, "system": UCUM if ucum else None, "code": ucum})


def category(code: str) -> list[Json]:
    return [{"coding": [{"system": CATEGORY, "code": code}]}]


def reference(kind: str, key: Any) -> Json:
    return {"reference": f"{kind}/{key}"}
