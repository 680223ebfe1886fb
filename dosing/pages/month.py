"""Pages of the month: the board, how a number came about, and the ranges."""

from __future__ import annotations

import re
import uuid
from datetime import date

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from dosing.models import PatientMonth
from dosing.pages.forms_month import RangeForm
from dosing.services.month.board import board, next_to_judge, sorts
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.derivation import worked_of_month
from dosing.services.month.fit_rows import fit_rows
from dosing.services.month.in_treatment import lines_said
from dosing.services.month.ranges import book, range_words, set_range
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.numbers.guidance import SCHEDULE_WORDS
from dosing.services.numbers.kept import KeptNumber
from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.guards import clinical_only, staff_only
from sessions.facts.months import first_of, month_before, month_to_judge, next_month
from sessions.models import Patient, TreatmentRecord
from sessions.pages.persons import shown_patient
from sessions.services.reading_log import note_reading

FIRST_SORT = "outside"
"""With most numbers out of range on top: who wants judging first."""


def month_of(text: str) -> date:
    """2026-03 as its first day. Raises Http404 for anything else."""
    if not re.fullmatch(r"(19|20)[0-9]{2}-(0[1-9]|1[0-2])", text):
        raise Http404
    return date(int(text[:4]), int(text[5:]), 1)


def _first_joined() -> date | None:
    """Since when there has been a patient."""
    found: date | None = Patient.objects.order_by("joined_on").values_list("joined_on", flat=True).first()
    return found


@staff_only
@require_GET
def month_board(request: HttpRequest, month: str | None = None) -> HttpResponse:
    """All patients of a month; without one, the month that ended last, or the first month of a new unit."""
    wanted = month_of(month) if month else month_to_judge(timezone.localdate(), _first_joined())
    asked = request.GET.get("sort", FIRST_SORT)
    sort = asked if asked in sorts() else "name"
    down = request.GET.get("down") == "1" or "sort" not in request.GET
    every = request.GET.get("all") == "1"
    shown = board(signed_in(request), wanted, sort=sort, down=down, at=timezone.now(), every=every)
    note_reading(request, *(line.patient.pk for line in shown["lines"]))
    context = shown | {
        "month": wanted,
        "before": month_before(wanted),
        "today": timezone.localdate(),
        "running": first_of(timezone.localdate()) == wanted,
        "after": next_month(wanted) if next_month(wanted) <= timezone.localdate() else None,
        "sort": sort,
        "down": down,
        "every": every,
        "wide": "all=1&" if every else "",
    }
    return render(request, "dosing/month_board.html", context)


@clinical_only
@require_GET
def next_review(request: HttpRequest, month: str) -> HttpResponse:
    """The way to the next review that is not signed, in the order of the board; to the board where all are."""
    wanted, quiet = month_of(month), request.GET.get("quiet") == "1"
    after = request.GET.get("after", "")
    found = next_to_judge(signed_in(request), wanted, after=after, quiet=quiet, at=timezone.now())
    if found.patient is None:
        words = _("No other quiet patient is left.") if quiet else _("All other reviews of this month are signed.")
        messages.success(request, words)
        return redirect("dosing:month", month)
    where = reverse("dosing:review", args=[found.patient.pk, month])
    return redirect(f"{where}?quiet=1" if quiet else where)


@staff_only
@require_GET
def month_number(request: HttpRequest, patient_id: uuid.UUID, month: str, number_key: str) -> HttpResponse:
    """How one number of a month came about."""
    if number_key not in MONTH_NUMBERS:
        raise Http404
    person = shown_patient(request, patient_id)
    row = get_object_or_404(PatientMonth, patient=person, month=month_of(month))
    number, ranges = MONTH_NUMBERS[number_key], book()
    worked = worked_of_month(row, number_key)
    kept = worked.figure
    usual = ranges.held_for(number_key, row.schedule)
    context = {
        "patient": person,
        "row": row,
        "figure": kept,
        "at": parse_datetime(kept.at) if kept.at else None,
        "worked": worked,
        "fit": fit_rows(row, number_key),
        "in_treatment": lines_said(row.delivered),
        "range": range_words(number, usual),
        "range_source": usual.source if usual else "",
        "place": ranges.place(number_key, kept.value, row.schedule),
        "aim": ranges.short(number_key, kept.value, row.schedule),
        "reaches_in": ranges.reaches_in(number_key, kept.interval, row.schedule),
        "night": _night_of(kept, person),
    }
    return render(request, "dosing/month_number.html", context)


def _night_of(kept: KeptNumber, person: Patient) -> tuple[TreatmentRecord, str] | None:
    """The treatment that a number of the month was taken over from, and the number's key there."""
    key = kept.number.key.removesuffix("_last")
    if "treatment" not in kept.inputs or key not in NIGHT_NUMBERS:
        return None
    record = TreatmentRecord.objects.filter(patient=person, started_at=kept.at).first()
    return (record, key) if record else None


@staff_only
@require_http_methods(["GET", "POST"])
def review_ranges(request: HttpRequest) -> HttpResponseBase:
    """The ranges in force with their sources; nurses and nephrologists set the unit's own."""
    form = RangeForm(request.POST or None)
    if request.method == "POST":
        return _set_range(request, form)
    return _ranges_page(request, form)


@clinical_only
def _set_range(request: HttpRequest, form: RangeForm) -> HttpResponse:
    if form.is_sure():
        try:
            set_range(**form.cleaned_data, by=signed_in(request), at=timezone.now())
        except ValidationError as problem:
            form.add_error(None, problem)
        else:
            messages.success(request, _("The range holds from now on."))
            return redirect("dosing:review-ranges")
    return _ranges_page(request, form)


def _ranges_page(request: HttpRequest, form: RangeForm) -> HttpResponse:
    ranges = book()
    rows = [
        {
            "number": number,
            "words": range_words(number, usual),
            "source": usual.source if usual else "",
            "whom": SCHEDULE_WORDS.get(usual.schedule, "") if usual else "",
        }
        for number in MONTH_NUMBERS.values()
        for usual in [ranges.of(number.key)]
    ]
    return render(request, "dosing/review_ranges.html", {"rows": rows, "form": form})
