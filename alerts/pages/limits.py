"""Which limits call a nurse, for the unit and for one patient; who set them, why, and until when.

A change is shown first, with the alerts that it would have opened and spared in the last 90 days, and set by a second
step. What is set then is what was shown: it travels in between as a signed text.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from itertools import groupby
from typing import Any

from django.contrib import messages
from django.core import signing
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from alerts.limits.book import OF_PRESCRIPTION, LimitBook, LimitInForce, book_of
from alerts.limits.kinds import KINDS
from alerts.models import Limit
from alerts.models.choices import Family
from alerts.pages.forms import LimitForm, OnForm
from alerts.services.limit_preview import preview
from alerts.services.limit_setting import limit_row, set_limit
from homedialysis.accounts.models import User
from homedialysis.accounts.pages.guards import clinical_only, staff_only
from sessions.models import Patient, Prescription
from sessions.services.prescribing import prescription_in_force
from sessions.services.reading_log import note_reading

SALT = "alerts.limits.book"
SHOWN_FOR = timedelta(hours=1)
"""How long what was shown may be set: afterwards it is shown anew."""
NOON = time(12)


@dataclass(frozen=True, slots=True)
class PastLimit:
    """A row that was set once, as the history shows it. value: in words."""

    row: Limit
    label: str
    value: str


@staff_only
@require_http_methods(["GET", "POST"])
def limits(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponseBase:
    """One patient's limits."""
    patient = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    note_reading(request, patient.pk)
    return _page(request, patient)


@staff_only
@require_http_methods(["GET", "POST"])
def unit_limits(request: HttpRequest) -> HttpResponseBase:
    """The unit's limits, which hold for every patient without one of their own."""
    return _page(request, None)


def _page(request: HttpRequest, patient: Patient | None) -> HttpResponseBase:
    if request.method == "POST" and not getattr(request.user, "is_clinical", False):
        return clinical_only(_page)(request, patient)
    now = timezone.now()
    prescription = prescription_in_force(patient, now) if patient else None
    if "shown" in request.POST:
        return _set_what_was_shown(request, patient, now)
    form = LimitForm(_settable(prescription), request.POST or None, initial={"name": request.GET.get("name", "")})
    if form.is_valid():
        answer = _show_first(request, form, patient, now)
        if answer is not None:
            return answer
    on = OnForm(request.GET or None)
    at = _moment(on, patient) or now
    held = prescription_in_force(patient, at) if patient else None
    book = book_of(patient)
    context = {
        "patient": patient,
        "families": _by_family([book.at(name, at, held) for name in KINDS]),
        "on": on,
        "at": None if at == now else at,
        "history": _history(book),
        "form": form,
    }
    return render(request, "alerts/limits.html", context, status=400 if form.errors else 200)


def _moment(on: OnForm, patient: Patient | None) -> datetime | None:
    """Noon of the day that was asked for, where the page is read; None for now."""
    day = on.cleaned_data.get("on") if on.is_valid() else None
    return timezone.make_aware(datetime.combine(day, NOON)) if day else None


def _by_family(held: list[LimitInForce]) -> list[tuple[str, list[LimitInForce]]]:
    return [(str(Family(key).label), list(rows)) for key, rows in groupby(held, lambda one: one.kind.family)]


def _settable(prescription: Prescription | None) -> list[str]:
    """What the prescription says itself is changed by the next prescription."""
    return [name for name in KINDS if prescription is None or name not in OF_PRESCRIPTION]


def _show_first(request: HttpRequest, form: LimitForm, patient: Patient | None, now: datetime) -> HttpResponse | None:
    """What it would have done, with the way to set it; None with the form's errors where it cannot be set."""
    assert isinstance(request.user, User)
    given = form.cleaned_data
    try:
        row = limit_row(patient=patient, by=request.user, at=now, **given)
    except ValidationError as problem:
        form.add_error(None, problem)
        return None
    what = given | {"until": given["until"].isoformat() if given["until"] else ""}
    context = {
        "patient": patient,
        "row": row,
        "kind": KINDS[row.name],
        "new": _set(row),
        "held": book_of(patient).at(row.name, now, prescription_in_force(patient, now) if patient else None),
        "preview": preview(row, at=now),
        "shown": signing.dumps([str(patient.pk) if patient else "", what], salt=SALT),
        "form": form,
    }
    return render(request, "alerts/limits_preview.html", context)


def _set_what_was_shown(request: HttpRequest, patient: Patient | None, now: datetime) -> HttpResponse:
    assert isinstance(request.user, User)
    try:
        whose, what = signing.loads(request.POST["shown"], salt=SALT, max_age=SHOWN_FOR)
    except signing.BadSignature:
        messages.warning(request, "What was shown is too old by now, or not from here: look at it again, then set it.")
        return redirect(request.path)
    if whose != (str(patient.pk) if patient else ""):
        messages.warning(request, "What was shown is about somebody else: look at it again, then set it.")
        return redirect(request.path)
    given: dict[str, Any] = what | {"until": parse_datetime(what["until"]) if what["until"] else None}
    try:
        row = set_limit(patient=patient, by=request.user, at=now, **given)
    except ValidationError as problem:
        messages.warning(request, " ".join(problem.messages))
        return redirect(request.path)
    label = {"limit": KINDS[row.name].label}
    if patient:
        words = _(
            "Set from now on: %(limit)s. Nights before keep the limit they had; what is judged by today is judged anew "
            "for %(patient)s, in the next minutes."
        )
        messages.success(request, words % (label | {"patient": patient.name}))
    else:
        words = _(
            "Set from now on: %(limit)s. Nights before keep the limit they had; what is judged by today is judged anew "
            "for everybody in the programme, in the next minutes."
        )
        messages.success(request, words % label)
    return redirect(request.path)


def _history(book: LimitBook) -> list[PastLimit]:
    rows = sorted((*book.for_patient, *book.for_unit), key=lambda row: row.since, reverse=True)
    return [_set(row) for row in rows if row.name in KINDS]


def _set(row: Limit) -> PastLimit:
    kind = KINDS[row.name]
    if row.value is None:
        return PastLimit(row, str(kind.label), _("the wider limit again"))
    return PastLimit(row, str(kind.label), LimitInForce(kind, row.value).words)
