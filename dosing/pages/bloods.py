"""The bloods of a patient: results and urine collections, entered by hand and seen together."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST

from dosing.pages.forms_bloods import BloodsForm
from dosing.pages.forms_importing import UrineForm
from dosing.services.results.blood_tables import drawings_of, drawings_table
from dosing.services.results.urine import collections_of
from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.guards import clinical_only
from homedialysis.accounts.services.units import spoken
from sessions.facts.choices import SampleTiming
from sessions.models import Patient, UrineCollection
from sessions.pages.persons import shown_patient
from sessions.services.bloods import enter_bloods

DRAWINGS_A_PAGE = 6


def _empty_form(request: HttpRequest) -> BloodsForm:
    start = {"pre_drawn_at": timezone.localtime(), "timing": SampleTiming.PRE}
    return BloodsForm(request.POST or None, unit_system=spoken(), initial=start)


@clinical_only
@require_http_methods(["GET", "POST"])
def bloods(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """Enter results, and see those that stand."""
    person = shown_patient(request, patient_id)
    form = _empty_form(request)
    if form.is_sure():
        saved = enter_bloods(results=form.results(person), by=signed_in(request), at=timezone.now())
        messages.success(
            request,
            ngettext("%(count)s result entered.", "%(count)s results entered.", len(saved)) % {"count": len(saved)},
        )
        return redirect("dosing:bloods", person.pk)
    return _page(request, person, form, UrineForm())


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
    return _page(request, person, BloodsForm(unit_system=spoken()), form)


def _page(request: HttpRequest, person: Patient, form: BloodsForm, urine_form: UrineForm) -> HttpResponse:
    page = Paginator(drawings_of(person), DRAWINGS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "patient": person,
        "form": form,
        "urine": urine_form,
        "page": page,
        "rows": drawings_table(list(page), form.unit_system),
        "collections": collections_of(person),
    }
    return render(request, "dosing/bloods.html", context)
