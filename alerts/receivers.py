"""News from below becomes work: one row for each, in the transaction that brought the news."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.dispatch import receiver

from alerts.models import PendingEvaluation
from alerts.services import outbox
from alerts.services.nudge import nudge_on_commit
from sessions.models import BloodResult, Patient, TreatmentRecord
from sessions.signals import bloods_entered, surroundings_noted, treatment_recorded


@receiver(treatment_recorded, dispatch_uid="alerts.evaluate_record")
def evaluate_record_soon(sender: type[TreatmentRecord], record: TreatmentRecord, **kwargs: Any) -> None:
    """A new or corrected treatment wants its numbers and the rules."""
    PendingEvaluation.objects.create(
        patient_id=record.patient_id,
        record=record,
        why="treatment recorded",
        created_at=record.received_at,
        due_at=record.received_at,
    )
    nudge_on_commit()


@receiver(bloods_entered, dispatch_uid="alerts.evaluate_bloods")
def evaluate_bloods_soon(sender: type[BloodResult], results: list[BloodResult], **kwargs: Any) -> None:
    """Bloods change the dose of the treatments they were drawn at; others are looked at by themselves."""
    drawn_at = {(result.patient_id, result.treatment_id): result for result in results}
    PendingEvaluation.objects.bulk_create(
        PendingEvaluation(
            patient_id=patient_id,
            record_id=treatment_id,
            why="bloods entered",
            created_at=result.entered_at,
            due_at=result.entered_at,
        )
        for (patient_id, treatment_id), result in drawn_at.items()
    )
    if drawn_at:
        nudge_on_commit()


@receiver(surroundings_noted, dispatch_uid="alerts.evaluate_surroundings")
def evaluate_surroundings_soon(sender: type[Patient], patient: Patient, at: datetime, **kwargs: Any) -> None:
    """A water test, a count or a training that was noted ends or begins what rules say of it."""
    outbox.add(patient_id=patient.pk, why="surroundings noted", at=at)
    nudge_on_commit()
