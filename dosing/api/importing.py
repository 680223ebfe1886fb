"""Laboratories' messages over HTTP: a program leaves them, a person takes them."""

from __future__ import annotations

from typing import Any, ClassVar

from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.parsers import BaseParser
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from dosing.services.importing import taking
from dosing.services.importing.judging import counts
from dosing.services.importing.rejects import reason_of
from dosing.services.importing.rows import MOST_BYTES, ResultRow, Unreadable, form_of
from homedialysis.accounts.choices.tokens import TokenScope
from homedialysis.accounts.models import signed_in
from sessions.api.permissions import MayEnterBloods
from sessions.models import LabLine, LabMessage, Laboratory
from sessions.services.reading_log import note_reading


class AsItIs(BaseParser):
    """The body as bytes: which form it has is told by how it begins."""

    media_type = "*/*"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> Any:
        body: bytes = stream.read(MOST_BYTES + 1)
        return body


class ImportLine(serializers.Serializer[Any]):
    place = serializers.SerializerMethodField(help_text="Where in the message.")
    verdict = serializers.CharField(help_text="new, there, corrects, asks or rejected")
    reason = serializers.SerializerMethodField()
    taken = serializers.BooleanField()

    def get_place(self, line: LabLine) -> str:
        return str(ResultRow.from_json(line.row).place)

    def get_reason(self, line: LabLine) -> str:
        return reason_of(line)


class ImportShape(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    laboratory = serializers.CharField(source="laboratory.name")
    form = serializers.CharField()
    received_at = serializers.DateTimeField()
    taken_at = serializers.DateTimeField(allow_null=True)
    page = serializers.SerializerMethodField(help_text="Where a person looks at it and takes it.")
    counts = serializers.SerializerMethodField()
    lines = ImportLine(many=True)

    def get_page(self, message: LabMessage) -> str:
        return reverse("dosing:import", args=[message.pk])

    def get_counts(self, message: LabMessage) -> dict[str, int]:
        return counts(message.lines.all())


class Imports(APIView):
    token_scopes: ClassVar = {"GET": TokenScope.BLOODS, "POST": TokenScope.BLOODS}
    permission_classes = (MayEnterBloods,)
    parser_classes = (AsItIs,)

    @extend_schema(
        operation_id="bloods_import",
        parameters=[
            OpenApiParameter("laboratory", str, required=True, description="The laboratory's name here."),
            OpenApiParameter("filename", str),
        ],
        request={
            "text/csv": OpenApiTypes.BINARY,
            "x-application/hl7-v2+er7": OpenApiTypes.BINARY,
            "application/fhir+json": OpenApiTypes.BINARY,
        },
        responses={200: ImportShape, 201: ImportShape},
    )
    def post(self, request: Request) -> Response:
        """Leave a table, an ORU^R01 or a Bundle. Nothing is entered until a person has looked at it."""
        name = request.query_params.get("laboratory", "")
        laboratory = Laboratory.objects.visible_to(request.user).filter(name=name).first()
        if laboratory is None:
            raise ValidationError({"laboratory": _("No laboratory here is called “%(name)s”.") % {"name": name[:80]}})
        body = request.data if isinstance(request.data, bytes) else b""
        status = 201
        try:
            message = taking.receive(
                laboratory=laboratory,
                form=form_of(body),
                body=body,
                filename=request.query_params.get("filename", ""),
                by=signed_in(request),
                at=timezone.now(),
            )
        except taking.AlreadyHere as problem:
            message, status = problem.message, 200
        except Unreadable as problem:
            raise ValidationError({"body": str(problem)}) from problem
        return _answer(request, message, status)


class OfTheUnit(IsAuthenticated):
    message = _("Only the unit's staff reads laboratories' messages.")

    def has_permission(self, request: Request, view: Any) -> bool:
        return super().has_permission(request, view) and bool(getattr(request.user, "is_unit_staff", False))


class ImportOne(APIView):
    token_scopes: ClassVar = {"GET": TokenScope.BLOODS, "POST": TokenScope.BLOODS}
    permission_classes = (OfTheUnit,)

    @extend_schema(operation_id="bloods_import_one", responses=ImportShape)
    def get(self, request: Request, import_id: int) -> Response:
        """What was found out about a message, and what became of it."""
        return _answer(request, get_object_or_404(LabMessage.objects.visible_to(request.user), pk=import_id), 200)


def _answer(request: Request, message: LabMessage, status: int) -> Response:
    whole = LabMessage.objects.select_related("laboratory").prefetch_related("lines").get(pk=message.pk)
    note_reading(request, *(line.patient_id for line in whole.lines.all() if line.patient_id))
    return Response(ImportShape(whole).data, status=status)
