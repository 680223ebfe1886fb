"""FHIR R4 over HTTP, read only: one patient at a time, for whoever may see that patient."""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterable
from datetime import datetime
from typing import Any, ClassVar

from django.conf import settings
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from rest_framework.exceptions import APIException, NotFound, ValidationError
from rest_framework.negotiation import BaseContentNegotiation
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from dosing.api.unchanged import mark_of, marked
from dosing.services.fhir import findings, medications, reading, resources
from dosing.services.fhir.parts import Json, outcome
from dosing.services.fhir.reading import WantedResources
from dosing.services.fhir.searching import KINDS, PAGING, SEARCHES, SearchRefused, Wish, wishes
from dosing.services.night.treatments import as_night
from homedialysis.accounts.choices.tokens import TokenScope
from homedialysis.accounts.models import User, signed_in
from sessions.models import BloodResult, Finding, Machine, Medication, Patient, RecordState, TreatmentRecord
from sessions.services.reading_log import note_reading

FORMS = ("application/fhir+json", "application/json", "json")
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
    token_scopes: ClassVar = {"GET": TokenScope.FHIR, "HEAD": TokenScope.FHIR}

    def handle_exception(self, exc: Exception) -> Response:
        answer = super().handle_exception(exc)
        words = _words(exc.detail) if isinstance(exc, APIException) else "There is no such resource."
        answer.content_type = None  # FHIR has a form of its own for what went wrong
        answer.data = outcome(CODES.get(answer.status_code, "processing"), words)
        return answer


def _words(detail: Any) -> str:
    """What was wrong as sentences, whatever the shape in which the framework holds them."""
    if isinstance(detail, dict):
        return " ".join(f"{name}: {_words(each)}" for name, each in detail.items())
    return " ".join(_words(each) for each in detail) if isinstance(detail, list) else str(detail)


class Metadata(FhirView):
    authentication_classes = ()
    permission_classes = ()

    def get(self, request: Request) -> Response:
        """The CapabilityStatement."""
        return Response(capability(request.build_absolute_uri("/api/v1/fhir"), timezone.now()))


def capability(base: str, at: datetime) -> Json:
    return {
        "resourceType": "CapabilityStatement",
        "status": "active",
        "date": at.isoformat(),
        "kind": "instance",
        "software": {"name": "Home dialysis record", "version": settings.SPECTACULAR_SETTINGS["VERSION"]},
        "implementation": {"description": "The record of a home-haemodialysis unit, read only.", "url": base},
        "fhirVersion": "4.0.1",
        "format": ["application/fhir+json"],
        "rest": [
            {
                "mode": "server",
                "documentation": "A search by what is not listed here is refused, never answered without it.",
                "security": {"description": "A device's token (Authorization: Token …) or a session."},
                "resource": [_told_of(kind) for kind in KINDS],
            }
        ],
    }


def _told_of(kind: str) -> Json:
    search = [{"name": name, "type": each.kind, "documentation": each.says} for name, each in SEARCHES[kind].items()]
    told: Json = {
        "type": kind,
        "interaction": [{"code": "read"}, {"code": "search-type"}],
        "searchParam": search,
        "documentation": f"_count: at most {MOST} of a page, {USUAL} where none is given.",
    }
    if kind == "Patient":
        told["operation"] = [
            {
                "name": "everything",
                "definition": "http://hl7.org/fhir/OperationDefinition/Patient-everything",
                "documentation": "With _since, _type and _count.",
            }
        ]
    return told


class PatientOne(FhirView):
    def get(self, request: Request, patient_id: uuid.UUID) -> Response:
        """One Patient."""
        return _one(request, resources.patient(_person(request, str(patient_id))))


class Everything(FhirView):
    def get(self, request: Request, patient_id: uuid.UUID) -> Response:
        """A searchset Bundle of all that the record holds of one patient, a page at a time."""
        if unknown := set(request.query_params) - {"_since", "_type", *PAGING}:
            raise ValidationError(f"$everything knows no “{min(unknown)[:40]}”; known: _since, _type, _count.")
        wanted = WantedResources(_kinds(request), _since(request))
        return _bundle(request, reading.everything(_person(request, str(patient_id)), wanted))


class Search(FhirView):
    def get(self, request: Request, fhir_kind: str) -> Response:
        """Resources of one kind: patients by number, name or birth; all else of one patient, as declared."""
        kind = fhir_kind
        if kind not in KINDS:
            raise NotFound(f"{kind[:40]} is none of {', '.join(KINDS)}.")
        given = [(name, value) for name, values in request.query_params.lists() for value in values]
        try:
            wished = wishes(kind, [each for each in given if each[0] not in PAGING])
        except SearchRefused as problem:
            raise ValidationError(str(problem)) from None
        if kind == "Patient":
            return _people(request, wished)
        return _bundle(request, reading.everything(_whose(request), WantedResources((kind,), None, tuple(wished))))


