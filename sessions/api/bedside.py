"""What the phone at the bedside fetches and sends besides treatment records."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, ClassVar

from django.middleware.csrf import get_token
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from drf_spectacular.utils import OpenApiParameter, extend_schema, inline_serializer
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from homedialysis.accounts.choices.tokens import TokenScope
from homedialysis.accounts.models import signed_in
from homedialysis.accounts.services.bedside_devices import TakenBack
from sessions.api import examples
from sessions.api.bedside_devices import Wipe, note_contact, wiped
from sessions.api.errors import refusal, refused
from sessions.api.serializers import FaultShape, Problem, Refusal
from sessions.api.treatments import patient_meant
from sessions.facts.choices import EntryEnd, EntryKind, LeftOutReason
from sessions.models import LeftOut, Message, NotHandedOver, Patient
from sessions.services.document import KnownFields, MomentField
from sessions.services.handing_over import entry_is_over, tell_not_handed_over
from sessions.services.kit import kit
from sessions.services.left_out import leave_out, take_back
from sessions.services.messages import note_seen
from sessions.services.phone_rows import OfSomebodyElse
from sessions.services.prescription_changes import acknowledge
from sessions.services.second_copies import unknown_here

ETAG = r'^"\d{1,9}-[0-9a-f]{1,14}"$'
MOST_COPIES = 200
PLACEHOLDER = uuid.UUID(int=0)
"""Stands in addresses where the phone puts a record's id; 0 stands for a message's."""


class AtTheBedside(IsAuthenticated):
    """The patient and those who help at home: what lies on the phone is for them, and for nobody else."""

    message = _("Only for the patient and those who help at home.")

    def has_permission(self, request: Request, view: Any) -> bool:
        return super().has_permission(request, view) and bool(getattr(request.user, "is_bedside", False))


class SeenSent(KnownFields):
    """When something was read, by the phone's clock."""

    at = MomentField()


class AcknowledgementSent(SeenSent):
    """Which version of the prescription was read. The patient may be left out by the patient's own account."""

    version = serializers.IntegerField(min_value=1)
    patient = serializers.UUIDField(required=False)


class SeenAnswer(serializers.Serializer[Any]):
    at = serializers.DateTimeField()
    received_at = serializers.DateTimeField()


class AcknowledgementAnswer(SeenAnswer):
    version = serializers.IntegerField()


KIT = inline_serializer("Kit", {"made_at": serializers.DateTimeField(), "release": serializers.CharField()})


class WhichPatient(Problem):
    """For whom somebody who helps several may ask."""

    errors = FaultShape(many=True)  # type: ignore[assignment]
    patients = serializers.ListField(child=serializers.DictField(child=serializers.CharField()))


def addresses() -> dict[str, str]:
    """Where the phone sends and goes, by name."""
    return {
        "kit": reverse("api:bedside"),
        "treatment": reverse("api:treatment", args=[PLACEHOLDER]),
        "readings": reverse("api:treatment-readings", args=[PLACEHOLDER]),
        "acknowledge": reverse("api:bedside-acknowledge"),
        "message_seen": reverse("api:bedside-message-seen", args=[0]),
        "night": reverse("dosing:night", args=[PLACEHOLDER]),
        "letters": reverse("dosing:patient-letters", args=[PLACEHOLDER]),
        "who_sees": reverse("treatments:who-sees", args=[PLACEHOLDER]),
        "tonight": reverse("treatments:tonight"),
        "sign_in": reverse("account_login"),
        "sign_out": reverse("account_logout"),
        "devices": reverse("accounts:devices"),
        "placeholder": str(PLACEHOLDER),
    }


class Kit(APIView):
    permission_classes = (AtTheBedside,)

    @extend_schema(
        operation_id="bedside_kit",
        parameters=[OpenApiParameter("patient", uuid.UUID, description="Needed by who helps more than one patient.")],
        responses={200: KIT, 400: WhichPatient, 410: Wipe},
    )
    def get(self, request: Request) -> Response:
        """Everything the phone needs for a week without a network. Only the first keys are listed here.

        Somebody who helps several patients and names none is answered 400 with whom there is to choose from. A device
        that was taken back gets 410 and wipes what it keeps.
        """
        user, now = signed_in(request), timezone.now()
        get_token(request)  # sets the cookie that the phone needs for sending
        try:
            note_contact(request, user)
        except TakenBack as problem:
            return wiped(problem.device)
        try:
            patient = patient_meant(user, request.query_params.get("patient"))
        except ValidationError as problem:
            choice = Patient.objects.visible_to(user).in_programme()
            people = [{"id": str(each.pk), "name": each.name} for each in choice]
            return refused(400, refusal(problem.detail, {}) | {"patients": people})
        return Response(kit(patient, user, now) | {"urls": addresses()}, headers={"Cache-Control": "no-store"})


