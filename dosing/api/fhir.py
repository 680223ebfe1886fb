"""FHIR R4 over HTTP, read only: one patient at a time, for whoever may see that patient."""

from __future__ import annotations

import re
import uuid
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from rest_framework.exceptions import APIException, NotFound, ValidationError
from rest_framework.negotiation import BaseContentNegotiation
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from dosing.services.fhir import reading, resources
from dosing.services.fhir.parts import Json
from dosing.services.fhir.reading import KINDS, WantedResources
from dosing.services.night.treatments import as_night
from homedialysis.accounts.models import signed_in
from sessions.models import BloodResult, Machine, Patient, TreatmentRecord
from sessions.services.reading_log import note_reading

MOST = 1000
USUAL = 200
CODES = {401: "login", 403: "forbidden", 404: "not-found", 400: "invalid", 429: "throttled"}


class FhirJson(JSONRenderer):
    media_type = "application/fhir+json"
    format = "fhir"


class AlwaysFhir(BaseContentNegotiation):
    """R4 lets a server answer in the one form it has."""

    def select_parser(self, request: Request, parsers: Any) -> Any:
        return parsers[0]

    def select_renderer(self, request: Request, renderers: Any, format_suffix: str | None = None) -> Any:
        return renderers[0], renderers[0].media_type


class FhirView(APIView):
    """Answers in FHIR, also when it refuses."""

    schema = None  # its CapabilityStatement says what it can; OpenAPI has no word for "$everything"
    renderer_classes = (FhirJson,)
    content_negotiation_class = AlwaysFhir

    def handle_exception(self, exc: Exception) -> Response:
        answer = super().handle_exception(exc)
        words = str(exc.detail) if isinstance(exc, APIException) else "There is no such resource."
        issue = {"severity": "error", "code": CODES.get(answer.status_code, "processing"), "diagnostics": words}
        answer.data = {"resourceType": "OperationOutcome", "issue": [issue]}
        return answer


class Metadata(FhirView):
    authentication_classes = ()
    permission_classes = ()

    def get(self, request: Request) -> Response:
        """The CapabilityStatement."""
        return Response(capability(request.build_absolute_uri("/api/v1/fhir"), timezone.now()))


def capability(base: str, at: datetime) -> Json:
    search = [
        {"name": "patient", "type": "reference"},
        {"name": "category", "type": "token", "documentation": "Of Observations."},
    ]
    interactions = [{"code": "read"}, {"code": "search-type"}]
    kinds: list[Json] = [
        {"type": kind, "interaction": interactions} | ({"searchParam": search} if kind != "Patient" else {})
        for kind in KINDS
    ]
    kinds[0]["operation"] = [
        {"name": "everything", "definition": "http://hl7.org/fhir/OperationDefinition/Patient-everything"}
    ]
    return {
        "resourceType": "CapabilityStatement",
        "status": "active",
        "date": at.isoformat(),
        "kind": "instance",
        "software": {"name": "Home dialysis record", "version": settings.SPECTACULAR_SETTINGS["VERSION"]},
        "implementation": {"description": "The record of a home-haemodialysis unit, read only.", "url": base},
        "fhirVersion": "4.0.1",
        "format": ["application/fhir+json"],
        "rest": [{"mode": "server", "security": {"description": "Token or session."}, "resource": kinds}],
    }


class PatientOne(FhirView):
    def get(self, request: Request, patient_id: uuid.UUID) -> Response:
        """One Patient."""
        return Response(resources.patient(_person(request, str(patient_id))))


class Everything(FhirView):
    def get(self, request: Request, patient_id: uuid.UUID) -> Response:
        """A searchset Bundle of all that the record holds of one patient, a page at a time."""
        return _bundle(request, _person(request, str(patient_id)), WantedResources(since=_since(request)))


