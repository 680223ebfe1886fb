"""Pages that show what was computed: a patient, a night, and a number's derivation."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_GET

from dosing.services.month.blood_flags import flag_of
from dosing.services.month.fit_rows import fit_rows_of_night
from dosing.services.month.ranges import RangeBook, book
from dosing.services.month.reviewing import open_plan
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.night.derivation import worked_of_night
from dosing.services.night.treatments import ComputedNight, as_night, nights_of
from dosing.services.numbers.blood_units import spoken_of
from dosing.services.numbers.number import ShownIn
from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.guards import staff_only
from homedialysis.accounts.services.opening import looked_at_next
from homedialysis.web.context import unit_for
from sessions.facts import plausible
from sessions.facts.choices import Analyte
from sessions.facts.fields import EVENT, FLUID, SITE
from sessions.facts.months import month_to_judge
from sessions.facts.periods import PERIODS, days_asked
from sessions.facts.ranges import Range
from sessions.models import BloodResult, Event, Patient, TreatmentRecord
from sessions.models.local_time import zone_of
from sessions.pages.handing_over import said_of_late, standing_entries
from sessions.pages.persons import shown_patient
from sessions.services import noted_tables
from sessions.services.event_course import course_of, course_words
from sessions.services.own_ranges import usual_of
from sessions.services.prescribing import prescription_in_force
from sessions.services.readiness import ToDo, steps_to_first_treatment
from sessions.services.reading_log import note_reading
from sessions.texts.checklist import not_put_right

ROWS_A_PAGE = 30


def _base(request: HttpRequest) -> str:
    return "unit_base.html" if getattr(request.user, "is_unit_staff", False) else "phone_base.html"


@staff_only
@require_GET
def patient(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """One patient: prescription, charts, treatments, bloods."""
    person = shown_patient(request, patient_id)
    now = timezone.now()
    days = days_asked(request.GET.get("days", ""))
    nights = nights_of(person.pk, since=now - timedelta(days=days), until=now + timedelta(days=1))
    page = Paginator(nights[::-1], ROWS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "patient": person,
        "prescription": prescription_in_force(person, now),
        "access": person.accesses.in_use().first(),
        "nights": nights,
        "page": page,
        "columns": NIGHT_NUMBERS.at(ShownIn.TREATMENTS),
        "rows": [_row(night) for night in page],
        "days": days,
        "periods": PERIODS,
        "bloods": _latest_bloods(person, book()),
        "last_month": month_to_judge(timezone.localdate(), person.joined_on),
        "open_plan": open_plan(person),
        "steps": _steps(request, person, nights),
        "not_handed_over": standing_entries(signed_in(request), person),
        **said_of_late(person, now),
        "today": timezone.localdate(),
    }
    return render(request, "dosing/patient.html", context)


def _steps(request: HttpRequest, person: Patient, nights: list[ComputedNight]) -> list[ToDo]:
    """The way to the first treatment, for whoever goes it with the patient, until there is one."""
    if nights or not signed_in(request).is_clinical or person.treatments.exists():
        return []
    return steps_to_first_treatment(person, at=timezone.now())


def _row(night: ComputedNight) -> dict[str, Any]:
    figures = [night.figure(number.key) for number in NIGHT_NUMBERS.at(ShownIn.TREATMENTS)]
    return {"night": night, "figures": figures}


def _latest_bloods(person: Patient, ranges: RangeBook) -> list[dict[str, Any]]:
    rows = BloodResult.with_bounds.filter(patient=person).order_by("analyte", "timing", "-drawn_at")
    newest = sorted(rows.distinct("analyte", "timing"), key=lambda result: Analyte.values.index(result.analyte))
    return [_blood_shown(result, ranges) for result in newest]


def _blood_shown(result: BloodResult, ranges: RangeBook) -> dict[str, Any]:
    shown = spoken_of(result.analyte)
    return {
        "result": result,
        "value": shown.text(result),
        "unit": shown.unit,
        "name": shown.label,
        "flag": flag_of(result, ranges),
    }


def _who_looks(request: HttpRequest) -> str:
    """For the bedside: who looks at this and when, on the clock of the page; "" for staff, who know."""
    if not getattr(request.user, "is_bedside", False):
        return ""
    return looked_at_next(unit_for(request), timezone.now(), zone=ZoneInfo(timezone.get_current_timezone_name()))


def _night(request: HttpRequest, record_id: uuid.UUID) -> ComputedNight:
    visible = TreatmentRecord.with_mistaken.visible_to(request.user)
    read = visible.select_related("patient", "prescription__dialyser", "computed", "recorded_by")
    record = get_object_or_404(read, pk=record_id)
    note_reading(request, record.patient_id)
    timezone.activate(zone_of(record.patient))
    return as_night(record)


def _mark_shown(mark: dict[str, Any], own: Mapping[str, Range]) -> dict[str, Any]:
    """An unusual number in the reader's language; the limit that was kept with it is in English."""
    limits = own.get(mark["field"]) or plausible.limits_of(mark["field"])
    kept: str = mark["limit"]
    as_kept = limits is None or limits.oddity(mark["given"]) != kept
    words = kept if limits is None or as_kept else limits.usual_words
    return {**mark, "label": plausible.words_for(mark["field"]), "limit": words}


def _event_shown(event: Event) -> tuple[Event, list[str]]:
    """An event with its numbers and how it went, in words."""
    numbers = [str(each) for each in noted_tables.noted(event, EVENT)]
    return event, numbers + course_words(event.kind, course_of(event))


@login_required
@require_GET
def night(request: HttpRequest, record_id: uuid.UUID) -> HttpResponse:
    """One record: what was noted and what was computed of it."""
    shown = _night(request, record_id)
    record = shown.record
    checks = list(record.answeredcheck_set.all())
    own = usual_of(record) if record.marks else {}
    context = {
        "night": shown,
        "record": record,
        "reading_headings": noted_tables.reading_headings(),
        "readings": noted_tables.reading_lines(record),
        "measured": noted_tables.before_and_after(record),
        "fluid": noted_tables.noted(record, FLUID, ordered=record.prescription),
        "events": [_event_shown(event) for event in record.event_set.all()],
        "medicines": record.medicine_set.all(),
        "checks": checks,
        "begun_with": {check.pk for check in not_put_right(checks)},
        "sites": [(used, noted_tables.noted(used, SITE)) for used in record.siteused_set.select_related("site")],
        "marks": [_mark_shown(mark, own) for mark in record.marks],
        "base": _base(request),
        "who_looks": _who_looks(request),
    }
    return render(request, "dosing/night.html", context)


@login_required
@require_GET
def number(request: HttpRequest, record_id: uuid.UUID, key: str) -> HttpResponse:
    """How one number of one night came about: equation, what went in, what came out, source."""
    if key not in NIGHT_NUMBERS:
        raise Http404
    shown = _night(request, record_id)
    worked = worked_of_night(shown, key)
    context = {
        "night": shown,
        "record": shown.record,
        "base": _base(request),
        "kept": shown.kept,
        "worked": worked,
        "figure": worked.figure,
        "fit": fit_rows_of_night(shown.record, key) if signed_in(request).is_unit_staff else None,
    }
    return render(request, "dosing/number.html", context)