def _people(request: Request, wished: list[Wish]) -> Response:
    answer = _bundle(request, reading.people(Patient.objects.visible_to(signed_in(request)), wished))
    note_reading(request, *(uuid.UUID(each["resource"]["id"]) for each in answer.data.get("entry", [])))
    return answer


class One(FhirView):
    def get(self, request: Request, fhir_kind: str, fhir_key: str) -> Response:
        """One Device, Procedure, Observation or MedicationStatement by its id."""
        found = _found(request, fhir_kind, fhir_key)
        if found is None:
            raise NotFound(f"There is no {fhir_kind[:40]} with this id.")
        person_id, resource = found
        note_reading(request, person_id)
        return _one(request, resource)


class Nothing(FhirView):
    def get(self, request: Request, rest: str) -> Response:
        """Whatever else FHIR has: said in its own form that it is not here."""
        raise NotFound("This is not here; /api/v1/fhir/metadata says what is.")


def _one(request: Request, resource: Json) -> Response:
    """A resource with the mark of its version; 304 where the one who asks has it already."""
    meta = resource.get("meta", {})
    mark = f'W/"{meta["versionId"]}"' if "versionId" in meta else mark_of(resource)
    changed = datetime.fromisoformat(meta["lastUpdated"]) if "lastUpdated" in meta else None
    return marked(request, resource, mark=mark, changed_at=changed)


def _whose(request: Request) -> Patient:
    """The one patient that a search names, as patient or as subject."""
    named = {
        value.removeprefix("Patient/")
        for name in ("patient", "subject")
        for value in request.query_params.getlist(name)
    }
    if len(named) != 1:
        raise ValidationError("Say whose, of one patient: patient=<id>.")
    return _person(request, named.pop())


def _kinds(request: Request) -> tuple[str, ...]:
    given = tuple(request.query_params["_type"].split(",")) if "_type" in request.query_params else KINDS
    if unknown := set(given) - set(KINDS):
        raise ValidationError(f"_type: “{min(unknown)[:40]}” is none of {', '.join(KINDS)}.")
    return given


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
    if kind == "MedicationStatement":
        return _medication(user, key.removeprefix("medication-"))
    if kind == "Observation" and key.startswith("finding-"):
        return _finding(user, key.removeprefix("finding-"))
    if kind == "Observation" and key.startswith("blood-"):
        number = key.removeprefix("blood-")
        result = BloodResult.with_bounds.visible_to(user).filter(pk=number).first() if _ID.fullmatch(number) else None
        return (result.patient_id, resources.blood(result)) if result else None
    named = _UUID.match(key)
    if kind not in ("Procedure", "Observation") or named is None:
        return None
    visible = TreatmentRecord.with_mistaken.visible_to(user).select_related("computed", "prescription")
    record = visible.filter(pk=named[0]).first()
    if record is None or (kind == "Observation" and record.state == RecordState.MISTAKEN):
        return None
    made = [resources.procedure(record)] if kind == "Procedure" else resources.observations(as_night(record))
    resource = next((each for each in made if each["id"] == key), None)
    return (record.patient_id, resource) if resource else None


def _finding(user: User, key: str) -> tuple[uuid.UUID, Json] | None:
    rows = Finding.objects.standing().visible_to(user)
    row = rows.filter(pk=key).first() if _ID.fullmatch(key) else None
    return (row.patient_id, findings.finding(row)) if row else None


def _medication(user: User, key: str) -> tuple[uuid.UUID, Json] | None:
    rows = Medication.objects.standing().visible_to(user)
    row = rows.filter(pk=key).first() if _ID.fullmatch(key) else None
    return (row.patient_id, medications.medication(row, timezone.localdate())) if row else None


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


def _bundle(request: Request, resources_found: Iterable[Json]) -> Response:
    """A page of what was found. Its own address holds what was used: nothing else is ever let through."""
    if request.query_params.get("_format", "json") not in FORMS:
        raise ValidationError(f"_format: there is only {FORMS[0]}.")
    count = max(1, _number(request, "_count", USUAL, MOST))
    offset = _number(request, "_offset", 0, 10_000_000)
    found, more = reading.page(resources_found, offset=offset, count=count)
    base = request.build_absolute_uri("/api/v1/fhir")
    links = [{"relation": "self", "url": request.build_absolute_uri()}]
    if more:
        onward = request.query_params.copy()
        onward["_count"], onward["_offset"] = str(count), str(offset + count)
        links.append({"relation": "next", "url": f"{request.build_absolute_uri(request.path)}?{onward.urlencode()}"})
    entries = [
        {"fullUrl": f"{base}/{each['resourceType']}/{each['id']}", "resource": each, "search": {"mode": "match"}}
        for each in found
    ]
    bundle: Json = {"resourceType": "Bundle", "type": "searchset", "link": links}
    return Response(bundle | ({"entry": entries} if entries else {}))


__all__ = ["Everything", "Metadata", "Nothing", "One", "PatientOne", "Search"]
