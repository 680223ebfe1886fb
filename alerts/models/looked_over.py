"""What somebody of the unit has looked over before the first treatment, and found right as it comes."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _


class Part(models.TextChoices):
    """What comes with the program and may stay as it is, once a person has said so."""

    TEXTS = "texts", _("Checks, run sheets and emergency cards")
    LIMITS = "limits", _("Limits that open an alert")
    RANGES = "ranges", _("Ranges of the monthly review")
    INTERVALS = "intervals", _("How often things come round, and the limits for water")
    BY_HAND = "by_hand", _("No laboratory sends files: bloods are typed")


class LookedOver(models.Model):
    """Who said of a part that it is right for this unit, and when: said again, the newest counts."""

    part = models.CharField(max_length=10, choices=Part)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering: ClassVar = ["-at"]

    def __str__(self) -> str:
        return f"{self.get_part_display()}, by {self.by} on {self.at:%Y-%m-%d}"
