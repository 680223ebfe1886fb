"""Pages that show what was computed: a patient, a night, a number's derivation; and the bloods that feed them."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from dosing import charts
from dosing.blood_tables import drawings_of, drawings_table
from dosing.blood_units import shown_as, three_figures
from dosing.catalogue import BY_KEY
from dosing.derivation import derivation
from dosing.forms import BloodsForm
from dosing.history import Night, as_night, nights_of
from homedialysis.accounts.guards import clinical_only, staff_only
from homedialysis.accounts.models import Unit, UnitSystem, signed_in
from sessions import plausible
from sessions.choices import Analyte, SampleTiming
from sessions.local_time import zone_of
from sessions.models import BloodResult, Patient, TreatmentRecord
from sessions.services.bloods import enter_bloods
from sessions.services.prescribing import prescription_in_force
from sessions.services.reading_log import note_reading

PERIODS = {30: "30 days", 90: "3 months", 182: "6 months", 365: "12 months"}
ROWS_A_PAGE = 30
DRAWINGS_A_PAGE = 6


def _unit_system() -> str:
    unit = Unit.objects.first()
    return unit.unit_system if unit else UnitSystem.SI


def _base(request: HttpRequest) -> str:
    return "unit_base.html" if getattr(request.user, "is_unit_staff", False) else "phone_base.html"


def _days(request: HttpRequest) -> int:
    return {str(days): days for days in PERIODS}.get(request.GET.get("days", ""), 90)


@staff_only
@require_GET
def patient(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """One patient: prescription, charts, treatments, bloods."""
    person = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    note_reading(request, person.pk)
    timezone.activate(zone_of(person))
    now = timezone.now()
    days = _days(request)
    nights = nights_of(person.pk, since=now - timedelta(days=days), until=now + timedelta(days=1))
    page = Paginator(nights[::-1], ROWS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "patient": person,
        "prescription": prescription_in_force(person, now),
        "access": person.accesses.filter(abandoned_on=None).first(),
        "charts": charts.all_of([night for night in nights if night.record.ended_at]),
        "nights": nights,
        "page": page,
        "rows": [_row(night) for night in page],
        "days": days,
        "periods": PERIODS,
        "bloods": _latest_bloods(person),
    }
    return render(request, "dosing/patient.html", context)


def _row(night: Night) -> dict[str, Any]:
    keys = (
        "minutes",
        "off_target",
        "gain",
        "uf_volume",
        "uf_rate",
        "lowest_systolic",
        "venous",
        "arterial",
        "standard_ktv",
    )
    return {"night": night, "figures": [night.figure(key) for key in keys]}


def _latest_bloods(person: Patient) -> list[dict[str, Any]]:
    system = _unit_system()
    rows = BloodResult.objects.filter(patient=person).order_by("analyte", "timing", "-drawn_at")
    newest = sorted(rows.distinct("analyte", "timing"), key=lambda result: Analyte.values.index(result.analyte))
    return [_blood_shown(result, system) for result in newest]


def _blood_shown(result: BloodResult, system: str) -> dict[str, Any]:
    shown = shown_as(result.analyte, system)
    return {
        "result": result,
        "value": three_figures(shown.from_canonical(result.value)),
        "unit": shown.unit,
        "name": shown.label,
    }


def _night(request: HttpRequest, record_id: uuid.UUID) -> Night:
    visible = TreatmentRecord.objects.visible_to(request.user)
    read = visible.select_related("patient", "prescription__dialyser", "computed", "recorded_by")
    record = get_object_or_404(read, pk=record_id)
    note_reading(request, record.patient_id)
    timezone.activate(zone_of(record.patient))
    return as_night(record)


@login_required
@require_GET
def night(request: HttpRequest, record_id: uuid.UUID) -> HttpResponse:
    """One record: what was noted and what was computed of it."""
    shown = _night(request, record_id)
    record = shown.record
    context = {
        "night": shown,
        "record": record,
        "readings": record.reading_set.all(),
        "events": record.event_set.all(),
        "medicines": record.medicine_set.all(),
        "checks": record.check_set.all(),
        "sites": record.siteused_set.select_related("site"),
        "marks": [{**mark, "label": plausible.words_for(mark["field"])} for mark in record.marks],
        "base": _base(request),
    }
    return render(request, "dosing/night.html", context)


@login_required
@require_GET
def number(request: HttpRequest, record_id: uuid.UUID, key: str) -> HttpResponse:
    """How one number of one night came about: equation, what went in, what came out, source."""
    if key not in BY_KEY:
        raise Http404
    shown = _night(request, record_id)
    context = {"night": shown, "record": shown.record, "base": _base(request), **derivation(shown, key)}
    return render(request, "dosing/number.html", context)


@clinical_only
@require_http_methods(["GET", "POST"])
def bloods(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """Enter results, and see those that stand."""
    person = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    note_reading(request, person.pk)
    timezone.activate(zone_of(person))
    system = _unit_system()
    start = {"pre_drawn_at": timezone.localtime(), "timing": SampleTiming.PRE}
    form = BloodsForm(request.POST or None, unit_system=system, initial=start)
    if form.is_valid():
        saved = enter_bloods(results=form.results(person), by=signed_in(request), at=timezone.now())
        messages.success(request, f"{len(saved)} result(s) entered.")
        return redirect("dosing:bloods", person.pk)
    page = Paginator(drawings_of(person), DRAWINGS_A_PAGE).get_page(request.GET.get("page"))
    rows = drawings_table(list(page), system)
    return render(request, "dosing/bloods.html", {"patient": person, "form": form, "page": page, "rows": rows})
