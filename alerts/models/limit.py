"""Limits that the unit or one patient's nurse has set."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from alerts.models.append_only import append_only
from sessions.models import Patient
from sessions.models.querysets import OfPatientQuerySet


class Limit(models.Model):
    """A limit set for the unit (no patient) or for one patient. Rows are only ever added: the newest in force holds.

    A row without a value says that the wider limit holds again from then on.
    """

    name = models.CharField(max_length=40)
    patient = models.ForeignKey(Patient, null=True, blank=True, on_delete=models.CASCADE, related_name="limits")
    value = models.FloatField(null=True, blank=True)
    why = models.TextField()
    since = models.DateTimeField()
    until = models.DateTimeField(null=True, blank=True)
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    objects = OfPatientQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-since", "-pk"]
        indexes: ClassVar = [models.Index(fields=["patient", "-since"], name="limit_of_patient")]
        constraints: ClassVar = [
            models.CheckConstraint(name="limit_until_after_since", condition=Q(until=None) | Q(until__gt=F("since"))),
        ]
        triggers: ClassVar = [append_only("limit_append_only")]

    def __str__(self) -> str:
        return f"{self.name} from {self.since:%Y-%m-%d}"
