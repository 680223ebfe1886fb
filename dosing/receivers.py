"""What makes a month's numbers out of date: the month is marked in the same transaction, and computed later."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from django.utils import timezone

from dosing.models import RecordNumbers
from dosing.services.decision.forecasts import keep_forecast
from dosing.services.month.computing import mark_stale
from sessions.facts.choices import RecordState
from sessions.models import BloodResult, HospitalStay, LeftOut, Patient, Prescription, TreatmentRecord, UrineCollection


def on_treatment(*, record: TreatmentRecord, **_: Any) -> None:
    if record.state == RecordState.MISTAKEN:
        RecordNumbers.objects.filter(record=record).delete()
    mark_stale(record.patient, record.started_at, until=timezone.now())


def on_bloods(*, results: list[BloodResult], **_: Any) -> None:
    mark_stale(results[0].patient, min(result.drawn_at for result in results), until=timezone.now())


def on_prescription(*, prescription: Prescription, **_: Any) -> None:
    mark_stale(prescription.patient, prescription.in_force.lower, until=timezone.now())
    keep_forecast(prescription, at=prescription.signed_at)


def on_urine(*, instance: UrineCollection, **_: Any) -> None:
    mark_stale(instance.patient, instance.began_at, until=timezone.now())


def on_stay(*, instance: HospitalStay, **_: Any) -> None:
    """Days that are taken out of the time in treatment; a first day that was put right may have been earlier."""
    versions: Any = instance.events  # type: ignore[attr-defined]  # made by pghistory
    first = min([instance.admitted_on, *versions.values_list("admitted_on", flat=True)])
    mark_stale(instance.patient, _noon(first), until=timezone.now())


def on_left_out(*, instance: LeftOut, **_: Any) -> None:
    """A day without a treatment that is no longer merely not entered."""
    mark_stale(instance.patient, _noon(instance.day), until=timezone.now())


def on_patient(*, instance: Patient, **_: Any) -> None:
    """Joining and leaving bound the time in treatment; sex, height and birth go into every volume."""
    mark_stale(instance, _noon(instance.joined_on), until=timezone.now())


def _noon(day: date) -> datetime:
    return datetime.combine(day, time(12), UTC)


def on_surroundings(*, patient: Patient, **_: Any) -> None:
    """Water counts for three months back; a late entry is older than that only by mistake."""
    now = timezone.now()
    mark_stale(patient, now - timedelta(days=92), until=now)
