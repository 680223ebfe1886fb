"""The staff's page of the phones on which a patient's bedside is installed."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from homedialysis.accounts.models import BedsideDevice, User, signed_in
from homedialysis.accounts.pages.guards import staff_only
from homedialysis.accounts.services.bedside_devices import take_back
from sessions.models import Patient
from sessions.services.reading_log import note_reading


def may_take_back(user: User) -> bool:
    """The nurse and the nephrologist look after the patient, the administrator after the accounts."""
    return user.is_clinical or user.is_administrator


@staff_only
@require_safe
def devices(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """Phones of the patient and of those who help."""
    patient = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    note_reading(request, patient.pk)
    theirs = Q(user__patient=patient) | Q(user__cares_for__patient=patient)
    held = BedsideDevice.objects.visible_to(request.user).filter(theirs).select_related("user", "revoked_by").distinct()
    context = {"patient": patient, "devices": held, "may_take_back": may_take_back(signed_in(request))}
    return render(request, "sessions/devices.html", context)


@staff_only
@require_POST
def take_device_back(request: HttpRequest, patient_id: uuid.UUID, bedside_id: uuid.UUID) -> HttpResponse:
    """End the phone's session; what is kept on it goes at its next contact."""
    user = signed_in(request)
    if not may_take_back(user):
        raise PermissionDenied
    theirs = Q(user__patient=patient_id) | Q(user__cares_for__patient=patient_id)
    held = BedsideDevice.objects.visible_to(user).filter(theirs).distinct()
    device = get_object_or_404(held, pk=bedside_id)
    take_back(device=device, by=user, at=timezone.now())
    words = _("%(device)s of %(person)s is signed out, and deletes what it keeps at its next contact.") % {
        "device": device.name,
        "person": device.user,
    }
    messages.success(request, words)
    return redirect("treatments:devices", patient_id)
