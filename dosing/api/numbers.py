"""What was computed, over HTTP."""

from __future__ import annotations

import uuid
from typing import Any

from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from dosing.services.night.night_answer import UnitView, answer_of
from sessions.models import TreatmentRecord
from sessions.services.reading_log import note_reading


class SpreadShape(serializers.Serializer[Any]):
    """One number over the last ten nights before, of those that have it."""

    nights = serializers.IntegerField()
    low = serializers.FloatField()
    middle = serializers.FloatField()
    high = serializers.FloatField()


class LineShape(serializers.Serializer[Any]):
    """One number of the night; `why` says why there is none."""

    key = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]  # a field of that name, not the serializer's own
    unit = serializers.CharField()
    decimals = serializers.IntegerField()
    value = serializers.FloatField(allow_null=True)
    why = serializers.CharField(allow_blank=True)
    planned = serializers.FloatField(
        allow_null=True, help_text="The plan, else the prescription; of a rate, its limit."
    )
    before = SpreadShape(allow_null=True)


class AnswerShape(serializers.Serializer[Any]):
    record = serializers.UUIDField()
    night = serializers.DateField()
    revision = serializers.IntegerField()
    ready = serializers.BooleanField(help_text="Whether the numbers are of this revision.")
    look = serializers.ChoiceField(choices=[each.value for each in UnitView])
    lines = LineShape(many=True)


class NightAnswer(APIView):
    @extend_schema(operation_id="bedside_answer", responses=AnswerShape)
    def get(self, request: Request, record_id: uuid.UUID) -> Response:
        """What was computed of a night, beside the plan and the last ten nights, and whether the unit looks at it."""
        visible = TreatmentRecord.objects.visible_to(request.user).select_related("computed", "prescription")
        record = get_object_or_404(visible, pk=record_id)
        note_reading(request, record.patient_id)
        return Response(answer_of(record), headers={"Cache-Control": "no-store"})