class Search(FhirView):
    def get(self, request: Request, fhir_kind: str) -> Response:
        """Resources of one kind of one patient: ?patient=…, for Observations also &category=…"""
        kind = fhir_kind
        if kind not in KINDS:
            raise NotFound(f"{kind} is none of {', '.join(KINDS)}.")
        named = request.query_params.get("patient") or request.query_params.get("_id" if kind == "Patient" else "", "")
        if not named:
            raise ValidationError("Say whose: patient=<id>.")
        person = _person(request, named.removeprefix("Patient/"))
        given = request.query_params.get("category", "").rpartition("|")[2]
        return _bundle(request, person, WantedResources((kind,), _since(request), given))


class One(FhirView):
    def get(self, request: Request, fhir_kind: str, fhir_key: str) -> Response:
        """One Device, Procedure or Observation by its id."""
        found = _found(request, fhir_kind, fhir_key)
        if found is None:
            raise NotFound(f"There is no {fhir_kind[:40]} with this id.")
        person_id, resource = found
        note_reading(request, person_id)
        return Response(resource)


def _person(request: Request, named: str) -> Patient:
    try:
        wanted = uuid.UUID(named)
    except ValueError:
        raise ValidationError(f"“{named[:60]}” is no id of a patient.") from None
    person: Patient | None = Patient.objects.visible_to(signed_in(request)).filter(pk=wanted).first()
    if person is None:
        raise NotFound("There is no Patient with this id.")
    note_reading(request, person.pk)
    return person


_ID = re.compile(r"[0-9]{1,18}")
_UUID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")


def _found(request: Request, kind: str, key: str) -> tuple[uuid.UUID, Json] | None:
    """The resource with this id and whose it is, if the person who asks may see it."""
    user = signed_in(request)
    if kind == "Device":
        machine = Machine.objects.visible_to(user).filter(pk=key).first() if _ID.fullmatch(key) else None
        return (machine.patient_id, resources.device(machine)) if machine else None
    if kind == "Observation" and key.startswith("blood-"):
        number = key.removeprefix("blood-")
        result = BloodResult.objects.visible_to(user).filter(pk=number).first() if _ID.fullmatch(number) else None
        return (result.patient_id, resources.blood(result)) if result else None
    named = _UUID.match(key)
    if kind not in ("Procedure", "Observation") or named is None:
        return None
    visible = TreatmentRecord.objects.visible_to(user).select_related("computed", "prescription")
    record = visible.filter(pk=named[0]).first()
    if record is None:
        return None
    made = [resources.procedure(record)] if kind == "Procedure" else resources.observations(as_night(record))
    resource = next((each for each in made if each["id"] == key), None)
    return (record.patient_id, resource) if resource else None


def _since(request: Request) -> datetime | None:
    given = request.query_params.get("_since")
    if not given:
        return None
    try:
        found = parse_datetime(given)
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        raise ValidationError(f"_since must be a time with its zone; “{given[:40]}” was given.")
    return found


def _number(request: Request, name: str, usual: int, most: int) -> int:
    given = request.query_params.get(name, str(usual))
    if not re.fullmatch(r"[0-9]{1,9}", given) or int(given) > most:
        raise ValidationError(f"{name} must be a whole number up to {most}; “{given[:20]}” was given.")
    return int(given)


def _bundle(request: Request, person: Patient, wanted: WantedResources) -> Response:
    count = max(1, _number(request, "_count", USUAL, MOST))
    offset = _number(request, "_offset", 0, 10_000_000)
    found, more = reading.page(person, wanted, offset=offset, count=count)
    base = request.build_absolute_uri("/api/v1/fhir")
    links = [{"relation": "self", "url": request.build_absolute_uri()}]
    if more:
        onward = request.query_params.dict() | {"_count": count, "_offset": offset + count}
        links.append({"relation": "next", "url": f"{request.build_absolute_uri(request.path)}?{urlencode(onward)}"})
    entries = [
        {"fullUrl": f"{base}/{each['resourceType']}/{each['id']}", "resource": each, "search": {"mode": "match"}}
        for each in found
    ]
    bundle: Json = {"resourceType": "Bundle", "type": "searchset", "link": links}
    return Response(bundle | ({"entry": entries} if entries else {}))


__all__ = ["Everything", "Metadata", "One", "PatientOne", "Search"]
