"""Pages of laboratories' messages: upload, preview, take, what was not taken; and how each laboratory writes."""

from __future__ import annotations

import re
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods

from dosing.pages.forms_importing import LaboratoryForm, UploadForm
from dosing.services.importing import taking
from dosing.services.importing.judging import ASKS, CORRECTS, NEW, WORDS, counts
from dosing.services.importing.rejects import CONTENT_TYPES, not_taken, reason_of, rejects_file
from dosing.services.importing.rows import ResultRow, Unreadable, form_of
from dosing.services.numbers.blood_units import spoken_of, three_figures
from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.guards import clinical_only
from sessions.facts import plausible
from sessions.facts.choices import Analyte, MessageFormat, PostSampleMethod, SampleTiming
from sessions.models import LabLine, LabMessage, Laboratory
from sessions.services.reading_log import note_reading

MESSAGES_A_PAGE = 25


@clinical_only
@require_http_methods(["GET", "POST"])
def imports(request: HttpRequest) -> HttpResponse:
    """What came, newest first, and a form to bring in more."""
    form = UploadForm(request.POST or None, request.FILES or None)
    if form.is_valid():
        found = _received(request, form)
        if found:
            return redirect("dosing:import", found.pk)
    kept = LabMessage.objects.visible_to(request.user).defer("body").select_related("laboratory", "received_by")
    page = Paginator(kept, MESSAGES_A_PAGE).get_page(request.GET.get("page"))
    context = {"form": form, "page": page, "laboratories": Laboratory.objects.visible_to(request.user)}
    return render(request, "dosing/imports.html", context)


def _received(request: HttpRequest, form: UploadForm) -> LabMessage | None:
    """The message that the upload became, or None with the form saying why."""
    given = form.cleaned_data["file"]
    body = given.read()
    try:
        return taking.receive(
            laboratory=form.cleaned_data["laboratory"],
            form=form_of(body),
            body=body,
            filename=given.name,
            by=signed_in(request),
            at=timezone.now(),
        )
    except taking.AlreadyHere as problem:
        messages.warning(request, str(problem))
        return problem.message
    except Unreadable as problem:
        form.add_error("file", str(problem))
        return None


@clinical_only
@require_http_methods(["GET", "POST"])
def one_import(request: HttpRequest, import_id: int) -> HttpResponse:
    """The preview of a message; and taking it."""
    message = get_object_or_404(
        LabMessage.objects.visible_to(request.user).select_related("laboratory", "received_by", "taken_by"),
        pk=import_id,
    )
    if request.method == "POST" and _took(request, message):
        return redirect("dosing:import", message.pk)
    lines = list(message.lines.select_related("patient"))
    note_reading(request, *(line.patient_id for line in lines if line.patient_id))
    found = counts(lines)
    context = {
        "message": message,
        "lines": [_shown(line, request) for line in lines],
        "counts": [(WORDS[verdict], number) for verdict, number in found.items()],
        "to_take": found[NEW] + found[CORRECTS],
        "asks": found[ASKS],
        "taken": sum(line.taken for line in lines),
        "not_taken": len(not_taken(message)),
        "post_methods": PostSampleMethod.choices,
        "post": any(line.timing == SampleTiming.POST or line.options for line in lines),
    }
    return render(request, "dosing/import.html", context)


def _took(request: HttpRequest, message: LabMessage) -> bool:
    answers = {
        int(name.removeprefix("line-")): value
        for name, value in request.POST.items()
        if isinstance(value, str) and re.fullmatch(r"line-[0-9]{1,6}", name)
    }
    method = request.POST.get("post_method", "")
    chosen = method if method in PostSampleMethod.values else PostSampleMethod.NEITHER
    minutes, why = _minutes(request.POST.get("post_minutes", ""))
    if why:
        messages.error(request, why)
        return False
    try:
        number = taking.take(
            message=message,
            answers=answers,
            post_method=chosen,
            post_minutes=minutes,
            by=signed_in(request),
            at=timezone.now(),
        )
    except taking.NotAnswered as problem:
        messages.error(request, str(problem))
    except taking.Changed:
        messages.error(request, _("Other results came meanwhile: the lines were looked at again. Read them once more."))
    except taking.AlreadyTaken:
        messages.warning(request, _("Somebody has taken these results meanwhile."))
        return True
    else:
        messages.success(
            request, ngettext("%(count)s result entered.", "%(count)s results entered.", number) % {"count": number}
        )
        return True
    return False


def _minutes(given: str) -> tuple[float | None, str]:
    """Minutes after the end as they were typed, None where nothing was, and why they are refused."""
    if not given.strip():
        return None, ""
    try:
        minutes = float(given.replace(",", "."))
    except ValueError:
        return None, plausible.MINUTES_AFTER_END.needed
    return minutes, plausible.MINUTES_AFTER_END.refusal(minutes)


def _shown(line: LabLine, request: HttpRequest) -> dict[str, Any]:
    row = ResultRow.from_json(line.row)
    value = ""
    if line.value is not None and line.analyte:
        shown = spoken_of(line.analyte)
        value = f"{row.bound}{three_figures(shown.from_canonical(line.value))} {shown.unit}"
    return {
        "line": line,
        "row": row,
        "words": WORDS[line.verdict],
        "reason": reason_of(line),
        "options": [(option["key"], _option_words(line, option)) for option in line.options],
        "value": value if line.verdict != ASKS or line.taken else "",
        "timing": SampleTiming(line.timing).label if line.timing else "",
        "chosen": line.answer or request.POST.get(f"line-{line.index}", ""),
    }


def _option_words(line: LabLine, option: dict[str, Any]) -> str:
    if option["key"] == taking.LEAVE:
        return _("Leave it out")
    asks_timing = line.analyte == Analyte.UREA
    return f"{option['given']}, {SampleTiming(option['timing']).label}" if asks_timing else str(option["given"])


@clinical_only
@require_GET
def rejects(request: HttpRequest, import_id: int) -> HttpResponse:
    """The lines that were not taken, in the form in which they came, with the reasons."""
    message = _whole(request, import_id)
    content_type, ending = CONTENT_TYPES[MessageFormat(message.form)]
    return _download(rejects_file(message), content_type, f"not-taken-{message.pk}.{ending}")


@clinical_only
@require_GET
def original(request: HttpRequest, import_id: int) -> HttpResponse:
    """The message as it came."""
    message = _whole(request, import_id)
    content_type, ending = CONTENT_TYPES[MessageFormat(message.form)]
    return _download(bytes(message.body), content_type, f"message-{message.pk}.{ending}")


def _whole(request: HttpRequest, import_id: int) -> LabMessage:
    message: LabMessage = get_object_or_404(LabMessage.objects.visible_to(request.user), pk=import_id)
    patients = message.lines.exclude(patient=None).values_list("patient_id", flat=True)
    note_reading(request, *patients)
    return message


def _download(body: bytes, content_type: str, name: str) -> HttpResponse:
    answer = HttpResponse(body, content_type=content_type)
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


@clinical_only
@require_http_methods(["GET", "POST"])
def laboratory(request: HttpRequest, laboratory_id: int | None = None) -> HttpResponse:
    """How a laboratory writes its tables; without an id, a new one."""
    visible = Laboratory.objects.visible_to(request.user)
    known = get_object_or_404(visible, pk=laboratory_id) if laboratory_id else Laboratory()
    form = LaboratoryForm(request.POST or None, instance=known)
    if form.is_valid():
        form.save()
        messages.success(request, _("Saved."))
        return redirect("dosing:imports")
    return render(request, "dosing/laboratory.html", {"form": form, "laboratory": known})
