"""The bloods of a patient: results and urine collections, entered by hand and seen together."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST

from dosing.pages.forms_bloods import BloodsForm, CorrectionForm
from dosing.pages.forms_importing import UrineForm
from dosing.services.month.blood_flags import flag_of, flagging
from dosing.services.month.ranges import book
from dosing.services.numbers.blood_units import spoken_of
from dosing.services.results.blood_charts import blood_charts
from dosing.services.results.blood_history import changes_of, changes_of_one
from dosing.services.results.blood_tables import drawings_of, drawings_table
from dosing.services.results.urine import collections_of
from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.guards import clinical_only
from sessions.facts.choices import SampleTiming
from sessions.models import BloodResult, Patient, UrineCollection
from sessions.pages.persons import shown_patient
from sessions.services.bloods import correct_blood, enter_bloods, take_back_bloods

DRAWINGS_A_PAGE = 6


def _form(person: Patient, data: Any = None) -> BloodsForm:
    start = {"pre_drawn_at": timezone.localtime(), "timing": SampleTiming.PRE}
    return BloodsForm(data, patient=person, initial=start)


@clinical_only
@require_http_methods(["GET", "POST"])
def bloods(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """Enter results, and see those that stand."""
    person = shown_patient(request, patient_id)
    form = _form(person, request.POST or None)
    if form.is_sure():
        saved = enter_bloods(results=form.results(), by=signed_in(request), at=timezone.now())
        messages.success(
            request,
            ngettext("%(count)s result entered.", "%(count)s results entered.", len(saved)) % {"count": len(saved)},
        )
        return redirect("dosing:bloods", person.pk)
    return _page(request, person, form, UrineForm())


@clinical_only
@require_http_methods(["GET", "POST"])
def blood(request: HttpRequest, patient_id: uuid.UUID, result_id: int) -> HttpResponse:
    """One result: who entered it, what it was before, and taking it back with a reason."""
    person = shown_patient(request, patient_id)
    rows = BloodResult.with_bounds.filter(patient=person)
    found = get_object_or_404(rows.select_related("entered_by", "message__laboratory"), pk=result_id)
    if request.POST.get("task") == "take back":
        return _taken_back(request, person, found)
    form = CorrectionForm(request.POST or None, result=found)
    if form.is_sure():
        given = form.cleaned_data
        value, bound = form.canonical()
        correct_blood(found, value=value, bound=bound, why=given["why"], by=signed_in(request), at=timezone.now())
        messages.success(request, _("Corrected; what stood is kept below."))
        return redirect("dosing:blood", person.pk, found.pk)
    shown = spoken_of(found.analyte)
    changes = changes_of_one(found)
    context = {
        "patient": person,
        "result": found,
        "shown": shown,
        "text": shown.text(found),
        "form": form,
        "flag": flag_of(found, book()),
        "changes": changes,
        "first_by": changes[-1].was_by if changes else found.entered_by.name,
        "first_at": changes[-1].was_at if changes else found.entered_at,
    }
    return render(request, "dosing/blood.html", context)


def _taken_back(request: HttpRequest, person: Patient, found: BloodResult) -> HttpResponse:
    why = request.POST.get("why", "")[:200]
    try:
        take_back_bloods(found, why=why, by=signed_in(request), at=timezone.now())
    except ValidationError as problem:
        messages.error(request, " ".join(problem.messages))
        return redirect(request.path)
    messages.success(request, _("Taken back: it counts no more."))
    return redirect("dosing:bloods", person.pk)


@clinical_only
@require_POST
def urine(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """Enter a urine collection between two treatments."""
    person = shown_patient(request, patient_id)
    mine = UrineCollection(patient=person, entered_by=signed_in(request), entered_at=timezone.now())
    form = UrineForm(request.POST, instance=mine)
    if form.is_sure():
        form.save()
        messages.success(request, _("The urine collection is entered."))
        return redirect("dosing:bloods", person.pk)
    return _page(request, person, _form(person), form)


def _page(request: HttpRequest, person: Patient, form: BloodsForm, urine_form: UrineForm) -> HttpResponse:
    page = Paginator(drawings_of(person), DRAWINGS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "patient": person,
        "form": form,
        "urine": urine_form,
        "page": page,
        "rows": drawings_table(list(page), flagging(book())),
        "charts": blood_charts(person),
        "changes": changes_of(person),
        "collections": collections_of(person),
    }
    return render(request, "dosing/bloods.html", context)
