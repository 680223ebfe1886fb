"""Treatments over HTTP."""

from __future__ import annotations

import re
import uuid
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.http import parse_etags
from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import status
from rest_framework.exceptions import ParseError, ValidationError
from rest_framework.pagination import LimitOffsetPagination
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from homedialysis.accounts.models import User, signed_in
from sessions.api import examples
from sessions.api.errors import PreconditionRequired, refusal, refused
from sessions.api.pagination import NewestFirst
from sessions.api.permissions import MayRecord
from sessions.api.serializers import (
    Bulk,
    BulkAnswer,
    BulkSent,
    LateReadings,
    ReadingsSent,
    Refusal,
    RevisionMovedOn,
    TreatmentAnswer,
    TreatmentPage,
    TreatmentSent,
    VersionShape,
)
from sessions.models import Patient, TreatmentRecord
from sessions.services import recording
from sessions.services.document import TreatmentDocument, canonical
from sessions.services.reading_log import note_reading

IF_MATCH = OpenApiParameter(
    "If-Match", str, OpenApiParameter.HEADER, description='The ETag of what is replaced, such as "3-64f1c2a9be300".'
)
IF_NONE_MATCH = OpenApiParameter(
    "If-None-Match", str, OpenApiParameter.HEADER, description='The ETag at hand, such as "3-64f1c2a9be300".'
)
ONE_ETAG = re.compile(r'(?:W/)?"?(\d+-[0-9a-f]+)"?')
"""Ours, also where a proxy that compresses has called it weak or a client has dropped its quotes."""
PHONE_TIME = OpenApiParameter(
    "X-Phone-Time", datetime, OpenApiParameter.HEADER, description="The sender's clock; kept beside the record."
)


def patient_meant(user: User, given: Any) -> Patient:
    """The patient a body names, or the one this account belongs to. Raises ValidationError, field by field."""
    visible = Patient.objects.visible_to(user)
    if given in (None, ""):
        own = list(visible[:2]) if not user.is_unit_staff else []
        if len(own) != 1:
            raise ValidationError({"patient": _("Say which patient: this account sees more than one, or none.")})
        only: Patient = own[0]
        return only
    try:
        meant: Patient = visible.get(pk=uuid.UUID(str(given)))
    except (ValueError, Patient.DoesNotExist):
        words = _("There is no patient %(given)s that you can see.")
        raise ValidationError({"patient": words % {"given": given}}) from None
    return meant


def judged(body: Any, patient: Patient, now: datetime) -> recording.Document:
    """The canonical document out of a body. Raises ValidationError, field by field."""
    reader = TreatmentDocument(data=body, context={"patient": patient, "now": now})
    reader.is_valid(raise_exception=True)
    return canonical(reader.validated_data)


def etag_in(if_match: str | None) -> str | None:
    """The ETag an If-Match header names. Raises ParseError when it is none, or more than one.

    Whatever stands there ("*") cannot be replaced: only what the writer has seen.
    """
    if if_match is None:
        return None
    named = ONE_ETAG.fullmatch(if_match.strip())
    if named is None:
        words = _("If-Match: %(given)s names no revision; send back the ETag of what you replace.")
        raise ParseError(words % {"given": if_match})
    return f'"{named[1]}"'


def clock_offset(request: Request, now: datetime) -> int | None:
    """Whole seconds by which the sender's clock is ahead of ours. Raises ParseError when it names no moment."""
    told = request.headers.get("X-Phone-Time")
    if told is None:
        return None
    try:
        clock = parse_datetime(told.strip())
    except ValueError:
        clock = None
    if clock is None or clock.tzinfo is None:
        words = _("X-Phone-Time: %(given)s is no time with a zone; send one such as 2026-03-02T21:30:00+01:00.")
        raise ParseError(words % {"given": told})
    return round((clock - now).total_seconds())


def answer(record: TreatmentRecord, code: int) -> Response:
    return Response(record.as_sent, status=code, headers={"ETag": record.etag})


def moved_on(problem: recording.StaleRevision) -> Response:
    body = {"detail": str(problem), "current": problem.record.as_sent}
    return refused(412, body, headers={"ETag": problem.record.etag})


