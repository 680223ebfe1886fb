"""One patient's months on one axis, and the same in a table."""

from __future__ import annotations

import uuid
from datetime import timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from alerts.models import Alert
from alerts.showing.timeline import figure_of, time_line_of
from homedialysis.accounts.pages.guards import staff_only
from sessions.facts.periods import PERIODS, days_asked
from sessions.models import Patient
from sessions.models.local_time import zone_of
from sessions.services.reading_log import note_reading

HALF_A_YEAR = 182


@staff_only
@require_safe
def timeline(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """A page, or the part of it that the patient's page takes in."""
    patient = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    zone, now = zone_of(patient), timezone.now()
    timezone.activate(zone)
    days = days_asked(request.GET.get("days", ""), HALF_A_YEAR)
    since, until = now - timedelta(days=days), now + timedelta(days=1)
    line = time_line_of(patient, since=since, until=until, zone=zone, link=_link)
    context = {
        "patient": patient,
        "line": line,
        "newest_first": line.moments[::-1],
        "figure": figure_of(line),
        "days": days,
        "periods": PERIODS,
    }
    if request.headers.get("HX-Request") == "true":
        return render(request, "alerts/_timeline.html", context)
    note_reading(request, patient.pk)
    return render(request, "alerts/timeline.html", context)


def _link(alert: Alert) -> str:
    return reverse("alerts:detail", args=[alert.pk])
