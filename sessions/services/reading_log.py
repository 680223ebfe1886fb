"""Note who read whose record."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Count
from django.db.models.functions import TruncDate
from django.http import HttpRequest

from homedialysis.accounts.models import ReadLog, User
from sessions.models import Patient
from sessions.models.local_time import zone_of

SHOWN = timedelta(days=90)
"""How far back a patient is shown who read."""


def note_reading(request: HttpRequest, *patient_ids: uuid.UUID) -> None:
    """One row for each patient whose record a page or an answer shows to the unit's staff."""
    user = request.user
    if isinstance(user, User) and user.is_unit_staff:
        path = request.path[:200]
        ReadLog.objects.bulk_create(ReadLog(user=user, patient_id=each, path=path) for each in set(patient_ids))


@dataclass(frozen=True, slots=True)
class ReadOnDay:
    """How often somebody of the unit opened something of one patient's on one day of the patient's."""

    day: date
    reader: User
    times: int


def read_by_day(patient: Patient, *, until: datetime) -> list[ReadOnDay]:
    """Who of the unit looked at this record in the last 90 days, the newest day first."""
    rows = ReadLog.objects.filter(patient_id=patient.pk, at__gt=until - SHOWN, at__lte=until)
    days = rows.annotate(day=TruncDate("at", tzinfo=zone_of(patient))).values("day", "user").annotate(times=Count("pk"))
    people = User.objects.in_bulk({row["user"] for row in days})
    read = [ReadOnDay(row["day"], people[row["user"]], row["times"]) for row in days]
    return sorted(read, key=lambda each: (-each.day.toordinal(), each.reader.name))
