"""Which limits call a nurse, for the unit and for one patient; who set them, why, and until when."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from alerts.forms import LimitForm
from alerts.limits import KINDS, OF_PRESCRIPTION, LimitBook, LimitInForce, book_of
from alerts.models import Limit
from alerts.services.limit_setting import set_limit
from homedialysis.accounts.guards import clinical_only, staff_only
from homedialysis.accounts.models import User
from sessions.models import Patient, Prescription
from sessions.services.prescribing import prescription_in_force
from sessions.services.reading_log import note_reading


@dataclass(frozen=True, slots=True)
class Set:
    """A row that was set once, as the history shows it. value: in words."""

    row: Limit
    label: str
    value: str


@staff_only
@require_http_methods(["GET", "POST"])
def limits(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """One patient's limits."""
    patient = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    note_reading(request, patient.pk)
    return _page(request, patient)


@staff_only
@require_http_methods(["GET", "POST"])
def unit_limits(request: HttpRequest) -> HttpResponse:
    """The unit's limits, which hold for every patient without one of their own."""
    return _page(request, None)


def _page(request: HttpRequest, patient: Patient | None) -> HttpResponse:
    if request.method == "POST" and not getattr(request.user, "is_clinical", False):
        return clinical_only(_page)(request, patient)
    now = timezone.now()
    prescription = prescription_in_force(patient, now) if patient else None
    form = LimitForm(_settable(prescription), request.POST or None)
    if form.is_valid() and _was_set(request, form, patient, now):
        return redirect(request.path)
    book = book_of(patient)
    context = {
        "patient": patient,
        "in_force": [book.at(name, now, prescription) for name in KINDS],
        "history": _history(book),
        "form": form,
    }
    return render(request, "alerts/limits.html", context, status=400 if form.errors else 200)


def _settable(prescription: Prescription | None) -> list[str]:
    """What the prescription says itself is changed by the next prescription."""
    return [name for name in KINDS if prescription is None or name not in OF_PRESCRIPTION]


def _was_set(request: HttpRequest, form: LimitForm, patient: Patient | None, now: datetime) -> bool:
    assert isinstance(request.user, User)
    try:
        row = set_limit(patient=patient, by=request.user, at=now, **form.cleaned_data)
    except ValidationError as problem:
        form.add_error(None, problem)
        return False
    messages.success(request, f"Set from now on: {KINDS[row.name].label}. Nights before keep the limit they had.")
    return True


def _history(book: LimitBook) -> list[Set]:
    rows = sorted((*book.for_patient, *book.for_unit), key=lambda row: row.since, reverse=True)
    return [_set(row) for row in rows]


def _set(row: Limit) -> Set:
    kind = KINDS[row.name]
    if row.value is None:
        return Set(row, kind.label, "the wider limit again")
    return Set(row, kind.label, LimitInForce(kind, row.value, "").words)
