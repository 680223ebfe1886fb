"""Pages on which the unit looks after its patients: list, enrolment, prescription, versions."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.db.models import Max, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.guards import clinical_only, staff_only
from homedialysis.accounts.pages.people import link_for
from homedialysis.accounts.services.invitations import NotInvitable
from sessions.models import Patient, Prescription, TreatmentRecord
from sessions.models.local_time import zone_of
from sessions.pages.differences import changed_fields
from sessions.pages.forms import EnrolForm, InviteCarePartnerForm, InvitePatientForm
from sessions.services.enrolment import invite_care_partner, invite_patient
from sessions.services.readiness import steps_to_first_treatment
from sessions.services.reading_log import note_reading
from sessions.services.recording import versions as versions_of

PATIENTS_A_PAGE = 50


@staff_only
@require_GET
def patients(request: HttpRequest) -> HttpResponse:
    """Everybody in the programme, with the last record and the prescription in force."""
    now = timezone.now()
    wanted = request.GET.get("q", "").strip()
    found = Patient.objects.visible_to(request.user).in_programme()
    if wanted:
        found = found.filter(Q(name__icontains=wanted) | Q(hospital_number__icontains=wanted))
    found = found.annotate(last_started=Max("treatments__started_at"))
    page = Paginator(found.order_by("name"), PATIENTS_A_PAGE).get_page(request.GET.get("page"))
    in_force = Prescription.objects.filter(patient__in=list(page)).in_force(now).select_related("dialyser")
    by_patient = {prescription.patient_id: prescription for prescription in in_force}
    rows = [(patient, by_patient.get(patient.pk)) for patient in page]
    context = {"rows": rows, "page": page, "wanted": wanted, "quiet_since": now - timedelta(days=7)}
    return render(request, "sessions/patients.html", context)


@clinical_only
@require_http_methods(["GET", "POST"])
def enrol(request: HttpRequest) -> HttpResponse:
    """Bring a patient into the programme."""
    form = EnrolForm(request.POST or None, initial={"joined_on": timezone.localdate()})
    if form.is_sure():
        patient = form.save()
        messages.success(
            request,
            _("%(patient)s is in the programme. Next: access, prescription, invitation.") % {"patient": patient.name},
        )
        return redirect("treatments:access", patient.pk)
    return render(request, "sessions/enrol.html", {"form": form})


def _patient(request: HttpRequest, patient_id: uuid.UUID) -> Patient:
    patient: Patient = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    note_reading(request, patient.pk)
    return patient


@clinical_only
@require_http_methods(["GET", "POST"])
def invite(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """One-time links for the patient and for those who help at home."""
    patient = _patient(request, patient_id)
    for_partner = "partner-email" in request.POST
    form = InvitePatientForm(None if for_partner else request.POST or None)
    partner = InviteCarePartnerForm(request.POST if for_partner else None)
    link = ""
    bound = partner if for_partner else form
    if bound.is_valid():
        asked = bound.cleaned_data | {"patient": patient, "by": signed_in(request), "at": timezone.now()}
        try:
            secret = invite_care_partner(**asked) if for_partner else invite_patient(**asked)
            if secret:
                link = link_for(request, secret)
            else:
                words = _("%(email)s has a password already, and sees %(patient)s from the next sign-in on.")
                messages.success(request, words % {"email": asked["email"], "patient": patient.name})
        except NotInvitable as problem:
            bound.add_error("email", str(problem))
    helpers = patient.carepartner_set.select_related("user")
    context = {"patient": patient, "form": form, "partner": partner, "link": link, "helpers": helpers}
    context["steps"] = steps_to_first_treatment(patient, at=timezone.now())
    return render(request, "sessions/invite.html", context)


@login_required
@require_GET
def versions(request: HttpRequest, record_id: uuid.UUID) -> HttpResponse:
    """Every version of a record that ever stood, with what changed between them."""
    visible = TreatmentRecord.with_mistaken.visible_to(request.user).select_related("patient")
    record = get_object_or_404(visible, pk=record_id)
    note_reading(request, record.patient_id)
    timezone.activate(zone_of(record.patient))
    staff = getattr(request.user, "is_unit_staff", False)
    context = {
        "record": record,
        "versions": _steps(versions_of(record)),
        "base": "unit_base.html" if staff else "phone_base.html",
    }
    return render(request, "sessions/versions.html", context)


def _steps(oldest_first: list[Any]) -> list[dict[str, Any]]:
    """Newest first, each with the fields that differ from the version before."""
    steps = []
    before: dict[str, Any] = {}
    for event in oldest_first:
        steps.append({"event": event, "changes": changed_fields(before, event.document)})
        before = event.document
    return steps[::-1]
