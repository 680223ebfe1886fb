"""The prescription's page: read by all staff; the nephrologist writes the next one, sees what changes, and signs."""

from __future__ import annotations

import uuid
from datetime import datetime
from itertools import zip_longest
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.guards import clinical_only, nephrologist_only, staff_only
from homedialysis.accounts.pages.signing import fingerprint, objection, was_shown
from homedialysis.accounts.services.dates import short_day, short_moment
from sessions.facts.medicines import MedicationKind
from sessions.models import Patient, Prescription, PrescriptionDraft, TreatmentRecord
from sessions.pages.forms import PrescriptionForm
from sessions.pages.persons import shown_patient
from sessions.services.medications import taken_now
from sessions.services.prescribing import (
    NotForSigning,
    not_begun,
    prescription_in_force,
    sign_prescription,
    take_back,
    treatment_under_way,
)
from sessions.services.prescription_changes import differences
from sessions.services.prescription_kept import kept_by


@staff_only
@require_http_methods(["GET", "POST"])
def prescribe(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponseBase:
    """The prescription in force and those before. What is sent is shown first, and signed when sent again."""
    patient = shown_patient(request, patient_id)
    may_sign = signed_in(request).is_nephrologist
    if request.method == "POST" and not may_sign:
        return nephrologist_only(prescribe)(request, patient_id)
    now = timezone.now()
    current = prescription_in_force(patient, now)
    draft = _draft_named(request, patient)
    pending = not_begun(patient, now)
    start = _as_initial(pending or current) | (draft.values if draft else {})
    form = PrescriptionForm(request.POST or None, instance=Prescription(patient=patient), initial=start)
    review = _review(form, pending or current, draft) if form.is_valid() and "back" not in request.POST else None
    if review and was_shown(request, review["shown"]) and _signed(request, form, draft, now):
        return redirect("dosing:patient", patient.pk)
    earlier = patient.prescriptions.select_related("dialyser", "signed_by")
    context = {
        "patient": patient,
        "current": current,
        "pending": pending,
        "thinners": taken_now(patient, timezone.localdate(now), [MedicationKind.ANTICOAGULANT]),
        "earlier": _with_changes(list(earlier)),
        "form": form if may_sign else None,
        "review": review if set(form.errors) <= {NON_FIELD_ERRORS} else None,
        "draft": draft,
        "drafts": [
            (each, kept_by(current, each.values) if current else [])
            for each in patient.drafts.filter(dropped_at=None, signed_as=None).select_related("made_by")
        ],
    }
    return render(request, "sessions/prescribe.html", context)


def _draft_named(request: HttpRequest, patient: Patient) -> PrescriptionDraft | None:
    named = request.POST.get("draft") or request.GET.get("draft") or ""
    waiting = patient.drafts.filter(dropped_at=None, signed_as=None)
    return waiting.filter(pk=named).first() if named.isascii() and named.isdigit() and len(named) < 18 else None


def _as_initial(current: Prescription | None) -> dict[str, Any]:
    if current is None:
        return {"dialysate_buffer": ""}  # nothing that somebody could take for their own choice
    return {name: getattr(current, name) for name in PrescriptionForm.Meta.fields}


def _review(form: PrescriptionForm, last: Prescription | None, draft: PrescriptionDraft | None) -> dict[str, Any]:
    """What is about to be signed, as the signer sees it: what changes, what stays and may not fit, what is unusual."""
    next_one = form.instance
    values = {name: getattr(next_one, f"{name}_id" if name == "dialyser" else name) for name in form.Meta.fields}
    starts_on = form.cleaned_data["starts_on"]
    shown = {"values": values, "after": last.version if last else 0, "draft": draft.pk if draft else None}
    shown |= {"starts_on": starts_on}
    changes = differences(last, next_one)
    changed = {change.field: getattr(next_one, change.field) for change in changes}
    return {
        "shown": shown,
        "seen": fingerprint(shown),
        "changes": [change.line for change in changes],
        "kept": kept_by(last, changed) if last else [],
        "unusual": form.unusual(last),
        "prescription": next_one,
        "before": last,
        "starts_on": starts_on,
        "under_way": None if starts_on else treatment_under_way(next_one.patient, timezone.now()),
        "schedule": _schedule_words(next_one),
    }


def _schedule_words(order: Prescription) -> str:
    """The schedule as an address asks for what a model expects of it; its pages know these names."""
    asked = {"nights": f"{order.days_per_week:g}", "weekdays": order.weekdays, "minutes": order.minutes}
    asked |= {"qb": order.qb_ml_min, "qd": order.qd_ml_min, "dialyser": order.dialyser_id}
    return urlencode(asked | {"uf_rate": order.uf_rate_limit_ml_kg_h, "weight": order.target_weight_kg}, doseq=True)


def _signed(request: HttpRequest, form: PrescriptionForm, draft: PrescriptionDraft | None, now: datetime) -> bool:
    if why := objection(request):
        form.add_error(None, why)
        return False
    try:
        signed = sign_prescription(
            prescription=form.instance, by=signed_in(request), at=now, begins=form.begins, draft=draft
        )
    except NotForSigning as problem:
        form.add_error(None, str(problem))
        return False
    except ValidationError as problem:
        form.add_error(None, problem)
        return False
    messages.success(request, _signed_words(signed, form, treatment_under_way(signed.patient, now)))
    return True


def _signed_words(signed: Prescription, form: PrescriptionForm, running: TreatmentRecord | None) -> str:
    """From when it is in force; of a treatment under way, that it goes on as it was begun."""
    if form.begins is not None:
        parts = {"version": signed.version, "day": short_day(form.cleaned_data["starts_on"])}
        return (
            _("Prescription %(version)s is signed. It is in force from %(day)s; until then the one before holds.")
            % parts
        )
    words = _("Prescription %(version)s is signed and in force from now.") % {"version": signed.version}
    if running is None:
        return words
    goes_on = _("The treatment under way, begun %(began)s, was begun under the one before and stays under it.")
    return f"{words} {goes_on % {'began': short_moment(timezone.localtime(running.started_at))}}"


def _with_changes(newest_first: list[Prescription]) -> list[tuple[Prescription, list[str]]]:
    """Each prescription with its difference from the one before, in words."""
    pairs = zip_longest(newest_first, newest_first[1:])
    return [(each, [change.line for change in differences(last, each)]) for each, last in pairs]


@nephrologist_only
@require_POST
def take_back_prescription(request: HttpRequest, patient_id: uuid.UUID, version: int) -> HttpResponse:
    """Take out a signed prescription before it begins."""
    patient = shown_patient(request, patient_id)
    prescription = get_object_or_404(patient.prescriptions, version=version)
    try:
        take_back(prescription=prescription, by=signed_in(request), at=timezone.now())
    except NotForSigning as problem:
        messages.error(request, str(problem))
    else:
        messages.success(request, _("Prescription %(version)s is taken back.") % {"version": version})
    return redirect("treatments:prescribe", patient.pk)


@clinical_only
@require_POST
def drop_draft(request: HttpRequest, patient_id: uuid.UUID, draft_id: int) -> HttpResponse:
    """Put a draft away: it is kept, and no longer offered."""
    patient = shown_patient(request, patient_id)
    draft = get_object_or_404(patient.drafts.filter(dropped_at=None, signed_as=None), pk=draft_id)
    draft.dropped_at = timezone.now()
    draft.save(update_fields=["dropped_at"])
    messages.success(request, _("The draft is put away."))
    return redirect("treatments:prescribe", patient.pk)
