"""News that waits to be evaluated."""

from __future__ import annotations

from datetime import datetime
from typing import ClassVar, Self

from django.db import models
from django.db.models import F, Q
from django.db.models.lookups import IsNull

from sessions.models import Patient, TreatmentRecord


class PendingQuerySet(models.QuerySet["PendingEvaluation"]):
    def due(self, at: datetime) -> Self:
        return self.filter(put_aside_at=None, due_at__lte=at).order_by("due_at", "pk")

    def records_first(self) -> Self:
        """A treatment that was just noted before what holds for a whole patient: news of the unit is a row for each."""
        return self.order_by(IsNull(F("record"), True), "due_at", "pk")

    def fresh(self, at: datetime) -> Self:
        """Due, never claimed, never failed."""
        return self.filter(put_aside_at=None, due_at__lte=at, attempts=0, loans=0)

    def put_aside(self) -> Self:
        return self.exclude(put_aside_at=None).order_by("put_aside_at", "pk")

    def claimed(self) -> Self:
        """Lock these rows for this worker and pass over those another worker holds."""
        return self.select_for_update(skip_locked=True, of=("self",), no_key=True)


class PendingEvaluation(models.Model):
    """News that wants evaluating: written with the news, gone in the transaction that evaluates it.

    Without a record the patient is looked at as a whole. attempts: how often it failed by itself; a row that keeps
    failing is put aside for people to see. loans: how often a worker has claimed it since and was not heard of.
    """

    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="+")
    record = models.ForeignKey(TreatmentRecord, null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    why = models.CharField(max_length=60)
    created_at = models.DateTimeField()
    due_at = models.DateTimeField()
    attempts = models.PositiveSmallIntegerField(default=0)
    loans = models.PositiveSmallIntegerField(default=0)
    last_error = models.CharField(max_length=300, blank=True)
    put_aside_at = models.DateTimeField(null=True, blank=True)

    objects = PendingQuerySet.as_manager()

    class Meta:
        indexes: ClassVar = [
            models.Index(fields=["due_at", "id"], name="pending_due", condition=Q(put_aside_at=None)),
        ]

    def __str__(self) -> str:
        return f"{self.why} of {self.patient_id}"
