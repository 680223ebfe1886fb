"""The page of a patient's target weight."""

from __future__ import annotations

import uuid
from datetime import timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET

from dosing.services.decision.target_weight import target_weight
from homedialysis.accounts.pages.guards import clinical_only
from sessions.pages.persons import shown_patient

PERIODS = {91: _("3 months"), 182: _("6 months"), 365: _("12 months")}
FIRST = 182


@clinical_only
@require_GET
def page(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """Weights, pressures and what was noted, on one axis of days, up to today."""
    person = shown_patient(request, patient_id)
    days = {str(each): each for each in PERIODS}.get(request.GET.get("days", ""), FIRST)
    today = timezone.localdate()
    found = target_weight(person, today - timedelta(days=days), today)
    return render(
        request, "dosing/target_weight.html", {"patient": person, "found": found, "days": days, "periods": PERIODS}
    )
