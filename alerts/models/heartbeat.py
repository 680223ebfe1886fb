"""When each part of the machinery was last known to work."""

from __future__ import annotations

from django.db import models


class Heartbeat(models.Model):
    """When a part of the machinery was last known to work."""

    part = models.CharField(max_length=10, primary_key=True)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.part} at {self.at:%Y-%m-%d %H:%M:%S}"
