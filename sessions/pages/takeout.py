"""A patient takes the own record out, and the paper sheet for the night on which the phone fails.

The take-out is only for the patient and the care partners: staff have pages of their own. The sheet is for both.
"""

from __future__ import annotations

import functools
import uuid
from collections.abc import Callable, Iterator
from typing import TypeVar

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect, StreamingHttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone, translation
from django.views.decorators.http import require_safe

from homedialysis.accounts.models import Unit
from homedialysis.accounts.pages.guards import bedside_only
from homedialysis.accounts.services.language import language_for, language_here, reading, spelt
from homedialysis.accounts.services.units import speaking, units_of
from sessions.models import Patient
from sessions.services import takeout
from sessions.services.flow_sheet import flow_sheet_pdf
from sessions.services.reading_log import note_reading
from sessions.services.wall_sheet import wall_sheet_pdf

T = TypeVar("T", str, bytes)


@bedside_only
@require_safe
def whole_json(request: HttpRequest, patient_id: uuid.UUID) -> StreamingHttpResponse:
    """Everything in one JSON text."""
    patient = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    return _sent(takeout.as_json(patient, at=timezone.now()), "application/json", "record.json")


@bedside_only
@require_safe
def whole_zip(request: HttpRequest, patient_id: uuid.UUID) -> StreamingHttpResponse:
    """A zip of CSV tables, with the JSON beside them."""
    patient = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    return _sent(takeout.as_zip(patient, at=timezone.now()), "application/zip", "record.zip")


def _spoken(pieces: Iterator[T]) -> Iterator[T]:
    """The same, each made in the language of this request: the pieces are asked for when it is over."""
    language = spelt(language_here())

    def one_by_one() -> Iterator[T]:
        while True:
            with translation.override(language):
                piece = next(pieces, None)
            if piece is None:
                return
            yield piece

    return one_by_one()


def _sent(pieces: Iterator[T], kind: str, name: str) -> StreamingHttpResponse:
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"}
    return StreamingHttpResponse(_spoken(pieces), content_type=kind, headers=headers)


@bedside_only
@require_safe
def own_flow_sheet(request: HttpRequest) -> HttpResponse:
    """For a phone on which nothing runs that knows a patient: leads to the sheet, blank where there are several."""
    patients = list(Patient.objects.visible_to(request.user)[:2])
    if not patients:
        raise Http404
    blank = "?blank=1" if len(patients) > 1 else ""
    return HttpResponseRedirect(reverse("treatments:flow-sheet", args=[patients[0].pk]) + blank)


@login_required
@require_safe
def flow_sheet(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """The paper sheet as a PDF: filled with what is ordered, or with ?blank=1 empty."""
    blank = request.GET.get("blank") == "1"
    make = functools.partial(flow_sheet_pdf, at=timezone.now(), blank=blank)
    return _printed(request, patient_id, make, "flow-sheet.pdf")


@login_required
@require_safe
def wall_sheet(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """The emergency cards for the wall beside the machine, as a PDF."""
    return _printed(request, patient_id, functools.partial(wall_sheet_pdf, at=timezone.now()), "wall-sheet.pdf")


def _printed(request: HttpRequest, patient_id: uuid.UUID, make: Callable[[Patient], bytes], name: str) -> HttpResponse:
    """A sheet of one patient, in the patient's language and units whoever prints it: that phone types it in."""
    patient = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    note_reading(request, patient.pk)
    asked = language_here()
    language = language_for(patient.account, wished=asked) if patient.account else asked
    with speaking(units_of(Unit.objects.current(), patient.account)), reading(language):
        made = make(patient)
    headers = {"Content-Disposition": f'inline; filename="{name}"', "Cache-Control": "no-store"}
    return HttpResponse(made, content_type="application/pdf", headers=headers)
