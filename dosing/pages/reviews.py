"""Pages of a monthly review: written, planned, signed, added to, released; and what the patient reads of it."""

from __future__ import annotations

import uuid
from datetime import date, datetime
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from dosing.models import MonthlyReview, PatientMonth, PlanItem
from dosing.pages import typed_review
from dosing.pages.forms_month import PlanForm, ReviewForm, WordsForm
from dosing.pages.month import month_of
from dosing.services.decision.half_year import read_half_year
from dosing.services.decision.report import review_pdf
from dosing.services.decision.tiles import Screen
from dosing.services.month import figures, reviewing
from dosing.services.month.beside import beside
from dosing.services.month.board import LACKING, PatientLine, lines_of
from dosing.services.month.review_sheet import ReviewSheet, review_sheet
from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.guards import bedside_only, clinical_only, nephrologist_only
from homedialysis.accounts.pages.signing import fingerprint, objection, was_shown
from sessions.facts.local_day import month as month_words
from sessions.models import Patient
from sessions.pages.persons import shown_patient


@clinical_only
@require_http_methods(["GET", "POST"])
def review(request: HttpRequest, patient_id: uuid.UUID, month: str) -> HttpResponse:
    """One patient's month: six months against the ranges, what changed, the judgement, the plan; written here."""
    person, wanted = shown_patient(request, patient_id), month_of(month)
    found = MonthlyReview.objects.filter(patient=person, month=wanted).first()
    if request.method == "POST":
        form = ReviewForm(request.POST)
        if not form.is_valid():
            return _review_page(request, person, wanted, form=form)
        if _write(request, person, wanted, found):
            messages.success(request, _("Kept. It is not signed yet."))
        typed_review.keep_plan(request, person, wanted)
        return redirect("dosing:review", person.pk, month)
    return _review_page(request, person, wanted)


def _write(request: HttpRequest, person: Patient, month: date, found: MonthlyReview | None) -> bool:
    """Keep the judgement as it was typed; where it cannot be kept it is said why, and shown again as it was typed."""
    typed = typed_review.judgement_in(request.POST)
    if found and not found.signed_at and typed_review.changed_meanwhile(request.POST, found):
        messages.error(
            request,
            _("Somebody has changed these words since you opened this page. What stands now: “%(words)s” “%(plain)s”. "
              "Yours are below and not kept yet: put them together, then press “Keep”.")
            % {"words": found.words, "plain": found.for_patient},
        )  # fmt: skip
        typed_review.keep_judgement(request, person, month)
        return False
    try:
        reviewing.write(patient=person, month=month, **typed, by=signed_in(request), at=timezone.now())
    except reviewing.SignedAlready:
        messages.error(request, _("Somebody has signed this review meanwhile: add to it instead."))
        typed_review.keep_judgement(request, person, month)
        return False
    return True


def _review_page(request: HttpRequest, person: Patient, month: date, **more: Any) -> HttpResponse:
    now = timezone.now()
    sheet = review_sheet(person, month, at=now)
    found, row = sheet.review, sheet.row
    on_board = _on_board(person, month, sheet, now)
    written = typed_review.as_written(found) if found else _offered(on_board["line"])
    typed = typed_review.typed_of(request, person, month)
    judgement = written | typed.get("judgement", {})
    signed = bool(found and found.signed_at)
    context = {
        "patient": person,
        "month": month,
        "one_by_one": request.GET.get("quiet") == "1",
        **_of_sheet(sheet),
        **on_board,
        **_befell(person, month),
        "charts": figures.of_review(sheet.months, sheet.rows, sheet.ranges),
        "tiles": Screen(sheet, read_half_year(person, month, at=now)).tiles(),
        "plan": list(found.plan.select_related("owner", "done_by")) if found else [],
        "open_plan": [item for item in reviewing.open_plan(person) if not found or item.review_id != found.pk],
        "seen": fingerprint(_shown(found, row)),
        "judged": typed_review.mark_of(found),
        "plan_form": PlanForm(initial=typed.get("plan")),
        "addendum_form": WordsForm(),
        "form": ReviewForm(initial=judgement),
        "unsent": typed.get("judgement", {}) if signed else {},
        "today": timezone.localdate(),
    }
    return render(request, "dosing/review.html", context | more)


def _offered(line: PatientLine) -> dict[str, str]:
    """Words that stand in the box of a quiet month until somebody writes others; nothing of them is kept before."""
    return {"words": _("All known, sure and in range; nothing new. Nothing to change.")} if line.quiet else {}


def _of_sheet(sheet: ReviewSheet) -> dict[str, Any]:
    """What the template reads of the sheet."""
    return {
        "review": sheet.review,
        "row": sheet.row,
        "lines": sheet.lines,
        "in_treatment": sheet.in_treatment,
        "doubts": sheet.doubts,
        "unknown": sheet.unknown,
        "range_sources": sheet.range_sources,
        "months": sheet.columns,
        "last": sheet.last,
        "changes": sheet.changes,
        "later": sheet.later,
        "prescription": sheet.prescription,
        "orders": sheet.orders,
        "delivered": sheet.numbers,
        "minutes": sheet.minutes,
        "addenda": sheet.addenda,
    }


def _on_board(person: Patient, month: date, sheet: ReviewSheet, now: datetime) -> dict[str, Any]:
    """The line of the board, and what is missing of the month in words."""
    line = lines_of([person], month, sheet.ranges, at=now)[0]
    return {"line": line, "lacking": LACKING.get(line.lacks, "")}


