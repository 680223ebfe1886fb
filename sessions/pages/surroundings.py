"""Pages on which staff note and correct what surrounds the treatment, and set how often things come round.

One page for each sort of row, for a patient or for the unit; what may be noted where, by whom, and how it is saved
stands in `SHEETS`. What they amount to is drawn by `dosing` (`dosing:surroundings`), because it judges.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import models, transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET, require_http_methods

from homedialysis.accounts.models import User, signed_in
from homedialysis.accounts.pages.guards import staff_only, technologist_or_clinical
from sessions.facts.choices_surroundings import DueKind
from sessions.models import BloodsDue, Entry, Interval, Patient, SupplyItem, WaterStandard
from sessions.pages import forms_surroundings as sheets
from sessions.pages.persons import shown_patient
from sessions.services import surroundings
from sessions.services.surroundings_facts import USUAL, Every, every_of


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sort of row. form: for it; title: of the page; clinical: whether a technologist may not write it."""

    form: type[sheets.SurroundingsForm]
    title: Any
    clinical: bool = False

    @property
    def model(self) -> Any:
        return self.form._meta.model


SHEETS = {
    "water": Sheet(sheets.WaterTestForm, _("Water test")),
    "machine": Sheet(sheets.MachineForm, _("Machine at home")),
    "done": Sheet(sheets.TaskDoneForm, _("Care of a machine")),
    "delivery": Sheet(sheets.DeliveryForm, _("Delivery")),
    "training": Sheet(sheets.TrainingForm, _("Training"), clinical=True),
    "interval": Sheet(sheets.IntervalForm, _("How often")),
    "bloods": Sheet(sheets.BloodsDueForm, _("Bloods to draw"), clinical=True),
}
UNIT_SHEETS = {
    "supply": Sheet(sheets.SupplyItemForm, _("Item of the supply list")),
    "interval": SHEETS["interval"],
    "bloods": SHEETS["bloods"],
    "standard": Sheet(sheets.WaterStandardForm, _("Limits for water")),
}


def _sheet(request: HttpRequest, known: dict[str, Sheet], what: str) -> Sheet:
    if what not in known:
        raise Http404
    if known[what].clinical and not signed_in(request).is_clinical:
        raise PermissionDenied
    return known[what]


@technologist_or_clinical
@require_http_methods(["GET", "POST"])
def note(request: HttpRequest, patient_id: uuid.UUID, what: str) -> HttpResponse:
    """Note something new about a patient's surroundings."""
    patient = shown_patient(request, patient_id)
    if what == "count":
        return _count(request, patient)
    sheet = _sheet(request, SHEETS, what)
    return _page(request, sheet, sheet.model(patient=patient), patient)


@technologist_or_clinical
@require_http_methods(["GET", "POST"])
def change(request: HttpRequest, patient_id: uuid.UUID, what: str, row: str) -> HttpResponse:
    """Correct a row of a patient, take an entry back, or let the unit's interval hold again."""
    patient = shown_patient(request, patient_id)
    sheet = _sheet(request, SHEETS, what)
    found = _row(sheet.model.objects.visible_to(request.user).filter(patient=patient), row)
    if request.POST.get("task") == "take back":
        return _taken_back(request, sheet, found, patient)
    return _page(request, sheet, found, patient)


@staff_only
@require_GET
def unit(request: HttpRequest) -> HttpResponse:
    """The unit's supply list, how often things come round, panels of bloods, and the standard for water."""
    mine: Any = Interval.objects.visible_to(request.user).filter(patient=None)
    by_kind = {row.kind: row for row in mine}
    context = {
        "items": SupplyItem.objects.visible_to(request.user),
        "intervals": [
            {"kind": kind, "row": by_kind.get(kind), "every": _every(by_kind.get(kind), kind)} for kind in DueKind
        ],
        "panels": BloodsDue.objects.visible_to(request.user).filter(patient=None),
        "standard": WaterStandard.objects.visible_to(request.user).first(),
    }
    return render(request, "sessions/surroundings/unit.html", context)


def _every(row: Interval | None, kind: DueKind) -> Every:
    return every_of(row) if row else USUAL[kind]


@technologist_or_clinical
@require_http_methods(["GET", "POST"])
def note_unit(request: HttpRequest, what: str) -> HttpResponse:
    """Add to the unit's lists."""
    sheet = _sheet(request, UNIT_SHEETS, what)
    row = WaterStandard.objects.first() if what == "standard" else None
    return _page(request, sheet, row or sheet.model(), None)


