"""The clock on the patient's wall."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils import timezone

from homedialysis.accounts.models import Unit
from sessions.models import Patient

STILL_EVENING = timedelta(hours=3)
"""After midnight a treatment that begins is still the one of the evening before (common practice, no source)."""


def zone_of(patient: Patient) -> ZoneInfo:
    """The patient's own time zone, else the unit's, else UTC."""
    return zones_of([patient])[patient.pk]


def zones_of(patients: Sequence[Patient]) -> dict[uuid.UUID, ZoneInfo]:
    """The time zone of each patient, by patient: one query at most."""
    unit = Unit.objects.first() if any(not patient.time_zone for patient in patients) else None
    usual = unit.time_zone if unit else "UTC"
    return {patient.pk: ZoneInfo(patient.time_zone or usual) for patient in patients}


def night_of(started_at: datetime, zone: ZoneInfo) -> date:
    """The day that a treatment serves: that on which it began, or the day before where it began soon after midnight.

    >>> from datetime import UTC
    >>> [str(night_of(datetime(2026, 3, *at, tzinfo=UTC), ZoneInfo("UTC"))) for at in ((3, 0, 20), (3, 23, 50))]
    ['2026-03-02', '2026-03-03']
    """
    return (started_at.astimezone(zone).replace(tzinfo=None) - STILL_EVENING).date()


def on_wall(moment: datetime) -> str:
    """A moment as a chart draws it, on the clock of the page: charts drop an offset, and would draw another day.

    >>> with timezone.override("America/Denver"):
    ...     on_wall(datetime(2026, 11, 28, 5, 0, tzinfo=ZoneInfo("UTC")))
    '2026-11-27T22:00'
    """
    return timezone.localtime(moment).replace(tzinfo=None).isoformat(timespec="minutes")
