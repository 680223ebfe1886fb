"""Pages on which the unit looks after its patients: list, enrolment, access, prescription, versions."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from itertools import zip_longest
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.db.models import Max, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from homedialysis.accounts.guards import clinical_only, nephrologist_only, staff_only
from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages import link_for
from homedialysis.accounts.services import NotInvitable
from sessions.api.treatments import versions as versions_of
from sessions.forms import (
    AccessForm,
    EnrolForm,
    InviteCarePartnerForm,
    InvitePatientForm,
    PrescriptionForm,
    SiteForm,
)
from sessions.models import Patient, Prescription, TreatmentRecord, VascularAccess
from sessions.pages.differences import changed_fields, lines_between
from sessions.services.enrolment import invite_care_partner, invite_patient
from sessions.services.prescribing import NotForSigning, prescription_in_force, sign_prescription
from sessions.services.reading_log import note_reading

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
    if form.is_valid():
        patient = form.save()
        messages.success(request, f"{patient.name} is in the programme. Next: access, prescription, invitation.")
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
            link = link_for(request, secret)
        except NotInvitable as problem:
            bound.add_error("email", str(problem))
    helpers = patient.carepartner_set.select_related("user")
    context = {"patient": patient, "form": form, "partner": partner, "link": link, "helpers": helpers}
    return render(request, "sessions/invite.html", context)


@clinical_only
@require_http_methods(["GET", "POST"])
def access(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """The access in use with its sites; a new access takes the place of the one given up."""
    patient = _patient(request, patient_id)
    in_use = patient.accesses.filter(abandoned_on=None).first()
    task = request.POST.get("task", "")
    if task == "access" and in_use:
        messages.error(request, f"The {in_use} is in use: give that one up first.")
        task = ""
    new_access = AccessForm(request.POST if task == "access" else None, instance=VascularAccess(patient=patient))
    new_site = SiteForm(request.POST if task == "site" else None)
    if task == "give up" and in_use:
        in_use.abandoned_on = timezone.localdate()
        in_use.save(update_fields=["abandoned_on"])
        messages.success(request, f"The {in_use} is marked as given up today.")
        return redirect("treatments:access", patient.pk)
    if new_access.is_valid():
        new_access.save()
        return redirect("treatments:access", patient.pk)
    if in_use and _saved_site(new_site, in_use):
        return redirect("treatments:access", patient.pk)
    if task == "rest" and in_use:
        named = request.POST.get("site", "")
        site = get_object_or_404(in_use.sites, pk=named if named.isdecimal() else None)
        site.resting = not site.resting
        site.save(update_fields=["resting"])
        return redirect("treatments:access", patient.pk)
    context = {
        "patient": patient,
        "in_use": in_use,
        "earlier": patient.accesses.exclude(abandoned_on=None).order_by("-created_on"),
        "new_access": new_access,
        "new_site": new_site,
    }
    return render(request, "sessions/access.html", context)


def _saved_site(form: SiteForm, in_use: VascularAccess) -> bool:
    if not form.is_valid():
        return False
    form.instance.access = in_use
    if in_use.sites.filter(name=form.cleaned_data["name"]).exists():
        form.add_error("name", f"This access already has a site called “{form.cleaned_data['name']}”.")
        return False
    form.save()
    return True


@staff_only
@require_http_methods(["GET", "POST"])
def prescribe(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """The prescription in force and those before; the nephrologist writes and signs the next one."""
    patient = _patient(request, patient_id)
    may_sign = bool(getattr(request.user, "is_nephrologist", False))
    if request.method == "POST" and not may_sign:
        return nephrologist_only(prescribe)(request, patient_id)
    now = timezone.now()
    current = prescription_in_force(patient, now)
    form = PrescriptionForm(request.POST or None, instance=Prescription(patient=patient), initial=_as_initial(current))
    unusual = form.unusual() if form.is_valid() else []
    asked_again = bool(unusual) and "sure" not in request.POST
    if form.is_valid() and not asked_again and _signed(request, form, now):
        return redirect("dosing:patient", patient.pk)
    earlier = patient.prescriptions.select_related("dialyser", "signed_by")
    context = {
        "patient": patient,
        "current": current,
        "earlier": _with_changes(list(earlier)),
        "form": form if may_sign else None,
        "unusual": unusual if asked_again else [],
    }
    return render(request, "sessions/prescribe.html", context)


def _as_initial(current: Prescription | None) -> dict[str, Any]:
    if current is None:
        return {"dialysate_na_mmol_l": 138, "dialysate_temperature_c": 36.5, "uf_rate_limit_ml_kg_h": 10}
    return {name: getattr(current, name) for name in PrescriptionForm.Meta.fields}


def _signed(request: HttpRequest, form: PrescriptionForm, now: datetime) -> bool:
    try:
        signed = sign_prescription(prescription=form.instance, by=signed_in(request), at=now)
    except NotForSigning as problem:
        form.add_error(None, str(problem))
        return False
    except ValidationError as problem:
        form.add_error(None, problem)
        return False
    messages.success(request, f"Prescription {signed.version} is signed and in force from now.")
    return True


def _with_changes(newest_first: list[Prescription]) -> list[tuple[Prescription, list[str]]]:
    """Each prescription with its difference from the one before, in words."""
    return [(each, lines_between(last, each)) for each, last in zip_longest(newest_first, newest_first[1:])]


@login_required
@require_GET
def versions(request: HttpRequest, record_id: uuid.UUID) -> HttpResponse:
    """Every version of a record that ever stood, with what changed between them."""
    visible = TreatmentRecord.objects.visible_to(request.user).select_related("patient")
    record = get_object_or_404(visible, pk=record_id)
    note_reading(request, record.patient_id)
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
