"""Water tests, counts and tasks done over HTTP: each under an id its sender makes, so that sending again is no harm."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError as Impossible
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import APIException, ValidationError
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import Serializer
from rest_framework.views import APIView

from homedialysis.accounts.models import Role, User, signed_in
from sessions.api.pagination import NewestFirst
from sessions.api.permissions import MayNoteSurroundings
from sessions.api.serializers import Page, Refusal
from sessions.api.treatments import patient_meant
from sessions.facts.choices_surroundings import WATER_UNITS, TaskKind, WaterFluid, WaterKind, WaterPlace
from sessions.models import Patient, SupplyCount, SupplyDelivery, SupplyItem, TaskDone, Training, WaterTest
from sessions.models.local_time import zone_of
from sessions.services import surroundings
from sessions.services.document import KnownFields, MomentField, PlainNumber
from sessions.services.reading_log import note_reading

DELIVERY, PRACTICE = "delivery", "practice"
PAGE = [
    OpenApiParameter("patient", uuid.UUID, description="Needed when you see more than one patient."),
    OpenApiParameter("limit", int),
    OpenApiParameter("offset", int),
]


class Taken(APIException):
    """Another thing stands under the id."""

    status_code = 409


class WaterSent(KnownFields):
    """One result of one sample. place: left out, the usual one of the test; fluid: left out, by place and machine."""

    id = serializers.UUIDField()
    patient = serializers.UUIDField(required=False)
    kind = serializers.ChoiceField(choices=WaterKind.choices)
    sampled_at = MomentField()
    value = PlainNumber(help_text="In the unit of the test; where below_detection, the detection limit.")
    unit = serializers.ChoiceField(choices=sorted(set(WATER_UNITS.values())), required=False)
    below_detection = serializers.BooleanField(default=False)
    place = serializers.ChoiceField(choices=WaterPlace.choices, required=False)
    fluid = serializers.ChoiceField(choices=WaterFluid.choices, required=False)
    note = serializers.CharField(required=False, allow_blank=True, default="", max_length=300)


class WaterShape(serializers.ModelSerializer[WaterTest]):
    entered_by = serializers.CharField(source="entered_by.name")

    class Meta:
        model = WaterTest
        fields = (
            "id", "patient", "kind", "sampled_at", "value", "unit", "below_detection", "fluid", "place", "note",
            "entered_by", "entered_at",
        )  # fmt: skip


class CountRow(KnownFields):
    id = serializers.UUIDField()
    item = serializers.IntegerField(help_text="Of the unit's supply list, as the kit's `stock` names it.")
    count = serializers.IntegerField(help_text="Pieces, 0 to 100000.")


class CountsSent(KnownFields):
    """One count of some or all items."""

    patient = serializers.UUIDField(required=False)
    counted_at = MomentField()
    counts = CountRow(many=True, allow_empty=False, max_length=200)  # type: ignore[call-arg]


class CountShape(serializers.ModelSerializer[SupplyCount]):
    entered_by = serializers.CharField(source="entered_by.name")
    name = serializers.CharField(source="item.name")

    class Meta:
        model = SupplyCount
        fields = ("id", "patient", "item", "name", "count", "counted_at", "entered_by", "entered_at")


class DoneSent(KnownFields):
    """A task done, or (kind "delivery") a delivery that came: its id, and how many where that differs; or (kind
    "practice") that a treatment was gone through on the phone for practice, of which nothing but the day is told."""

    id = serializers.UUIDField()
    patient = serializers.UUIDField(required=False)
    kind = serializers.ChoiceField(choices=[*TaskKind.choices, (DELIVERY, "Delivery"), (PRACTICE, "Practice")])
    done_at = MomentField()
    note = serializers.CharField(required=False, allow_blank=True, default="", max_length=300)
    delivery = serializers.UUIDField(required=False, help_text="Only with the kind “delivery”.")
    arrived = serializers.IntegerField(required=False, min_value=0, max_value=100_000)

    def validate(self, data: dict[str, Any]) -> dict[str, Any]:
        if data["kind"] == DELIVERY and "delivery" not in data:
            raise serializers.ValidationError({"delivery": _("Say which delivery came.")})
        strange = [name for name in ("delivery", "arrived") if name in data and data["kind"] != DELIVERY]
        if strange:
            raise serializers.ValidationError({name: _("Only a delivery has this.") for name in strange})
        return data


class DoneShape(serializers.ModelSerializer[TaskDone]):
    entered_by = serializers.CharField(source="entered_by.name")

    class Meta:
        model = TaskDone
        fields = ("id", "patient", "kind", "done_at", "note", "entered_by", "entered_at")


class DoneAnswer(serializers.Serializer[Any]):
    """The errand's id, and what stands now."""

    id = serializers.UUIDField()
    kind = serializers.CharField()
    done_at = serializers.DateTimeField()


