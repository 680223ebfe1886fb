"""What came of changes: of one patient's, and how often the unit's forecasts held."""

from __future__ import annotations

import uuid
from itertools import groupby, pairwise

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from dosing.models import ChangeForecast
from dosing.services.decision.forecast_words import ChangeStory, share_held, story_of
from dosing.services.decision.forecasts import of_patient, with_orders
from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.guards import clinical_only
from sessions.models import Prescription
from sessions.pages.persons import shown_patient
from sessions.services.reading_log import note_reading

ROWS_A_PAGE = 20


def _stories(forecasts: list[ChangeForecast]) -> list[ChangeStory]:
    """Each with what it followed: one query for all."""
    patients = {each.prescription.patient_id for each in forecasts}
    orders = Prescription.objects.filter(patient__in=patients).select_related("dialyser").order_by("patient", "version")
    before: dict[int, Prescription] = {}
    for _patient, rows in groupby(orders, key=lambda order: order.patient_id):
        before |= {after.pk: earlier for earlier, after in pairwise(rows)}
    return [story_of(each, before.get(each.prescription_id)) for each in forecasts]


@clinical_only
@require_GET
def of_one(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """Each signed change of a patient, the newest first: what was foretold, and what came in eight weeks."""
    person = shown_patient(request, patient_id)
    return render(request, "dosing/changes.html", {"patient": person, "stories": _stories(of_patient(person.pk))})


@clinical_only
@require_GET
def of_unit(request: HttpRequest) -> HttpResponse:
    """How often what was foretold came, and each change behind that."""
    forecasts = with_orders(ChangeForecast.objects.visible_to(signed_in(request)))
    page = Paginator(forecasts, ROWS_A_PAGE).get_page(request.GET.get("page"))
    stories = _stories(list(page))
    note_reading(request, *{each.prescription.patient_id for each in page})
    count, known, interval = share_held(forecasts)
    context = {"stories": stories, "page": page, "held": count, "known": known, "interval": interval}
    return render(request, "dosing/changes_of_unit.html", context)
