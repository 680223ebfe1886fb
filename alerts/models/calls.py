"""Calls with patients."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from alerts.models.append_only import append_only
from alerts.models.choices import CallResult
from sessions.models import Patient
from sessions.models.querysets import StaffOnlyQuerySet


class Call(models.Model):
    """One try to reach a patient: what came of it, what was said, what is planned. Rows are only ever added."""

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="calls")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    result = models.CharField(max_length=12, choices=CallResult)
    said = models.TextField(blank=True)
    plan = models.TextField(blank=True)
    next_call_at = models.DateTimeField(null=True, blank=True)

    objects = StaffOnlyQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-at", "-pk"]
        indexes: ClassVar = [models.Index(fields=["patient", "-at"], name="call_of_patient")]
        constraints: ClassVar = [
            models.CheckConstraint(name="call_next_later", condition=Q(next_call_at=None) | Q(next_call_at__gt=F("at")))
        ]
        triggers: ClassVar = [append_only("call_append_only")]

    def __str__(self) -> str:
        return f"{self.get_result_display()} at {self.at:%Y-%m-%d %H:%M}"
