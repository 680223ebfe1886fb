"""Prescriptions, limits, bloods, patients and devices over HTTP."""

from __future__ import annotations

import uuid
from typing import Any, ClassVar

from django.db import transaction
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.exceptions import NotFound, PermissionDenied, ValidationError
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from homedialysis.accounts.choices.tokens import TokenScope
from homedialysis.accounts.models import DeviceToken, signed_in
from homedialysis.accounts.services.invitations import TooManyDevices, add_device
from sessions.api import examples
from sessions.api.errors import refusal, refused
from sessions.api.pagination import NewestFirst
from sessions.api.permissions import IsStaff, MayEnterBloods
from sessions.api.serializers import (
    BloodPage,
    BloodShape,
    BloodsSent,
    DeviceShape,
    LimitsShape,
    MedicationPage,
    MedicationShape,
    NewDevice,
    NewDeviceAnswer,
    PatientPage,
    PatientShape,
    PrescriptionShape,
    Refusal,
)
from sessions.api.treatments import patient_meant
from sessions.facts import plausible
from sessions.facts.local_number import plain
from sessions.models import BloodResult, Medication, Patient
from sessions.services.bloods import enter_bloods, says_the_same, standing_for
from sessions.services.prescribing import prescription_in_force
from sessions.services.reading_log import note_reading

PATIENT = OpenApiParameter("patient", uuid.UUID, description="Needed when you see more than one patient.")


class CurrentPrescription(APIView):
    @extend_schema(operation_id="prescription_current", parameters=[PATIENT], responses=PrescriptionShape)
    def get(self, request: Request) -> Response:
        """The prescription in force now."""
        patient = patient_meant(signed_in(request), request.query_params.get("patient"))
        note_reading(request, patient.pk)
        found = prescription_in_force(patient, timezone.now())
        if found is None:
            raise NotFound(_("No prescription is in force for this patient."))
        return Response(PrescriptionShape(found).data)


class Limits(APIView):
    @extend_schema(operation_id="limits", responses=LimitsShape)
    def get(self, request: Request) -> Response:
        """What each number of a record can be (hard) and usually is (usual)."""
        return Response({"fields": plausible.for_scripts()})


class Patients(APIView):
    permission_classes = (IsStaff,)

    @extend_schema(
        operation_id="patients_list",
        parameters=[OpenApiParameter("limit", int), OpenApiParameter("offset", int)],
        responses=PatientPage,
    )
    def get(self, request: Request) -> Response:
        """The unit's patients, by name."""
        pages = NewestFirst()
        page = pages.paginate_queryset(Patient.objects.visible_to(request.user), request, view=self) or []
        return pages.get_paginated_response(PatientShape(page, many=True).data)


class Bloods(APIView):
    token_scopes: ClassVar = {"POST": TokenScope.BLOODS}
    permission_classes = (MayEnterBloods,)

    @extend_schema(operation_id="bloods_list", parameters=[PATIENT], responses=BloodPage)
    def get(self, request: Request) -> Response:
        """Blood results of one patient, newest first."""
        patient = patient_meant(signed_in(request), request.query_params.get("patient"))
        note_reading(request, patient.pk)
        pages = NewestFirst()
        page = pages.paginate_queryset(BloodResult.with_bounds.filter(patient=patient), request, view=self) or []
        return pages.get_paginated_response(BloodShape(page, many=True).data)

    @extend_schema(
        operation_id="bloods_enter",
        request=BloodsSent,
        examples=[examples.BLOODS],
        responses={201: BloodShape(many=True), 400: Refusal, 409: Refusal},
    )
    @transaction.atomic
    def post(self, request: Request) -> Response:
        """Enter results in canonical units; each is tied to the treatment it was drawn at.

        A result that stands is written over only by who names its value in `corrects`; else 409, and none is entered.
        """
        now = timezone.now()
        sent = BloodsSent(data=request.data, context={"now": now})
        sent.is_valid(raise_exception=True)
        rows = sent.validated_data["results"]
        meant = {row["patient"]: patient_meant(signed_in(request), row["patient"]) for row in rows}
        if len(meant) != 1:
            raise ValidationError({"results": _("Send the results of one patient at a time.")})
        corrects = [row.pop("corrects") for row in rows]
        results = [BloodResult(**{**row, "patient": meant[row["patient"]]}) for row in rows]
        if unseen := _unseen(results, corrects):
            return refused(409, refusal({"results": unseen}, request.data))
        return Response(
            BloodShape(enter_bloods(results=results, by=signed_in(request), at=now), many=True).data, status=201
        )


class Medications(APIView):
    @extend_schema(operation_id="medications_list", parameters=[PATIENT], responses=MedicationPage)
    def get(self, request: Request) -> Response:
        """What one patient takes and took between treatments, newest first; one row a dose."""
        patient = patient_meant(signed_in(request), request.query_params.get("patient"))
        note_reading(request, patient.pk)
        pages = NewestFirst()
        rows = Medication.objects.standing().filter(patient=patient)
        page = pages.paginate_queryset(rows, request, view=self) or []
        return pages.get_paginated_response(MedicationShape(page, many=True).data)


def _unseen(results: list[BloodResult], corrects: list[float | None]) -> dict[int, dict[str, str]]:
    """By index, what stands and would be written over by somebody who did not name it."""
    found = {}
    for index, (result, named) in enumerate(zip(results, corrects, strict=True)):
        there = standing_for(result)
        if there is not None and not says_the_same(result, there) and named != there.value:
            words = _("%(value)s %(unit)s stands, entered by %(by)s. To write over it send corrects: %(value)s.")
            told = {"value": plain(there.value), "unit": plausible.BLOOD[there.analyte].unit, "by": there.entered_by}
            found[index] = {"corrects": words % told}
    return found


class Devices(APIView):
    @extend_schema(operation_id="devices_list", responses=DeviceShape(many=True))
    def get(self, request: Request) -> Response:
        """Devices and programs that hold a token of yours."""
        return Response(DeviceShape(DeviceToken.objects.filter(user=request.user), many=True).data)

    @extend_schema(
        operation_id="devices_add",
        request=NewDevice,
        examples=[examples.DEVICE],
        responses={201: NewDeviceAnswer},
    )
    def post(self, request: Request) -> Response:
        """A token for one more device. It is shown this once; only its hash is kept. A token makes no other token."""
        if request.auth is not None:
            raise PermissionDenied(_("Sign in to make a token: one that a device holds makes no other."))
        sent = NewDevice(data=request.data)
        sent.is_valid(raise_exception=True)
        try:
            device, token = add_device(user=signed_in(request), at=timezone.now(), **sent.validated_data)
        except TooManyDevices as problem:
            raise ValidationError({"name": str(problem)}) from problem
        body: dict[str, Any] = {**DeviceShape(device).data, "token": token}
        return Response(body, status=201)


class DeviceOne(APIView):
    token_scopes: ClassVar = {"DELETE": None}

    @extend_schema(operation_id="devices_revoke", responses={204: None})
    def delete(self, request: Request, device_id: uuid.UUID) -> Response:
        """Revoke a device's token: it stops working at once. A token revokes itself alone."""
        device = get_object_or_404(DeviceToken, user=request.user, public_id=device_id)
        if request.auth is not None and request.auth != device:
            raise PermissionDenied(_("Sign in to revoke another token than this one."))
        device.delete()
        return Response(status=204)