class CopiesSent(KnownFields):
    """What a phone keeps of delivered records: the ETag under which each was taken, by its id."""

    copies = serializers.DictField(child=serializers.RegexField(ETAG), allow_empty=False)

    def validate_copies(self, given: dict[str, str]) -> dict[uuid.UUID, str]:
        if len(given) > MOST_COPIES:
            words = _("At most %(most)s at once, not %(given)s.") % {"most": MOST_COPIES, "given": len(given)}
            raise serializers.ValidationError(words)
        return {id_in(name): etag for name, etag in given.items()}


def id_in(given: str) -> uuid.UUID:
    try:
        return uuid.UUID(given)
    except ValueError:
        raise serializers.ValidationError(_("“%(given)s” is no UUID.") % {"given": given}) from None


COPIES = inline_serializer("UnknownCopies", {"unknown": serializers.ListField(child=serializers.UUIDField())})


class Copies(APIView):
    token_scopes: ClassVar = {"POST": TokenScope.READ}
    permission_classes = (AtTheBedside,)

    @extend_schema(
        operation_id="bedside_copies",
        request=CopiesSent,
        examples=[examples.COPIES],
        responses={200: COPIES, 400: Refusal},
    )
    def post(self, request: Request) -> Response:
        """Which of these never stood at the unit so: a backup was brought back, and they are to be sent again."""
        sent = CopiesSent(data=request.data)
        sent.is_valid(raise_exception=True)
        return Response({"unknown": unknown_here(sent.validated_data["copies"], signed_in(request))})


class Acknowledge(APIView):
    permission_classes = (AtTheBedside,)

    @extend_schema(
        operation_id="bedside_acknowledge",
        request=AcknowledgementSent,
        examples=[examples.ACKNOWLEDGEMENT],
        responses={200: AcknowledgementAnswer, 400: Refusal},
    )
    def post(self, request: Request) -> Response:
        """Say that you have read what a version of the prescription changes. Said twice, the first time stands."""
        user = signed_in(request)
        sent = AcknowledgementSent(data=request.data)
        sent.is_valid(raise_exception=True)
        given = sent.validated_data
        patient = patient_meant(user, given.get("patient"))
        prescription = patient.prescriptions.filter(version=given["version"]).first()
        if prescription is None:
            last = patient.prescriptions.values_list("version", flat=True).first() or 0
            words = gettext("There is no version %(given)s: the last one is %(last)s.")
            why = words % {"given": given["version"], "last": last}
            raise ValidationError({"version": why})
        kept = acknowledge(prescription=prescription, by=user, at=given["at"], now=timezone.now())
        return Response({"version": prescription.version, "at": kept.at, "received_at": kept.received_at})


def _told(request: Request, shape: type[KnownFields]) -> tuple[Patient, dict[str, Any]]:
    """Of which patient the phone tells, and what. Raises ValidationError, field by field."""
    sent = shape(data=request.data)
    sent.is_valid(raise_exception=True)
    told = dict(sent.validated_data)
    return patient_meant(signed_in(request), told.pop("patient", None)), told


@contextmanager
def _own_id() -> Iterator[None]:
    """Whoever sends the id of another patient's row is told so."""
    try:
        yield
    except OfSomebodyElse:
        raise ValidationError({"id": gettext("This id belongs to another entry: make a new UUID.")}) from None


class NotHandedOverSent(KnownFields):
    """What the phone knows of an entry that was not taken. since: of the first try, by the phone's clock."""

    patient = serializers.UUIDField(required=False)
    what = serializers.ChoiceField(choices=EntryKind.choices)
    words = serializers.CharField(required=False, allow_blank=True, default="", max_length=200)
    started_at = MomentField(required=False, allow_null=True, default=None)
    status = serializers.IntegerField(required=False, allow_null=True, default=None, min_value=100, max_value=599)
    said = serializers.CharField(required=False, allow_blank=True, default="", max_length=500)
    tries = serializers.IntegerField(required=False, default=0, min_value=0, max_value=1_000_000)
    since = MomentField()


