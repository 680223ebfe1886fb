"""A patient's treatments with what was computed of them, read in one go."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.formats import get_format
from django.utils.translation import gettext

from dosing.models import RecordNumbers
from dosing.services.night.catalogue import BY_KEY, Number
from dosing.services.night.reasons import NOT_COMPUTED, reason_words
from sessions.models import Prescription, TreatmentRecord


@dataclass(frozen=True, slots=True)
class Figure:
    """One number of one night, ready for a page."""

    number: Number
    value: float | None
    why: str
    inputs: dict[str, Any]
    function: str

    @property
    def shown(self) -> str:
        if self.value is None:
            return gettext("unknown")
        text = f"{100 * self.value:.0f}" if self.number.percent else f"{self.value:.{self.number.decimals}f}"
        return text.replace("-", "−").replace(".", get_format("DECIMAL_SEPARATOR"))

    @property
    def unit(self) -> str:
        if self.number.percent:
            return "%"
        return "" if self.number.unit == "1" else gettext(self.number.unit)


@dataclass(frozen=True, slots=True)
class Night:
    """A record with its numbers; `stale` when the numbers belong to an earlier revision or were never computed."""

    record: TreatmentRecord
    numbers: dict[str, Any]
    stale: bool

    @property
    def prescription(self) -> Prescription | None:
        return self.record.prescription

    def value(self, key: str) -> float | None:
        found: float | None = self.numbers.get(key, {}).get("value")
        return found

    def why(self, key: str) -> str:
        """Why there is no number, in the language of the reader."""
        return reason_words(str(self.numbers.get(key, {}).get("why", NOT_COMPUTED)))

    def figure(self, key: str) -> Figure:
        kept = self.numbers.get(key, {})
        return Figure(BY_KEY[key], self.value(key), self.why(key), kept.get("inputs", {}), kept.get("function", ""))

    @property
    def figures(self) -> list[Figure]:
        return [self.figure(key) for key in BY_KEY]


def as_night(record: TreatmentRecord) -> Night:
    try:
        kept = record.computed
    except RecordNumbers.DoesNotExist:
        return Night(record, {}, stale=True)
    return Night(record, kept.numbers, stale=kept.record_revision != record.revision)


def nights_of(patient_id: uuid.UUID, *, since: datetime, until: datetime) -> list[Night]:
    """The patient's nights that began in [since, until), oldest first: one query."""
    records = TreatmentRecord.objects.filter(patient=patient_id).between(since, until)
    read = records.select_related("computed", "prescription").defer("document").order_by("started_at")
    return [as_night(record) for record in read]
