"""The clock on the patient's wall."""

from __future__ import annotations

from datetime import date, datetime
from zoneinfo import ZoneInfo

from homedialysis.accounts.models import Unit
from sessions.models import Patient


def zone_of(patient: Patient) -> ZoneInfo:
    """The patient's own time zone, else the unit's, else UTC."""
    if patient.time_zone:
        return ZoneInfo(patient.time_zone)
    unit = Unit.objects.first()
    return ZoneInfo(unit.time_zone if unit else "UTC")


def night_of(started_at: datetime, zone: ZoneInfo) -> date:
    """A treatment belongs to the date on which it began, whatever the date at its end."""
    return started_at.astimezone(zone).date()
