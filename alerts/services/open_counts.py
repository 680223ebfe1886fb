"""How many alerts stand, for pages of other packages."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db.models import Count

from alerts.models import Alert


def open_alerts(patient_ids: Iterable[Any]) -> dict[Any, int]:
    """Open alerts whose cause is not gone, by patient: one query."""
    found = Alert.objects.standing().filter(patient__in=list(patient_ids)).values("patient")
    return {row["patient"]: row["count"] for row in found.annotate(count=Count("pk")).order_by()}
