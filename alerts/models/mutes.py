"""Rules that are quiet for one patient and some time."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from alerts.models.append_only import append_only
from sessions.models import Patient
from sessions.models.querysets import StaffOnlyQuerySet


class Mute(models.Model):
    """A rule that opens nothing for one patient until a time, and why. Rows are only ever added: the newest holds.

    A row without `until` says that the rule is heard again from then on.
    """

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="mutes")
    rule = models.CharField(max_length=40)
    since = models.DateTimeField()
    until = models.DateTimeField(null=True, blank=True)
    why = models.TextField()
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    objects = StaffOnlyQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-since", "-pk"]
        indexes: ClassVar = [models.Index(fields=["patient", "rule", "-since"], name="mute_of_patient")]
        constraints: ClassVar = [
            models.CheckConstraint(name="mute_until_after_since", condition=Q(until=None) | Q(until__gt=F("since"))),
        ]
        triggers: ClassVar = [append_only("mute_append_only")]

    def __str__(self) -> str:
        return f"{self.rule} from {self.since:%Y-%m-%d}"