class NotHandedOverAnswer(serializers.Serializer[Any]):
    told_at = serializers.DateTimeField()


class NotHandedOverAt(APIView):
    permission_classes = (AtTheBedside,)

    @extend_schema(
        operation_id="bedside_not_handed_over",
        request=NotHandedOverSent,
        examples=[examples.NOT_HANDED_OVER],
        responses={200: NotHandedOverAnswer, 400: Refusal},
    )
    def put(self, request: Request, entry_id: uuid.UUID) -> Response:
        """Say that an entry of the phone, whose id this is, was not taken: the unit sees it, and somebody calls."""
        patient, told = _told(request, NotHandedOverSent)
        with _own_id():
            kept = tell_not_handed_over(
                entry_id=entry_id, patient=patient, told=told, by=signed_in(request), at=timezone.now()
            )
        return Response({"told_at": kept.told_at})

    @extend_schema(
        operation_id="bedside_not_handed_over_is_over",
        parameters=[OpenApiParameter("how", str, enum=[EntryEnd.SENT.value, EntryEnd.LEFT.value])],
        responses={204: None, 400: Refusal},
    )
    def delete(self, request: Request, entry_id: uuid.UUID) -> Response:
        """Say that it came in after all, or that the phone let it go. The unit's row stays, and says so."""
        how = request.query_params.get("how", EntryEnd.SENT)
        if how not in (EntryEnd.SENT, EntryEnd.LEFT):
            raise ValidationError({"how": gettext("“sent” or “left” is needed; %(given)s was given.") % {"given": how}})
        mine = NotHandedOver.objects.visible_to(request.user).filter(pk=entry_id)
        if mine.exists():
            entry_is_over(entry_id=entry_id, how=EntryEnd(how), at=timezone.now())
        return Response(status=204)


class LeftOutSent(KnownFields):
    """A day without a treatment, why, and when it was said, by the phone's clock."""

    patient = serializers.UUIDField(required=False)
    day = serializers.DateField()
    reason = serializers.ChoiceField(choices=LeftOutReason.choices)
    words = serializers.CharField(required=False, allow_blank=True, default="", max_length=300)
    at = MomentField()


class LeftOutAnswer(serializers.Serializer[Any]):
    day = serializers.DateField()
    reason = serializers.CharField()
    received_at = serializers.DateTimeField()


class LeftOutAt(APIView):
    permission_classes = (AtTheBedside,)

    @extend_schema(
        operation_id="bedside_left_out",
        request=LeftOutSent,
        examples=[examples.LEFT_OUT],
        responses={200: LeftOutAnswer, 400: Refusal},
    )
    def put(self, request: Request, said_id: uuid.UUID) -> Response:
        """Say that no treatment is done on a day. It counts as not delivered, and nobody calls it missing."""
        patient, told = _told(request, LeftOutSent)
        with _own_id():
            said = leave_out(said_id=said_id, patient=patient, by=signed_in(request), now=timezone.now(), **told)
        return Response({"day": said.day, "reason": said.reason, "received_at": said.received_at})

    @extend_schema(operation_id="bedside_left_out_taken_back", responses={204: None})
    def delete(self, request: Request, said_id: uuid.UUID) -> Response:
        """Take it back: it is treated after all."""
        said = LeftOut.objects.visible_to(request.user).filter(pk=said_id).first()
        if said is not None:
            take_back(said, now=timezone.now())
        return Response(status=204)


class MessageSeenAt(APIView):
    permission_classes = (AtTheBedside,)

    @extend_schema(
        operation_id="bedside_message_seen",
        request=SeenSent,
        examples=[examples.SEEN],
        responses={200: SeenAnswer, 400: Refusal},
    )
    def post(self, request: Request, message_id: int) -> Response:
        """Say that you have seen a message of the unit. Said twice, the first time stands."""
        message = get_object_or_404(Message.objects.visible_to(request.user), pk=message_id)
        sent = SeenSent(data=request.data)
        sent.is_valid(raise_exception=True)
        at = sent.validated_data["at"]
        kept = note_seen(message=message, by=signed_in(request), at=at, now=timezone.now())
        return Response({"at": kept.at, "received_at": kept.received_at})
