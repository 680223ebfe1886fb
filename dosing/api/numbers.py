"""What was computed, over HTTP."""

from __future__ import annotations

import uuid
from datetime import date
from typing import Any

from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.exceptions import NotFound, ValidationError
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from dosing.api.number_shapes import MonthNumbersShape, NightNumbersShape
from dosing.api.unchanged import mark_of, marked
from dosing.models import MonthlyReview, PatientMonth
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.derivation import worked_of_month
from dosing.services.month.ranges import RangeBook, book, range_words
from dosing.services.month.review_changes import later_than_signed
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.night.derivation import worked_of_night
from dosing.services.night.night_answer import UnitView, answer_of
from dosing.services.night.treatments import as_night
from dosing.services.numbers.standing import Standing
from dosing.services.numbers.telling import told
from sessions.api.permissions import IsStaff
from sessions.api.serializers import Refusal
from sessions.models import Patient, TreatmentRecord
from sessions.models.local_time import zone_of
from sessions.services.reading_log import note_reading


class SpreadShape(serializers.Serializer[Any]):
    """One number over the last ten nights before, of those that have it."""

    nights = serializers.IntegerField()
    low = serializers.FloatField()
    middle = serializers.FloatField()
    high = serializers.FloatField()


class LineShape(serializers.Serializer[Any]):
    """One number of the night; `why` says why there is none, `because` why it is doubtful."""

    key = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]  # a field of that name, not the serializer's own
    unit = serializers.CharField()
    decimals = serializers.IntegerField()
    value = serializers.FloatField(allow_null=True)
    why = serializers.CharField(allow_blank=True)
    standing = serializers.ChoiceField(choices=[each.value for each in Standing])
    because = serializers.CharField(allow_blank=True)
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
    noted = serializers.DictField(help_text="What went otherwise than planned, as in the document: events and the end.")
    lines = LineShape(many=True)


class NightAnswer(APIView):
    @extend_schema(operation_id="bedside_answer", responses=AnswerShape)
    def get(self, request: Request, record_id: uuid.UUID) -> Response:
        """What was computed of a night, beside the plan and the last ten nights, and whether the unit looks at it."""
        visible = TreatmentRecord.objects.visible_to(request.user).select_related("computed", "prescription")
        record = get_object_or_404(visible, pk=record_id)
        note_reading(request, record.patient_id)
        return Response(answer_of(record), headers={"Cache-Control": "no-store"})


class NightNumbers(APIView):
    @extend_schema(operation_id="treatments_numbers", responses=NightNumbersShape)
    def get(self, request: Request, record_id: uuid.UUID) -> Response:
        """Every number computed of a treatment: value, interval, unit, standing, what went in, source."""
        visible = TreatmentRecord.objects.visible_to(request.user)
        record = get_object_or_404(visible.select_related("computed", "prescription", "patient"), pk=record_id)
        note_reading(request, record.patient_id)
        night = as_night(record)
        kept = night.kept
        body = {
            "record": str(record.pk),
            "patient": str(record.patient_id),
            "night": record.night.isoformat(),
            "revision": record.revision,
            "ready": not night.stale,
            "science_version": kept.science_version if kept else "",
            "computed_at": kept.computed_at if kept else None,
            "numbers": [],
        }
        with timezone.override(zone_of(record.patient)):  # as the pages of the patient have it
            body["numbers"] = [told(worked_of_night(night, key)) for key in NIGHT_NUMBERS]
        return marked(request, body, mark=mark_of(body), changed_at=kept.computed_at if kept else None)


class MonthNumbers(APIView):
    permission_classes = (IsStaff,)

    @extend_schema(operation_id="patients_month", responses={200: MonthNumbersShape, 400: Refusal})
    def get(self, request: Request, patient_id: uuid.UUID, month: str) -> Response:
        """Every number of a patient's calendar month, written 2026-03, beside the ranges of the review."""
        person = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
        row = PatientMonth.objects.filter(patient=person, month=_month(month)).first()
        if row is None:
            raise NotFound(_("Nothing is computed of this month for this patient."))
        note_reading(request, person.pk)
        ranges = book()
        review = MonthlyReview.objects.filter(patient=person, month=row.month).exclude(signed_at=None).first()
        body = {
            "patient": str(person.pk),
            "month": month,
            "ready": not row.stale,
            "science_version": row.science_version,
            "computed_at": row.computed_at,
            "signed_at": review.signed_at if review else None,
            "changed_since_signed": later_than_signed(review, row),
            "numbers": [],
        }
        with timezone.override(zone_of(person)):  # as the pages of the patient have it
            body["numbers"] = [_of_month(row, key, ranges) for key in MONTH_NUMBERS]
        return marked(request, body, mark=mark_of(body), changed_at=row.computed_at)


def _of_month(row: PatientMonth, key: str, ranges: RangeBook) -> dict[str, Any]:
    worked = worked_of_month(row, key)
    found = told(worked) | {"range": range_words(worked.figure.number, ranges.held_for(key, row.schedule))}
    return found | {"place": ranges.place(key, worked.figure.value, row.schedule)}


def _month(text: str) -> date:
    try:
        return date.fromisoformat(f"{text}-01")
    except ValueError:
        words = _("“%(given)s” is no month; write one such as 2026-03.")
        raise ValidationError({"month": words % {"given": text[:40]}}) from None
