"""Pages of the month: the board, how a number came about, the ranges, and a patient's review."""

from __future__ import annotations

import re
import uuid
from datetime import date
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from dosing.models import MonthlyReview, PatientMonth, PlanItem
from dosing.pages.forms_month import PlanForm, RangeForm, ReviewForm, WordsForm
from dosing.services.month import figures, reviewing
from dosing.services.month.board import board, sorts
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.facts import first_of, month_before, next_month
from dosing.services.month.ranges import book, range_words, set_range
from dosing.services.month.report import review_pdf
from dosing.services.month.review_sheet import review_sheet
from dosing.services.night.derivation import WORDS, shown_input
from dosing.services.numbers.kept import kept_number
from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.guards import bedside_only, clinical_only, nephrologist_only, staff_only
from homedialysis.accounts.pages.signing import fingerprint, objection, was_shown
from sessions.models import Patient
from sessions.pages.persons import shown_patient
from sessions.services.reading_log import note_reading

FIRST_SORT = "outside"
"""With most numbers out of range on top: who wants judging first."""


def month_of(text: str) -> date:
    """2026-03 as its first day. Raises Http404 for anything else."""
    if not re.fullmatch(r"(19|20)[0-9]{2}-(0[1-9]|1[0-2])", text):
        raise Http404
    return date(int(text[:4]), int(text[5:]), 1)


@staff_only
@require_GET
def month_board(request: HttpRequest, month: str | None = None) -> HttpResponse:
    """All patients of a month; without one, the month that ended last."""
    wanted = month_of(month) if month else month_before(first_of(timezone.localdate()))
    asked = request.GET.get("sort", FIRST_SORT)
    sort = asked if asked in sorts() else "name"
    down = request.GET.get("down") == "1" or "sort" not in request.GET
    shown = board(signed_in(request), wanted, sort=sort, down=down)
    note_reading(request, *(line.patient.pk for line in shown["lines"]))
    context = shown | {
        "month": wanted,
        "before": month_before(wanted),
        "after": next_month(wanted) if next_month(wanted) <= timezone.localdate() else None,
        "sort": sort,
        "down": down,
    }
    return render(request, "dosing/month_board.html", context)


@staff_only
@require_GET
def month_number(request: HttpRequest, patient_id: uuid.UUID, month: str, number_key: str) -> HttpResponse:
    """How one number of a month came about."""
    if number_key not in MONTH_NUMBERS:
        raise Http404
    person = shown_patient(request, patient_id)
    row = get_object_or_404(PatientMonth, patient=person, month=month_of(month))
    number, ranges = MONTH_NUMBERS[number_key], book()
    kept = kept_number(number, row.numbers)
    usual = ranges.of(number_key)
    context = {
        "patient": person,
        "row": row,
        "figure": kept,
        "at": parse_datetime(kept.at) if kept.at else None,
        "lines": [
            (_(WORDS[name]) if name in WORDS else name.replace("_", " "), shown_input(given))
            for name, given in kept.inputs.items()
        ],
        "range": range_words(number, usual),
        "range_source": _(usual.source) if usual and usual.source else "",
        "place": ranges.place(number_key, kept.value),
    }
    return render(request, "dosing/month_number.html", context)


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
    if form.is_valid():
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
        (number, range_words(number, usual), _(usual.source) if usual and usual.source else "")
        for number in MONTH_NUMBERS.values()
        for usual in [ranges.of(number.key)]
    ]
    return render(request, "dosing/review_ranges.html", {"rows": rows, "form": form})


@clinical_only
@require_http_methods(["GET", "POST"])
def review(request: HttpRequest, patient_id: uuid.UUID, month: str) -> HttpResponse:
    """One patient's month: six months against the ranges, what changed, the judgement, the plan; written here."""
    person, wanted = shown_patient(request, patient_id), month_of(month)
    found = MonthlyReview.objects.filter(patient=person, month=wanted).first()
    form = ReviewForm(request.POST if request.method == "POST" else None, initial=_as_written(found))
    if request.method == "POST" and form.is_valid():
        try:
            reviewing.write(patient=person, month=wanted, **form.cleaned_data, by=signed_in(request), at=timezone.now())
        except reviewing.SignedAlready:
            messages.error(request, _("Somebody has signed this review meanwhile: add to it instead."))
        else:
            messages.success(request, _("Kept. It is not signed yet."))
        return redirect("dosing:review", person.pk, month)
    return _review_page(request, person, wanted, form=form)


def _as_written(found: MonthlyReview | None) -> dict[str, str]:
    return {"words": found.words, "for_patient": found.for_patient} if found else {}


