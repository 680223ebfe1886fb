"""What was expected of a signed change on the day it was signed, and what came of it."""

from __future__ import annotations

from typing import ClassVar

import pgtrigger
from django.db import models

from sessions.models import Prescription
from sessions.models.querysets import OfPatientQuerySet


class ForecastQuerySet(OfPatientQuerySet):
    path_to_patient = "prescription__patient"


class ChangeForecast(models.Model):
    """Of one prescription that followed another.

    expected: what the planner's model said, as `Expectation.as_json` has it, or {"why": a code}; kept as it was.
    before: what the four weeks before it were; came: by the weeks, "4" and "8", what the four weeks up to them were, as
    `services.decision.outcome` reads them, {} where the next change came too soon. came_at: when that was read.
    """

    prescription = models.OneToOneField(Prescription, on_delete=models.CASCADE, related_name="forecast")
    made_at = models.DateTimeField()
    science_version = models.CharField(max_length=20)
    expected = models.JSONField()
    before = models.JSONField(default=dict)
    came = models.JSONField(default=dict)
    came_at = models.DateTimeField(null=True, blank=True)

    objects = ForecastQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-made_at"]
        triggers: ClassVar = [
            pgtrigger.ReadOnly(name="forecast_stays", fields=["prescription", "made_at", "expected", "before"])
        ]

    def __str__(self) -> str:
        return f"Forecast of {self.made_at:%Y-%m-%d} for {self.prescription}"