class TreatmentList(APIView):
    permission_classes = (MayRecord,)

    @extend_schema(
        operation_id="treatments_list",
        parameters=[
            OpenApiParameter("patient", uuid.UUID, description="Only this patient's."),
            OpenApiParameter("since", datetime, description="Started at or after."),
            OpenApiParameter("until", datetime, description="Started before."),
            OpenApiParameter("limit", int),
            OpenApiParameter("offset", int),
        ],
        responses=TreatmentPage,
    )
    def get(self, request: Request) -> Response:
        """Treatment records that you may see, newest first, a page at a time; without those begun by mistake."""
        records = TreatmentRecord.objects.visible_to(request.user).select_related("recorded_by").newest_first()
        if patient := request.query_params.get("patient"):
            records = records.filter(patient=patient_meant(signed_in(request), patient))
        for name, lookup in (("since", "started_at__gte"), ("until", "started_at__lt")):
            if text := request.query_params.get(name):
                records = records.filter(**{lookup: _moment(name, text)})
        pages: LimitOffsetPagination = NewestFirst()
        page = pages.paginate_queryset(records, request, view=self) or []
        note_reading(request, *(record.patient_id for record in page))
        return pages.get_paginated_response([record.as_sent for record in page])


def _moment(name: str, text: str) -> datetime:
    try:
        found = parse_datetime(text)
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        words = _("“%(given)s” is no time with a zone; write one such as 2026-03-01T00:00:00Z.")
        raise ValidationError({name: words % {"given": text}})
    return found


class TreatmentOne(APIView):
    permission_classes = (MayRecord,)

    @extend_schema(
        operation_id="treatments_read", parameters=[IF_NONE_MATCH], responses={200: TreatmentAnswer, 304: None}
    )
    def get(self, request: Request, record_id: uuid.UUID) -> Response:
        """One treatment record as it stands.

        Whoever asks again and again names the ETag at hand in If-None-Match: while it stands, the answer is 304.
        """
        record = get_object_or_404(TreatmentRecord.with_mistaken.visible_to(request.user), pk=record_id)
        known = parse_etags(request.headers.get("If-None-Match", ""))
        if record.etag in (each.removeprefix("W/") for each in known):
            return Response(status=status.HTTP_304_NOT_MODIFIED, headers={"ETag": record.etag})
        note_reading(request, record.patient_id)
        return answer(record, status.HTTP_200_OK)

    @extend_schema(
        operation_id="treatments_write",
        parameters=[IF_MATCH, PHONE_TIME],
        request=TreatmentSent,
        examples=[examples.NIGHT],
        responses={200: TreatmentAnswer, 201: TreatmentAnswer, 400: Refusal, 412: RevisionMovedOn, 428: Refusal},
    )
    def put(self, request: Request, record_id: uuid.UUID) -> Response:
        """Create a record under your own UUID, or replace it.

        The same body sent again is answered like the first time. Changing a record needs If-Match; 412 says that
        something else stands there, or (`current` is null) nothing. What is impossible is refused field by field and
        nothing is saved; what is unusual is kept and marked.
        """
        body = request.data
        if not isinstance(body, dict):
            raise ValidationError({"document": _("A JSON object is needed.")})
        now = timezone.now()
        sent = Sent(by=signed_in(request), at=now, clock_offset_s=clock_offset(request, now))
        try:
            written = write(record_id, body, sent, etag_in(request.headers.get("If-Match")))
        except recording.NeedsRevision as problem:
            raise PreconditionRequired(str(problem)) from problem
        except recording.StaleRevision as problem:
            return moved_on(problem)
        except recording.NothingToReplace as problem:
            return refused(412, {"detail": str(problem), "current": None})
        return answer(written.record, status.HTTP_201_CREATED if written.created else status.HTTP_200_OK)


@dataclass(frozen=True, slots=True)
class Sent:
    """Who sent a body and when, and how far that clock was ahead [s], if it said so."""

    by: User
    at: datetime
    clock_offset_s: int | None = None


def write(record_id: uuid.UUID, body: dict[str, Any], sent: Sent, replaces: str | None) -> recording.Written:
    """Judge one body and keep it. Raises ValidationError, NeedsRevision, StaleRevision or NothingToReplace."""
    patient = patient_meant(sent.by, body.get("patient") or _patient_of(record_id, sent.by))
    try:
        return recording.record_treatment(
            record_id=record_id,
            patient=patient,
            document=judged(body, patient, sent.at),
            by=sent.by,
            at=sent.at,
            replaces=replaces,
            clock_offset_s=sent.clock_offset_s,
        )
    except recording.TakenId:
        raise ValidationError({"id": _("This id belongs to another record: make a new UUID.")}) from None
    except recording.HandedOver:
        raise ValidationError({"status": _("This record was handed over: send corrections as finished.")}) from None


