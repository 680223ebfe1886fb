"""How many alerts are open, for pages of other packages."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db.models import Count

from alerts.models import Alert
from alerts.models.choices import AlertState


def open_alerts(patient_ids: Iterable[Any]) -> dict[Any, int]:
    """Open alerts by patient: one query."""
    found = Alert.objects.filter(patient__in=list(patient_ids), state=AlertState.OPEN).values("patient")
    return {row["patient"]: row["count"] for row in found.annotate(count=Count("pk")).order_by()}
