"""Enter blood results, tied to the treatment they were drawn at."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q

from homedialysis.accounts.models import User
from sessions.models import BloodResult, Patient, SampleTiming, TreatmentRecord
from sessions.signals import bloods_entered

LOOK_AROUND = timedelta(hours=6)
"""How far before the start or after the end of a treatment its samples may be drawn (common practice, no source)."""


def treatment_of_sample(patient: Patient, drawn_at: datetime, timing: str) -> TreatmentRecord | None:
    """The treatment a sample belongs to: for "pre" the next one to start, for "post" the last one to end."""
    near = TreatmentRecord.objects.filter(patient=patient)
    if timing == SampleTiming.PRE:
        soon = near.filter(started_at__gte=drawn_at - timedelta(minutes=30), started_at__lte=drawn_at + LOOK_AROUND)
        next_one: TreatmentRecord | None = soon.order_by("started_at").first()
        return next_one
    if timing == SampleTiming.POST:
        just_over = near.filter(ended_at__lte=drawn_at + timedelta(minutes=30), ended_at__gte=drawn_at - LOOK_AROUND)
        last_one: TreatmentRecord | None = just_over.order_by("-ended_at").first()
        return last_one
    return None


def tie_bloods(record: TreatmentRecord) -> None:
    """Tie results to a treatment whose record came, or was corrected, after they were entered."""
    span = (record.started_at - LOOK_AROUND, (record.ended_at or record.started_at) + LOOK_AROUND)
    near = BloodResult.objects.filter(Q(treatment=record) | Q(treatment=None, drawn_at__range=span))
    for result in near.filter(patient=record.patient_id).exclude(timing=SampleTiming.APART):
        found = treatment_of_sample(record.patient, result.drawn_at, result.timing)
        if found != result.treatment:
            result.treatment = found
            result.save(update_fields=["treatment"])


@transaction.atomic
def enter_bloods(*, results: Iterable[BloodResult], by: User, at: datetime) -> list[BloodResult]:
    """Save results of one patient. A result for the same analyte, time and timing takes the old one's place."""
    saved = []
    for result in results:
        result.entered_by, result.entered_at = by, at
        if result.treatment_id is None:
            result.treatment = treatment_of_sample(result.patient, result.drawn_at, result.timing)
        same = BloodResult.objects.filter(
            patient=result.patient, analyte=result.analyte, drawn_at=result.drawn_at, timing=result.timing
        ).first()
        if same and not result.pk:
            result.pk = same.pk
        result.save()
        saved.append(result)
    if saved:
        bloods_entered.send(sender=BloodResult, results=saved)
    return saved
