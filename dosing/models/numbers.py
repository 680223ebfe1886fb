"""What was computed of each record and of each month, kept with the science that made it."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from sessions.models import Patient, TreatmentRecord
from sessions.models.querysets import OfPatientQuerySet


class NumbersQuerySet(OfPatientQuerySet):
    path_to_patient = "record__patient"


class RecordNumbers(models.Model):
    """The numbers of one record.

    `numbers` maps a key of `NIGHT_NUMBERS` to {"value": float | null, "why": null | {"code", part: value}, "doubts":
    [{"code", part: value}], "inputs": {name: value}, "function": its place in the code, "at": ""}: what went in,
    through what, what came out and how sure it is, so that a page can show how the number came about.
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


class PatientMonth(models.Model):
    """The numbers of one patient's calendar month.

    `numbers` maps a key of `MONTH_NUMBERS` to the same as of a night; "at": when it was measured, for results that can
    be old. delivered: how many treatments, and by which rows of guidance the month is judged. stale: something came
    since, so it waits to be computed again.
    """

    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="months")
    month = models.DateField(help_text=_("Its first day."))
    numbers = models.JSONField(default=dict)
    delivered = models.JSONField(default=dict)
    science_version = models.CharField(max_length=20, blank=True)
    computed_at = models.DateTimeField()
    stale = models.BooleanField(default=True)

    objects = OfPatientQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-month"]
        indexes: ClassVar = [models.Index(fields=["month"], name="month_waiting", condition=Q(stale=True))]
        constraints: ClassVar = [models.UniqueConstraint(name="month_once", fields=["patient", "month"])]

    def __str__(self) -> str:
        return f"{self.month:%Y-%m} of {self.patient_id}"

    @property
    def schedule(self) -> str:
        """By which rows of guidance it is judged, as `guidance.schedule_of` says; "" where that is not known."""
        found: str = self.delivered.get("schedule", "")
        return found
