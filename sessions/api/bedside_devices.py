"""The browsers that hold a bedside: noted when they ask for the kit, and told when they were taken back."""

from __future__ import annotations

import uuid

from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from homedialysis.accounts.models import BedsideDevice, User
from homedialysis.accounts.services import bedside_devices
from sessions.api.errors import refused
from sessions.api.serializers import Problem

HEADER = "X-Bedside-Device"


class Wipe(Problem):
    """Why a phone has to throw away what it keeps."""

    wipe = serializers.BooleanField()
    reason = serializers.CharField()


def device_id_in(request: Request) -> uuid.UUID | None:
    """The id that a browser made for itself, or None where there is none or it is no UUID."""
    try:
        return uuid.UUID(request.headers.get(HEADER, ""))
    except ValueError:
        return None


def note_contact(request: Request, user: User) -> None:
    """Note the device behind a request for the kit. Raises bedside_devices.TakenBack."""
    device_id = device_id_in(request)
    if device_id is None:
        return
    bedside_devices.contact(
        user=user,
        device_id=device_id,
        name=bedside_devices.name_from(request.headers.get("User-Agent", "")),
        session_key=request.session.session_key or "" if hasattr(request, "session") else "",
        at=timezone.now(),
    )


def wiped(device: BedsideDevice) -> Response:
    """410: what the device keeps has to go."""
    reason = bedside_devices.reason_of(device)
    detail = _("This device was taken back: %(reason)s.") % {"reason": reason}
    return refused(410, {"wipe": True, "reason": reason, "detail": detail})


class BedsideDeviceState(APIView):
    permission_classes = (AllowAny,)

    @extend_schema(operation_id="bedside_device_state", responses={204: None, 410: Wipe})
    def get(self, request: Request, device_id: uuid.UUID) -> Response:
        """Whether a device was taken back: 410 then, else 204, also for one that nobody knows.

        Asked by a browser whose session is over; its id, which nobody else knows, is all that it has left.
        """
        device = bedside_devices.taken_back(device_id)
        return wiped(device) if device else Response(status=204)