def _patient_of(record_id: uuid.UUID, user: User) -> uuid.UUID | None:
    visible = TreatmentRecord.with_mistaken.visible_to(user)
    return visible.filter(pk=record_id).values_list("patient_id", flat=True).first()


class TreatmentReadings(APIView):
    permission_classes = (MayRecord,)

    @extend_schema(
        operation_id="treatments_add_readings",
        parameters=[PHONE_TIME],
        request=ReadingsSent,
        examples=[examples.LATE_READINGS],
        responses={200: TreatmentAnswer, 400: Refusal, 409: Refusal},
    )
    @transaction.atomic
    def post(self, request: Request, record_id: uuid.UUID) -> Response:
        """Add late readings; nothing else of the record is touched.

        A reading that is already there is no harm. One that contradicts a reading at the same time is
        refused with 409, and none is added.
        """
        visible = TreatmentRecord.objects.visible_to(request.user).select_for_update(no_key=True, of=("self",))
        record = get_object_or_404(visible, pk=record_id)
        sent = LateReadings(data=request.data)
        sent.is_valid(raise_exception=True)
        now = timezone.now()
        offset = clock_offset(request, now)
        late = judged({**record.document, "readings": sent.validated_data["readings"]}, record.patient, now)["readings"]
        merged, contradicting = recording.merged_readings(record.document, late)
        if contradicting:
            times = ", ".join(str(late[index]["at"]) for index in contradicting)
            words = _("Other readings stand at %(times)s: change the record itself.")
            return refused(409, {"detail": words % {"times": times}})
        document = judged(merged, record.patient, now)
        written = recording.add_readings(
            record=record, document=document, by=signed_in(request), at=now, clock_offset_s=offset
        )
        return answer(written.record, status.HTTP_200_OK)


class TreatmentVersions(APIView):
    permission_classes = (MayRecord,)

    @extend_schema(operation_id="treatments_versions", responses=VersionShape(many=True))
    def get(self, request: Request, record_id: uuid.UUID) -> Response:
        """Every version of the record that ever stood, oldest first."""
        record = get_object_or_404(TreatmentRecord.with_mistaken.visible_to(request.user), pk=record_id)
        note_reading(request, record.patient_id)
        return Response([version_shown(event) for event in recording.versions(record)])


def version_shown(event: Any) -> dict[str, Any]:
    return {
        "revision": event.revision,
        "written_at": event.received_at,
        "written_by": str(event.recorded_by),
        "document": event.document,
    }


class TreatmentBulk(APIView):
    permission_classes = (MayRecord,)

    @extend_schema(
        operation_id="treatments_bulk",
        parameters=[PHONE_TIME],
        request=BulkSent,
        examples=[examples.BULK],
        responses={200: BulkAnswer, 400: Refusal},
    )
    def post(self, request: Request) -> Response:
        """Many nights in one request, each judged by itself: a bad one is named and does not hold up the rest."""
        read = Bulk(data=request.data)
        read.is_valid(raise_exception=True)
        now = timezone.now()
        sent = Sent(by=signed_in(request), at=now, clock_offset_s=clock_offset(request, now))
        return Response({"results": [_one_of_many(item, sent) for item in read.validated_data["treatments"]]})


def _one_of_many(item: Any, sent: Sent) -> dict[str, Any]:
    if not isinstance(item, dict):
        return {"id": "", "status": 400, "errors": [{"field": "document", "message": _("A JSON object is needed.")}]}
    body = {name: value for name, value in item.items() if name != "if_match"}
    told = str(item.get("id", ""))
    try:
        replaces = etag_in(str(item["if_match"])) if "if_match" in item else None
        written = write(uuid.UUID(told), body, sent, replaces)
    except ValueError:
        fault = {"field": "id", "message": _("“%(given)s” is no UUID.") % {"given": told}}
        return {"id": told, "status": 400, "errors": [fault]}
    except (ValidationError, ParseError) as problem:
        return {"id": told, "status": 400, "errors": refusal(problem.detail, body)["errors"]}
    except recording.NeedsRevision as problem:
        return {"id": told, "status": 428, "detail": str(problem), **_named(problem.record)}
    except recording.StaleRevision as problem:
        return {"id": told, "status": 412, "detail": str(problem), **_named(problem.record)}
    except recording.NothingToReplace as problem:
        return {"id": told, "status": 412, "detail": str(problem)}
    return {"id": told, "status": 201 if written.created else 200, **_named(written.record)}


def _named(record: TreatmentRecord) -> dict[str, Any]:
    return {"revision": record.revision, "etag": record.etag}