@technologist_or_clinical
@require_http_methods(["GET", "POST"])
def change_unit(request: HttpRequest, what: str, row: str) -> HttpResponse:
    """Change a row of the unit's lists."""
    sheet = _sheet(request, UNIT_SHEETS, what)
    rows = sheet.model.objects.visible_to(request.user)
    own = rows if what in ("supply", "standard") else rows.filter(patient=None)
    return _page(request, sheet, _row(own, row), None)


def _row(rows: models.QuerySet[Any], key: str) -> Any:
    """The row of a key as an address holds it; 404 for what is no key, not there, or taken back."""
    try:
        found = rows.get(pk=key)
    except (ValueError, OverflowError, ValidationError, rows.model.DoesNotExist):
        raise Http404 from None
    if getattr(found, "taken_back", ""):
        raise Http404
    return found


def _page(request: HttpRequest, sheet: Sheet, row: Any, patient: Patient | None) -> HttpResponse:
    now = timezone.now()
    form = sheet.form(request.POST or None, instance=row, initial=_initial(request, row, now))
    if form.is_sure() and _saved(form, signed_in(request), now):
        messages.success(request, gettext("Saved: %(what)s.") % {"what": sheet.title})
        return redirect(_back(patient))
    context = {
        "form": form,
        "title": sheet.title,
        "patient": patient,
        "back": _back(patient),
        "new": row._state.adding,
        "entry": isinstance(row, Entry),
        "own": patient is not None and isinstance(row, Interval | BloodsDue) and not row._state.adding,
    }
    return render(request, "sessions/surroundings/note.html", context)


def _back(patient: Patient | None) -> str:
    return reverse("dosing:surroundings", args=[patient.pk]) if patient else reverse("treatments:surroundings-unit")


def _initial(request: HttpRequest, row: Any, now: datetime) -> dict[str, Any]:
    """For a new row: now, and what the link that led here says of it."""
    if not row._state.adding:
        return {}
    known = {name: request.GET[name] for name in ("kind", "item", "place", "topic") if name in request.GET}
    local = timezone.localtime(now)
    times = {"sampled_at": local, "done_at": local, "done_on": local.date(), "since": local.date()}
    return times | {"trained_by": signed_in(request).name} | known


def _saved(form: sheets.SurroundingsForm, by: User, now: datetime) -> bool:
    row = form.instance
    try:
        if not isinstance(row, Entry):
            surroundings.keep(row, by=by, at=now)
        elif row._state.adding:
            surroundings.note(row, by=by, at=now)
        else:
            surroundings.correct(row, by=by, at=now)
    except ValidationError as problem:
        form.put_errors(problem)
        return False
    return True


def _taken_back(request: HttpRequest, sheet: Sheet, row: Any, patient: Patient) -> HttpResponse:
    now = timezone.now()
    if isinstance(row, Interval | BloodsDue):
        surroundings.give_up_own(row, at=now)
        messages.success(request, gettext("What the unit has set holds again."))
    elif isinstance(row, Entry):
        try:
            surroundings.take_back(row, why=request.POST.get("why", "")[:200], by=signed_in(request), at=now)
        except ValidationError as problem:
            messages.error(request, " ".join(problem.messages))
            return redirect(request.path)
        messages.success(request, gettext("Taken back: %(what)s.") % {"what": sheet.title})
    return redirect(_back(patient))


def _count(request: HttpRequest, patient: Patient) -> HttpResponse:
    now = timezone.now()
    items = SupplyItem.objects.visible_to(request.user).filter(in_use=True)
    form = sheets.CountForm(request.POST or None, items=items, initial={"counted_at": timezone.localtime(now)})
    if form.is_valid() and _all_noted(form, patient, signed_in(request), now):
        messages.success(request, gettext("Saved: %(what)s.") % {"what": gettext("Supply count")})
        return redirect(_back(patient))
    context = {"form": form, "title": gettext("Supply count"), "patient": patient, "back": _back(patient), "new": True}
    return render(request, "sessions/surroundings/note.html", context | {"empty_list": not form.items})


def _all_noted(form: sheets.CountForm, patient: Patient, by: User, now: datetime) -> bool:
    try:
        with transaction.atomic():
            for count in form.counts(patient):
                surroundings.note(count, by=by, at=now)
    except ValidationError as problem:
        form.add_error(None, " ".join(problem.messages))
        return False
    return True
