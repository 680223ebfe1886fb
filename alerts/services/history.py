"""Read what rules look at: a patient's last months, in a fixed number of queries."""

from __future__ import annotations

import itertools
from datetime import date, datetime, timedelta

from django.db.models import Min

from alerts.limits import book_of
from alerts.models import Alert
from alerts.rules.base import HISTORY, History, Night
from dosing.models import RecordNumbers
from sessions.local_time import zone_of
from sessions.models import Patient, Prescription, TreatmentRecord
from sessions.plausible import MINUTES_BETWEEN_FUTURE_AND_NOW

LONGEST = timedelta(days=400)
"""However old an open alert is, no more than this is read."""
BEFORE_ALERT = timedelta(days=14)
PARTS = ("reading_set", "event_set", "computed")
CLOCKS_APART = timedelta(minutes=MINUTES_BETWEEN_FUTURE_AND_NOW)


def history_of(patient: Patient, *, at: datetime, whole: bool = True) -> History:
    """The patient's nights up to `at`, 90 days back or as far as the oldest open alert reaches.

    Without `whole` only when treatments were, not what was written of them.
    """
    since = _since(patient, at)
    records = TreatmentRecord.objects.filter(patient=patient, started_at__gte=since, started_at__lte=at + CLOCKS_APART)
    found = records.order_by("started_at").defer("document", "marks").select_related("prescription")
    found = found.prefetch_related(*PARTS) if whole else found
    prescriptions = list(Prescription.objects.filter(patient=patient).order_by("version"))
    return History(
        patient=patient,
        zone=zone_of(patient),
        since=since,
        nights=[_night(record) if whole else Night(record, record.prescription) for record in found],
        limits=book_of(patient),
        prescriptions=prescriptions,
        access_since=_access_since(patient, prescriptions),
        night_before=_night_before(patient, since),
    )


def _night_before(patient: Patient, since: datetime) -> date | None:
    earlier = TreatmentRecord.objects.filter(patient=patient, started_at__lt=since)
    night: date | None = earlier.order_by("-started_at").values_list("night", flat=True).first()
    return night


def _since(patient: Patient, at: datetime) -> datetime:
    oldest: date | None = Alert.objects.open().filter(patient=patient).aggregate(Min("first_night"))["first_night__min"]
    since = at - HISTORY
    if oldest is None:
        return since
    days = (at.date() - oldest).days
    return max(at - LONGEST, min(since, at - timedelta(days=days) - BEFORE_ALERT))


def _night(record: TreatmentRecord) -> Night:
    computed: RecordNumbers | None = getattr(record, "computed", None)
    return Night(
        record=record,
        prescription=record.prescription,
        readings=list(record.reading_set.all()),
        events=list(record.event_set.all()),
        numbers=computed.numbers if computed else {},
    )


def _access_since(patient: Patient, prescriptions: list[Prescription]) -> date | None:
    """The latest day on which the access or the needle size changed: pressures before it are not comparable."""
    accesses = patient.accesses.values_list("created_on", "abandoned_on")
    changes = [when for pair in accesses for when in pair if when]
    changes += [
        later.in_force.lower.date()
        for earlier, later in itertools.pairwise(prescriptions)
        if later.needle_gauge != earlier.needle_gauge
    ]
    return max(changes, default=None)
