"""News from below becomes work: rows of the outbox, in the transaction that brought the news."""

from __future__ import annotations

from typing import Any

from django.db.models import Model
from django.db.models.signals import post_delete, post_save
from django.dispatch import receiver
from django.utils.translation import gettext_noop

from alerts.models import RecordJudgement
from alerts.services import news, outbox
from sessions.facts.choices import RecordState
from sessions.models import Patient, TreatmentRecord
from sessions.signals import treatment_recorded


@receiver(treatment_recorded, dispatch_uid="alerts.evaluate_record")
def evaluate_record_soon(sender: type[TreatmentRecord], record: TreatmentRecord, **kwargs: Any) -> None:
    """A new or corrected treatment wants its numbers and the rules; one begun by mistake is judged no more."""
    if record.state == RecordState.MISTAKEN:
        RecordJudgement.objects.filter(record=record).delete()
    outbox.add(
        patient_id=record.patient_id, record_id=record.pk, why=gettext_noop("treatment recorded"), at=record.received_at
    )


def tell_of_saved(sender: type[Model], instance: Model, created: bool = False, **kwargs: Any) -> None:
    """A patient who is new has nothing yet that could be judged: what is noted then is news by itself."""
    if not (created and sender is Patient):
        news.tell([instance])


def tell_of_deleted(sender: type[Model], instance: Model, origin: Any = None, **kwargs: Any) -> None:
    """With a patient goes everything that could be judged."""
    if not isinstance(origin, Patient):
        news.tell([instance])


for _model in news.SOURCES:
    post_save.connect(tell_of_saved, sender=_model, dispatch_uid=f"alerts.saved.{_model._meta.label}")
    post_delete.connect(tell_of_deleted, sender=_model, dispatch_uid=f"alerts.deleted.{_model._meta.label}")