def _befell(person: Patient, month: date) -> dict[str, Any]:
    """What stands beside the numbers, and, of what did not happen, that it did not."""
    lines = beside(person, month)
    none = [line.label for line in lines if line.happened and not line.texts]
    words = _("None entered: %(what)s.") % {"what": ", ".join(none)} if none else ""
    return {"beside": lines, "nothing_happened": words}


def _shown(found: MonthlyReview | None, row: PatientMonth | None) -> dict[str, Any]:
    """What the signer saw beside what the signer typed: words, plan and numbers as they stood when the page opened."""
    return {
        "words": found.words if found else "",
        "for_patient": found.for_patient if found else "",
        "plan": [(item.words, item.owner_id, item.due_on) for item in found.plan.all()] if found else [],
        "numbers": row.computed_at if row else None,
    }


def _one(request: HttpRequest, patient_id: uuid.UUID, month: str) -> tuple[Patient, MonthlyReview]:
    person = shown_patient(request, patient_id)
    return person, get_object_or_404(MonthlyReview, patient=person, month=month_of(month))


@clinical_only
@require_POST
def add_plan(request: HttpRequest, patient_id: uuid.UUID, month: str) -> HttpResponse:
    """Add a plan item; the review is begun with it where there is none yet."""
    person, wanted = shown_patient(request, patient_id), month_of(month)
    found = MonthlyReview.objects.filter(patient=person, month=wanted).first()
    form = PlanForm(request.POST)
    if not form.is_valid():
        return _review_page(request, person, wanted, plan_form=form)
    if typed_review.differs(request.POST, found) or found is None:
        _write(request, person, wanted, found)
    try:
        review = found or MonthlyReview.objects.get(patient=person, month=wanted)
        reviewing.plan(review=review, item=reviewing.PlanToBe(**form.cleaned_data), by=signed_in(request))
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
def sign(request: HttpRequest, patient_id: uuid.UUID, month: str) -> HttpResponse:
    """Sign what was shown with the words that stand typed, with the password once more; nothing typed is lost."""
    person, wanted = shown_patient(request, patient_id), month_of(month)
    found = MonthlyReview.objects.filter(patient=person, month=wanted).first()
    row = PatientMonth.objects.filter(patient=person, month=wanted).first()
    if found and found.signed_at:
        messages.warning(request, _("It is signed already."))
    elif not was_shown(request, _shown(found, row)):
        _keep_typed(request, person, wanted, found)
        messages.error(request, _("Something changed since you opened this page: read it again, then sign."))
    elif why := objection(request):
        _keep_typed(request, person, wanted, found)
        messages.error(request, why)
    elif _signed(request, person, wanted, found):
        return redirect(_after_signing(request, person, month))
    return redirect("dosing:review", person.pk, month)


def _keep_typed(request: HttpRequest, person: Patient, month: date, found: MonthlyReview | None) -> None:
    """Words that cannot be signed now are kept, a plan is shown again."""
    if typed_review.differs(request.POST, found):
        _write(request, person, month, found)
    typed_review.keep_plan(request, person, month)


def _signed(request: HttpRequest, person: Patient, month: date, found: MonthlyReview | None) -> bool:
    """Keep what stands typed and sign it, in one transaction; else it is said why not, and kept to be signed later."""
    plan_form = PlanForm(request.POST) if typed_review.has_plan(request.POST) else None
    if plan_form and not plan_form.is_valid():
        _keep_typed(request, person, month, found)
        messages.warning(request, _("A plan is typed and not whole: complete it or empty it, then sign."))
        return False
    by, at = signed_in(request), timezone.now()
    typed = typed_review.judgement_in(request.POST if "words" in request.POST else typed_review.as_written(found))
    try:
        with transaction.atomic():
            review = reviewing.write(patient=person, month=month, **typed, by=by, at=at)
            if plan_form:
                reviewing.plan(review=review, item=reviewing.PlanToBe(**plan_form.cleaned_data), by=by)
            reviewing.sign(review=review, by=by, at=at)
    except reviewing.SignedAlready:
        messages.warning(request, _("It is signed already."))
    except reviewing.NotYet as problem:
        _keep_typed(request, person, month, found)
        messages.error(request, str(problem))
    else:
        parts = {"patient": person.name, "month": month_words(month)}
        messages.success(request, _("Signed: %(patient)s, %(month)s. From now on it only takes addenda.") % parts)
        return True
    return False


def _after_signing(request: HttpRequest, person: Patient, month: str) -> str:
    """The next patient where that was asked for, else the review that was signed."""
    if request.POST.get("then") != "next":
        return reverse("dosing:review", args=[person.pk, month])
    quiet = "&quiet=1" if request.POST.get("one_by_one") else ""
    return f"{reverse('dosing:next-review', args=[month])}?after={person.pk}{quiet}"


@clinical_only
@require_POST
def add(request: HttpRequest, patient_id: uuid.UUID, month: str) -> HttpResponse:
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
def release(request: HttpRequest, patient_id: uuid.UUID, month: str) -> HttpResponse:
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
def as_pdf(request: HttpRequest, patient_id: uuid.UUID, month: str) -> HttpResponse:
    """The review as PDF, signed or not: it says which."""
    person, wanted = shown_patient(request, patient_id), month_of(month)
    answer = HttpResponse(review_pdf(person, wanted, at=timezone.now()), content_type="application/pdf")
    answer.headers["Content-Disposition"] = f'inline; filename="review-{wanted:%Y-%m}.pdf"'
    return answer


@bedside_only
@require_GET
def patient_letters(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """What the nephrologist wrote for the patient, month by month, as far as it was released."""
    person = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    reviews = MonthlyReview.objects.filter(patient=person, release__isnull=False).select_related("signed_by")
    return render(request, "dosing/patient_letters.html", {"patient": person, "reviews": reviews})
