"""Long pieces of work that people ask for."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _


class Job(models.Model):
    """A long piece of work that somebody asked for: a batch of reports, an export. The row is the task.

    done of total: how far it is; result: the file in DATA_DIR/jobs, "" while there is none; stopped_at: by a person.
    """

    class Kind(models.TextChoices):
        REPORTS = "reports", _("reviews of a month as PDF")
        EXPORT = "export", _("everything as FHIR NDJSON")

    kind = models.CharField(max_length=10, choices=Kind)
    params = models.JSONField(default=dict)
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    total = models.PositiveIntegerField(default=0)
    done = models.PositiveIntegerField(default=0)
    touched_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)
    stopped_at = models.DateTimeField(null=True)
    error = models.CharField(max_length=300, blank=True)
    result = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering: ClassVar = ["-asked_at"]
        indexes: ClassVar = [
            models.Index(fields=["asked_at"], name="job_open", condition=Q(finished_at=None, stopped_at=None))
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.asked_at:%Y-%m-%d %H:%M}"
