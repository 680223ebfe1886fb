"""The clock on the patient's wall."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

from homedialysis.accounts.models import Unit
from sessions.models import Patient


def zone_of(patient: Patient) -> ZoneInfo:
    """The patient's own time zone, else the unit's, else UTC."""
    return zones_of([patient])[patient.pk]


def zones_of(patients: Sequence[Patient]) -> dict[uuid.UUID, ZoneInfo]:
    """The time zone of each patient, by patient: one query at most."""
    unit = Unit.objects.first() if any(not patient.time_zone for patient in patients) else None
    usual = unit.time_zone if unit else "UTC"
    return {patient.pk: ZoneInfo(patient.time_zone or usual) for patient in patients}


def night_of(started_at: datetime, zone: ZoneInfo) -> date:
    """A treatment belongs to the date on which it began, whatever the date at its end."""
    return started_at.astimezone(zone).date()
