"""What is usual of one person's numbers, by what is known of the person: see `plausible.own_ranges`."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from sessions.facts import plausible
from sessions.facts.ranges import Range
from sessions.models import Patient, Prescription, TreatmentRecord


def usual_of(record: TreatmentRecord) -> Mapping[str, Range]:
    """As it was known when this record's treatment began, its prescription being set."""
    return own_ranges(record.patient, record.prescription, before=record.started_at)


def own_ranges(patient: Patient, prescription: Prescription | None, *, before: datetime) -> Mapping[str, Range]:
    """By the target weight prescribed and the last weight after a treatment that began before this moment."""
    weighed = TreatmentRecord.objects.filter(patient=patient, started_at__lt=before, post_weight_kg__isnull=False)
    last = weighed.order_by("-started_at").values_list("post_weight_kg", flat=True).first()
    return plausible.own_ranges(target=prescription.target_weight_kg if prescription else None, last=last)
