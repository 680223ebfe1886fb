"""The pages of patients and care partners: tonight, the record being written, the nights behind."""

from __future__ import annotations

import uuid
from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from homedialysis.accounts.guards import bedside_only
from sessions.local_time import zone_of
from sessions.models import Patient, RecordState, TreatmentRecord
from sessions.pages import phone_data, prescription_lines, record_fields
from sessions.services.prescribing import prescription_in_force

CHOSEN = "chosen_patient"
NIGHTS_ON_A_PAGE = 20


class NobodyChosenError(Exception):
    """The signed-in person helps several patients, or none: one has to be chosen first."""

    def __init__(self, patients: list[Patient]) -> None:
        super().__init__(f"{len(patients)} patients to choose from")
        self.patients = patients


def whose_night(request: HttpRequest) -> Patient:
    """The patient these pages are about: the only one, or the one chosen before. Raises NobodyChosenError."""
    patients = list(Patient.objects.visible_to(request.user).in_programme())
    if len(patients) == 1:
        return patients[0]
    named = request.GET.get("patient") or request.session.get(CHOSEN)
    for patient in patients:
        if str(patient.pk) == named:
            request.session[CHOSEN] = named
            return patient
    raise NobodyChosenError(patients)


def _page(request: HttpRequest, template: str, patient: Patient, more: dict[str, Any]) -> HttpResponse:
    context = {
        "patient": patient,
        "zone": zone_of(patient),
        "own": patient.account_id == request.user.pk,
        "several": CHOSEN in request.session,
        "prescription": prescription_in_force(patient, timezone.now()),
    }
    return render(request, template, context | more)


def _choose(request: HttpRequest, problem: NobodyChosenError) -> HttpResponse:
    return render(request, "sessions/whose_night.html", {"patients": problem.patients})


@bedside_only
@require_safe
def tonight(request: HttpRequest) -> HttpResponse:
    """The prescription in force and what to do next."""
    try:
        patient = whose_night(request)
    except NobodyChosenError as problem:
        return _choose(request, problem)
    prescription = prescription_in_force(patient, timezone.now())
    today = timezone.now().astimezone(zone_of(patient)).date()
    more: dict[str, Any] = {
        "data": phone_data.small(request, patient),
        "open_records": open_records(request, patient),
        "today": today,
    }
    if prescription:
        more |= {
            "main_lines": prescription_lines.main_lines(prescription),
            "other_lines": prescription_lines.other_lines(prescription),
            "due": prescription_lines.due_words(prescription, today),
        }
    return _page(request, "sessions/tonight.html", patient, more)


def open_records(request: HttpRequest, patient: Patient) -> list[TreatmentRecord]:
    """Records at the unit that were not handed over, newest first."""
    mine = TreatmentRecord.objects.visible_to(request.user).filter(patient=patient, state=RecordState.OPEN)
    return list(mine.newest_first()[:10])


@bedside_only
@require_safe
def record(request: HttpRequest) -> HttpResponse:
    """The record of one night; with ?id= an open one is gone on with, or a finished one corrected."""
    named = record_named(request)
    try:
        patient = named.patient if named else whose_night(request)
    except NobodyChosenError as problem:
        return _choose(request, problem)
    prescription = prescription_in_force(patient, named.started_at if named else timezone.now())
    more: dict[str, Any] = {
        "data": phone_data.whole(request, patient, prescription, named, open_records(request, patient)),
        "fields": record_fields.sections(phone_data.last_values(request, patient)),
        "sites": phone_data.sites_of(request, patient),
        "prescription": prescription,
    }
    if prescription:
        more["lines"] = prescription_lines.all_lines(prescription)
    return _page(request, "sessions/record.html", patient, more)


def record_named(request: HttpRequest) -> TreatmentRecord | None:
    """The record that ?id= names, if it has reached the unit. Raises Http404 for what is no UUID."""
    given = request.GET.get("id", "")
    if not given:
        return None
    try:
        named = uuid.UUID(given)
    except ValueError:
        raise Http404 from None
    visible = TreatmentRecord.objects.visible_to(request.user).select_related("patient")
    return visible.filter(pk=named).first()


@bedside_only
@require_safe
def nights(request: HttpRequest) -> HttpResponse:
    """Past records, newest first, a page at a time."""
    try:
        patient = whose_night(request)
    except NobodyChosenError as problem:
        return _choose(request, problem)
    records = TreatmentRecord.objects.visible_to(request.user).filter(patient=patient).newest_first()
    page = Paginator(records, NIGHTS_ON_A_PAGE).get_page(request.GET.get("page"))
    more = {"page": page, "data": phone_data.small(request, patient)}
    return _page(request, "sessions/nights.html", patient, more)