class WaterPage(Page):
    results = WaterShape(many=True)


class CountPage(Page):
    results = CountShape(many=True)


class DonePage(Page):
    results = DoneShape(many=True)


A_TIME = "2026-11-20T20:30:00Z"
WATER_EXAMPLE = OpenApiExample(
    "A chlorine test with a strip that detects 0.05 mg/L or more",
    value={
        "id": "0d0f3c5e-6c1b-4f4e-9a63-1f5b5f0a0001",
        "kind": "total_chlorine",
        "sampled_at": A_TIME,
        "value": 0.05,
        "unit": "mg/L",
        "below_detection": True,
    },
    request_only=True,
)
COUNTS_EXAMPLE = OpenApiExample(
    "One item counted; its number is the one in the kit's stock",
    value={"counted_at": A_TIME, "counts": [{"id": "0d0f3c5e-6c1b-4f4e-9a63-1f5b5f0a0003", "item": 1, "count": 24}]},
    request_only=True,
)
DONE_EXAMPLE = OpenApiExample(
    "The machine was disinfected",
    value={"id": "0d0f3c5e-6c1b-4f4e-9a63-1f5b5f0a0003", "kind": "disinfection", "done_at": A_TIME},
    request_only=True,
)


def _read(sent: type[Serializer[Any]], body: Any, user: User) -> tuple[dict[str, Any], Patient]:
    """A body as judged by its shape, and whose it is. Raises ValidationError, field by field."""
    reader = sent(data=body)
    reader.is_valid(raise_exception=True)
    data: dict[str, Any] = dict(reader.validated_data)
    return data, patient_meant(user, data.pop("patient", None))


def _kept(entry: Any, user: User, now: datetime, renamed: dict[str, str] | None = None) -> surroundings.NotedEntry[Any]:
    """Note an entry; what the model refuses is said under the body's names. Raises ValidationError or Taken."""
    try:
        return surroundings.note(entry, by=user, at=now)
    except surroundings.NotedDifferently as problem:
        raise Taken(str(problem)) from None
    except Impossible as problem:
        raise _refused(problem, renamed or {}) from None


def _refused(problem: Impossible, renamed: dict[str, str]) -> ValidationError:
    said = problem.message_dict if hasattr(problem, "error_dict") else {"detail": problem.messages}
    return ValidationError(
        {renamed.get(name, name.replace("__all__", "detail")): words for name, words in said.items()}
    )


class NotedSurroundings(APIView):
    """A list of one patient's entries, and the noting of one more."""

    permission_classes = (MayNoteSurroundings,)

    def listed(self, request: Request, rows: QuerySet[Any], shape: Any) -> Response:
        """A page of the standing entries of the patient meant, newest first."""
        patient = patient_meant(signed_in(request), request.query_params.get("patient"))
        note_reading(request, patient.pk)
        pages = NewestFirst()
        page = pages.paginate_queryset(rows.filter(patient=patient), request, view=self) or []
        return pages.get_paginated_response(shape(page, many=True).data)


class WaterTests(NotedSurroundings):
    @extend_schema(operation_id="water_list", parameters=PAGE, responses=WaterPage)
    def get(self, request: Request) -> Response:
        """Water tests of one patient, newest first."""
        rows = WaterTest.objects.visible_to(request.user).standing().select_related("entered_by")
        return self.listed(request, rows, WaterShape)

    @extend_schema(
        operation_id="water_note",
        request=WaterSent,
        examples=[WATER_EXAMPLE],
        responses={200: WaterShape, 201: WaterShape, 400: Refusal, 409: Refusal},
    )
    def post(self, request: Request) -> Response:
        """Note the result of a water test. Sent again under its id it is answered like the first time."""
        data, patient = _read(WaterSent, request.data, signed_in(request))
        place = data.setdefault("place", surroundings.usual_place(data["kind"]))
        day = data["sampled_at"].astimezone(zone_of(patient)).date()
        data.setdefault("fluid", surroundings.usual_fluid(patient, place, day))
        noted = _kept(WaterTest(patient=patient, **data), signed_in(request), timezone.now())
        return Response(WaterShape(noted.entry).data, status=201 if noted.created else 200)