def _review_page(request: HttpRequest, person: Patient, month: date, **more: Any) -> HttpResponse:
    sheet = review_sheet(person, month, at=timezone.now())
    found, row = sheet.review, sheet.row
    context = {
        "patient": person,
        "month": month,
        "review": found,
        "row": row,
        "lines": sheet.lines,
        "months": sheet.months,
        "charts": figures.of_review(sheet.months, sheet.rows, sheet.ranges),
        "last": sheet.last,
        "changes": sheet.changes,
        "prescription": sheet.prescription,
        "delivered": sheet.numbers,
        "plan": list(found.plan.select_related("owner", "done_by")) if found else [],
        "open_plan": [item for item in reviewing.open_plan(person) if not found or item.review_id != found.pk],
        "addenda": sheet.addenda,
        "seen": fingerprint(_shown(found, row)) if found else "",
        "plan_form": PlanForm(),
        "addendum_form": WordsForm(),
        "form": ReviewForm(initial=_as_written(found)),
        "today": timezone.localdate(),
    }
    return render(request, "dosing/review.html", context | more)


def _shown(found: MonthlyReview, row: PatientMonth | None) -> dict[str, Any]:
    """What the signer saw: words, plan and numbers; the signature counts for exactly these."""
    return {
        "words": found.words,
        "for_patient": found.for_patient,
        "plan": [(item.words, item.owner_id, item.due_on) for item in found.plan.all()],
        "numbers": row.computed_at if row else None,
    }


def _one(request: HttpRequest, patient_id: uuid.UUID, month: str) -> tuple[Patient, MonthlyReview]:
    person = shown_patient(request, patient_id)
    return person, get_object_or_404(MonthlyReview, patient=person, month=month_of(month))


@clinical_only
@require_POST
def review_plan(request: HttpRequest, patient_id: uuid.UUID, month: str) -> HttpResponse:
    """Add a plan item."""
    person, found = _one(request, patient_id, month)
    form = PlanForm(request.POST)
    if not form.is_valid():
        return _review_page(request, person, found.month, plan_form=form)
    try:
        reviewing.plan(review=found, item=reviewing.PlanToBe(**form.cleaned_data), by=signed_in(request))
    except reviewing.SignedAlready:
        messages.error(request, _("This review is signed: its plan no longer changes. Write an addendum."))
    return redirect("dosing:review", person.pk, month)


@clinical_only
@require_POST
def plan_done(request: HttpRequest, plan_id: int) -> HttpResponse:
    """Note that a plan item is done."""
    item = get_object_or_404(PlanItem.objects.select_related("review__patient"), pk=plan_id)
    get_object_or_404(Patient.objects.visible_to(request.user), pk=item.review.patient_id)
    reviewing.settle(item=item, words=request.POST.get("words", ""), by=signed_in(request), at=timezone.now())
    messages.success(request, _("Noted as done."))
    return redirect("dosing:review", item.review.patient_id, f"{item.review.month:%Y-%m}")


@nephrologist_only
@require_POST
def review_sign(request: HttpRequest, patient_id: uuid.UUID, month: str) -> HttpResponse:
    """Sign what was shown, with the password once more."""
    person, found = _one(request, patient_id, month)
    row = PatientMonth.objects.filter(patient=person, month=found.month).first()
    if not was_shown(request, _shown(found, row)):
        messages.error(request, _("Something changed since you opened this page: read it again, then sign."))
    elif why := objection(request):
        messages.error(request, why)
    else:
        try:
            reviewing.sign(review=found, by=signed_in(request), at=timezone.now())
            messages.success(request, _("Signed. From now on it only takes addenda."))
        except reviewing.SignedAlready:
            messages.warning(request, "It is signed already.")
        except reviewing.NotYet as problem:
            messages.error(request, str(problem))
    return redirect("dosing:review", person.pk, month)


@clinical_only
@require_POST
def review_add(request: HttpRequest, patient_id: uuid.UUID, month: str) -> HttpResponse:
    """Write an addendum to a signed review."""
    person, found = _one(request, patient_id, month)
    try:
        reviewing.add(review=found, words=request.POST.get("words", ""), by=signed_in(request), at=timezone.now())
        messages.success(request, _("Added."))
    except reviewing.NotYet as problem:
        messages.error(request, str(problem))
    return redirect("dosing:review", person.pk, month)


@nephrologist_only
@require_POST
def review_release(request: HttpRequest, patient_id: uuid.UUID, month: str) -> HttpResponse:
    """Let the patient see the plain-language page."""
    person, found = _one(request, patient_id, month)
    try:
        reviewing.release(review=found, by=signed_in(request), at=timezone.now())
        messages.success(request, _("The patient can read it now."))
    except reviewing.NotYet as problem:
        messages.error(request, str(problem))
    return redirect("dosing:review", person.pk, month)


@clinical_only
@require_GET
def review_file(request: HttpRequest, patient_id: uuid.UUID, month: str) -> HttpResponse:
    """The review as PDF, signed or not: it says which."""
    person, wanted = shown_patient(request, patient_id), month_of(month)
    answer = HttpResponse(review_pdf(person, wanted, at=timezone.now()), content_type="application/pdf")
    answer.headers["Content-Disposition"] = f'inline; filename="review-{wanted:%Y-%m}.pdf"'
    return answer


@bedside_only
@require_GET
def told(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """What the nephrologist wrote for the patient, month by month, as far as it was released."""
    person = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    reviews = MonthlyReview.objects.filter(patient=person, release__isnull=False).select_related("signed_by")
    return render(request, "dosing/told.html", {"patient": person, "reviews": reviews})
