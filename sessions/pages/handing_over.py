"""What lies on phones and could not be handed over, for the pages of the unit."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from homedialysis.accounts.models import User, signed_in
from homedialysis.accounts.pages.guards import staff_only
from sessions.facts.choices import EntryEnd, RecordState
from sessions.models import LeftOut, NotHandedOver, Patient, TreatmentRecord
from sessions.services.handing_over import entry_is_over, why

OF_LATE = timedelta(days=35)
"""How far back the patient's page tells of days that were left out."""


@dataclass(frozen=True, slots=True)
class ShownEntry:
    """An entry that stands, with why it could not be handed over."""

    entry: NotHandedOver
    why: str


def standing_entries(user: User, patient: Patient | None = None) -> list[ShownEntry]:
    """What stands, of one patient or of all that a person may see."""
    found = NotHandedOver.objects.visible_to(user).standing().select_related("patient", "told_by")
    if patient is not None:
        found = found.filter(patient=patient)
    return [ShownEntry(each, why(each)) for each in found]


def said_of_late(patient: Patient, now: datetime) -> dict[str, Any]:
    """What was said at the bedside of days without a treatment and of records begun by mistake, for a page."""
    since = now - OF_LATE
    begun = TreatmentRecord.with_mistaken.filter(patient=patient, state=RecordState.MISTAKEN, started_at__gte=since)
    said = LeftOut.objects.filter(patient=patient, day__gte=since.date())
    return {
        "left_out": said.select_related("said_by"),
        "mistaken": begun.select_related("recorded_by").defer("document").newest_first(),
    }


@staff_only
@require_POST
def seen_to(request: HttpRequest, entry_id: uuid.UUID) -> HttpResponse:
    """Somebody called, or found another way: the row is over, under that name."""
    entry = get_object_or_404(NotHandedOver.objects.visible_to(request.user), pk=entry_id)
    if entry_is_over(entry_id=entry.pk, how=EntryEnd.SEEN, at=timezone.now(), by=signed_in(request)):
        messages.success(request, _("Noted that you have seen to it."))
    else:
        messages.warning(request, _("It is over already: it came in, or somebody was faster."))
    return redirect("dosing:patient", entry.patient_id)
