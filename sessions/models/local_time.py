"""The clock on the patient's wall."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from copy import copy
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils import timezone

from homedialysis.accounts.models import Unit
from sessions.facts.places import place_at
from sessions.models import Patient

STILL_EVENING = timedelta(hours=3)
"""After midnight a treatment that begins is still the one of the evening before (common practice, no source)."""


def zone_of(patient: Patient, at: datetime | None = None) -> ZoneInfo:
    """The time zone of the place where the patient is, else the patient's own, else the unit's, else UTC. at: now."""
    return zones_of([patient], at)[patient.pk]


def zones_of(patients: Sequence[Patient], at: datetime | None = None) -> dict[uuid.UUID, ZoneInfo]:
    """The time zone of each patient, by patient: one query at most."""
    moment = at or timezone.now()
    own = {patient.pk: _own_zone(patient, moment) for patient in patients}
    unit = Unit.objects.first() if not all(own.values()) else None
    usual = unit.time_zone if unit else "UTC"
    return {key: ZoneInfo(name or usual) for key, name in own.items()}


def _own_zone(patient: Patient, at: datetime) -> str:
    place = place_at(patient.places, at)
    return place.zone if place else patient.time_zone


def emergency_number(patient: Patient, unit: Unit | None, at: datetime) -> str:
    """What is called in an emergency where the patient is, "" where nobody has set it."""
    place = place_at(patient.places, at)
    return (place.emergency if place else "") or (unit.emergency_number if unit else "")


def unit_there(patient: Patient, unit: Unit | None, at: datetime) -> Unit | None:
    """The unit as the patient's pages name it: with the number of an emergency where the patient is."""
    if unit is None or not patient.places:
        return unit
    there = copy(unit)
    there.emergency_number = emergency_number(patient, unit, at)
    return there


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
