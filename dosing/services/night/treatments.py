"""A patient's treatments with what was computed of them, read in one go."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet

from dosing.models import RecordNumbers
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.numbers.kept import KeptNumber, kept_number
from sessions.models import BloodResult, Prescription, TreatmentRecord


@dataclass(frozen=True, slots=True)
class ComputedNight:
    """A record with its numbers; `stale` when the numbers belong to an earlier revision or were never computed."""

    record: TreatmentRecord
    numbers: dict[str, Any]
    stale: bool

    @property
    def kept(self) -> RecordNumbers | None:
        """The row in which the numbers lie; None before they are computed."""
        return getattr(self.record, "computed", None)

    @property
    def prescription(self) -> Prescription | None:
        return self.record.prescription

    def value(self, key: str) -> float | None:
        found: float | None = self.numbers.get(key, {}).get("value")
        return found

    def why(self, key: str) -> str:
        """Why there is no number, in the language of the reader."""
        return self.figure(key).why

    def figure(self, key: str) -> KeptNumber:
        return kept_number(NIGHT_NUMBERS[key], self.numbers)

    @property
    def figures(self) -> list[KeptNumber]:
        return [kept_number(number, self.numbers) for number in NIGHT_NUMBERS.values()]


def as_night(record: TreatmentRecord) -> ComputedNight:
    try:
        kept = record.computed
    except RecordNumbers.DoesNotExist:
        return ComputedNight(record, {}, stale=True)
    return ComputedNight(record, kept.numbers, stale=kept.record_revision != record.revision)


def nights_of(patient_id: uuid.UUID, *, since: datetime, until: datetime) -> list[ComputedNight]:
    """The patient's nights that began in [since, until), oldest first: one query."""
    return _read(TreatmentRecord.objects.filter(patient=patient_id).between(since, until))


def nights_with_bloods(patient_id: uuid.UUID, *, since: datetime, until: datetime) -> list[ComputedNight]:
    """Those of them at which bloods were drawn, oldest first: one query."""
    drawn = BloodResult.objects.filter(treatment=OuterRef("pk"))
    return _read(TreatmentRecord.objects.filter(Exists(drawn), patient=patient_id).between(since, until))


def _read(records: QuerySet[TreatmentRecord]) -> list[ComputedNight]:
    read = records.select_related("computed", "prescription").defer("document").order_by("started_at")
    return [as_night(record) for record in read]
