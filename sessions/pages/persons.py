"""The patient whom a page of the unit is about."""

from __future__ import annotations

import uuid

from django.http import HttpRequest
from django.shortcuts import get_object_or_404
from django.utils import timezone

from sessions.models import Patient
from sessions.models.local_time import zone_of
from sessions.services.reading_log import note_reading


def shown_patient(request: HttpRequest, patient_id: uuid.UUID) -> Patient:
    """Visible to whoever asks, else Http404; noted as read; and from here on the page shows the patient's own clock."""
    patient: Patient = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    note_reading(request, patient.pk)
    timezone.activate(zone_of(patient))
    return patient
