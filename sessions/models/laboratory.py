"""Blood results, in canonical units, each tied to a treatment where it belongs to one."""

from __future__ import annotations

from typing import ClassVar

import pghistory
from django.conf import settings
from django.db import models
from django.db.models import Q

from sessions.choices import Analyte, PostSampleMethod, SampleTiming
from sessions.models.patient import Patient
from sessions.models.treatment import TreatmentRecord
from sessions.querysets import OfPatientQuerySet


@pghistory.track()
class BloodResult(models.Model):
    """One result. `value` is in the analyte's canonical unit (see plausible.BLOOD)."""

    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="bloods")
    treatment = models.ForeignKey(
        TreatmentRecord, null=True, blank=True, on_delete=models.SET_NULL, related_name="bloods"
    )
    analyte = models.CharField(max_length=10, choices=Analyte)
    value = models.FloatField()
    drawn_at = models.DateTimeField("drawn at")
    timing = models.CharField(max_length=6, choices=SampleTiming)
    post_method = models.CharField(max_length=16, choices=PostSampleMethod, blank=True)
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()

    objects = OfPatientQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-drawn_at"]
        constraints: ClassVar = [
            models.UniqueConstraint(name="blood_result_once", fields=["patient", "analyte", "drawn_at", "timing"]),
            models.CheckConstraint(name="blood_post_method", condition=Q(timing=SampleTiming.POST) | Q(post_method="")),
        ]

    def __str__(self) -> str:
        return f"{self.get_analyte_display()} of {self.patient}"