class SupplyCounts(NotedSurroundings):
    @extend_schema(operation_id="counts_list", parameters=PAGE, responses=CountPage)
    def get(self, request: Request) -> Response:
        """Counts of one patient's supplies, newest first."""
        rows = SupplyCount.objects.visible_to(request.user).standing().select_related("entered_by", "item")
        return self.listed(request, rows, CountShape)

    @extend_schema(
        operation_id="counts_note",
        request=CountsSent,
        examples=[COUNTS_EXAMPLE],
        responses={200: CountShape(many=True), 201: CountShape(many=True), 400: Refusal, 409: Refusal},
    )
    @transaction.atomic
    def post(self, request: Request) -> Response:
        """Note a count of supplies: all of its rows, or none."""
        user = signed_in(request)
        data, patient = _read(CountsSent, request.data, user)
        known = {item.pk: item for item in SupplyItem.objects.visible_to(user)}
        noted = []
        for index, row in enumerate(data["counts"]):
            if row["item"] not in known:
                words = _("There is no item %(item)s on the list.") % {"item": row["item"]}
                raise ValidationError({f"counts[{index}].item": words})
            entry = SupplyCount(
                id=row["id"],
                patient=patient,
                item=known[row["item"]],
                counted_at=data["counted_at"],
                count=row["count"],
            )
            noted.append(_kept(entry, user, timezone.now(), {"count": f"counts[{index}].count"}))
        created = any(each.created for each in noted)
        return Response(CountShape([each.entry for each in noted], many=True).data, status=201 if created else 200)


class TasksDone(NotedSurroundings):
    @extend_schema(operation_id="done_list", parameters=PAGE, responses=DonePage)
    def get(self, request: Request) -> Response:
        """What was done at one patient's machines, newest first."""
        rows = TaskDone.objects.visible_to(request.user).standing().select_related("entered_by")
        return self.listed(request, rows, DoneShape)

    @extend_schema(
        operation_id="done_note",
        request=DoneSent,
        examples=[DONE_EXAMPLE],
        responses={200: DoneAnswer, 201: DoneAnswer, 400: Refusal, 409: Refusal},
    )
    def post(self, request: Request) -> Response:
        """Note a task as done, a delivery as come, or a treatment as practised."""
        user, now = signed_in(request), timezone.now()
        data, patient = _read(DoneSent, request.data, user)
        created = {DELIVERY: _came, PRACTICE: _practised}.get(data["kind"], _task)(data, patient, user, now)
        return Response(DoneAnswer(data).data, status=201 if created else 200)


def _task(data: dict[str, Any], patient: Patient, user: User, now: datetime) -> bool:
    if data["kind"] == TaskKind.ACCESS_EXAM and not user.is_unit_staff:
        raise ValidationError({"kind": _("The access is examined by the unit, which notes it.")})
    task = TaskDone(patient=patient, **data)
    return _kept(task, user, now).created


def _practised(data: dict[str, Any], patient: Patient, user: User, now: datetime) -> bool:
    """Among the trainings: the day and who practised, and that nobody trained."""
    helper = user if user.role == Role.CARE_PARTNER else None
    day = data["done_at"].astimezone(zone_of(patient)).date()
    entry = Training(
        id=data["id"], patient=patient, partner=helper, topic=Training.PRACTICE, done_on=day, trained_by=str(user)[:80]
    )
    return _kept(entry, user, now, {"done_on": "done_at"}).created


def _came(data: dict[str, Any], patient: Patient, user: User, now: datetime) -> bool:
    """Whether the delivery was still on its way. Raises ValidationError."""
    expected = SupplyDelivery.objects.visible_to(user).standing().filter(patient=patient, pk=data["delivery"]).first()
    if expected is None:
        words = _("There is no delivery %(delivery)s to this patient.")
        raise ValidationError({"delivery": words % {"delivery": data["delivery"]}})
    arrived = data.get("arrived")
    try:
        return surroundings.deliver(expected, arrived_at=data["done_at"], arrived=arrived, by=user, at=now)
    except Impossible as problem:
        raise _refused(problem, {"arrived_at": "done_at"}) from None
