"""What every page may show: the unit with its numbers, the release, and how days are written."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.utils import timezone

from homedialysis.accounts.models import Unit
from homedialysis.accounts.services.units import spoken
from homedialysis.web.middleware import unit_of
from sessions.models import Patient
from sessions.models.local_time import unit_there


def unit(request: HttpRequest) -> dict[str, Any]:
    return {"unit": unit_for(request), "release": settings.VERSION, "dates": spoken().dates}


def unit_for(request: HttpRequest) -> Unit | None:
    """The unit, to a patient with the ambulance number of the place where the patient is."""
    known = unit_of(request)
    patient = own_patient(request)
    return unit_there(patient, known, timezone.now()) if patient else known


def own_patient(request: HttpRequest) -> Patient | None:
    """Who asks, where that is a patient, read once a request; None for everybody else."""
    if not getattr(request.user, "is_bedside", False):
        return None
    found: Patient | None = getattr(request.user, "patient", None)
    return found
