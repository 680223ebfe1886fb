"""What was computed of each record, kept with the science that made it."""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from sessions.models import TreatmentRecord
from sessions.querysets import OfPatientQuerySet


class NumbersQuerySet(OfPatientQuerySet):
    path_to_patient = "record__patient"


class RecordNumbers(models.Model):
    """The numbers of one record.

    `numbers` maps a key of `catalogue.NUMBERS` to {"value": float | null, "why": "" | reason, "inputs": {name: value},
    "function": its place in the code}: what went in, through what, and what came out, so that a page can show how
    the number came about.
    """

    record = models.OneToOneField(TreatmentRecord, primary_key=True, on_delete=models.CASCADE, related_name="computed")
    science_version = models.CharField(max_length=20)
    record_revision = models.PositiveIntegerField()
    computed_at = models.DateTimeField()
    numbers = models.JSONField()

    objects = NumbersQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "record numbers"
        indexes: ClassVar = [models.Index(fields=["science_version"], name="numbers_by_science")]

    def __str__(self) -> str:
        return f"Numbers of {self.record_id}"
