"""Compute the numbers of a record and keep them with the version of the science."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from dosing.models import RecordNumbers
from dosing.science import SCIENCE_VERSION
from dosing.services.night.catalogue import NUMBERS, Number
from dosing.services.night.inputs import Facts, gather
from sessions.models import TreatmentRecord


def numbers_of(facts: Facts) -> dict[str, dict[str, Any]]:
    """Every number of the catalogue for one record; an unknown one carries its reason."""
    return {number.key: _one(number, facts) for number in NUMBERS}


def _one(number: Number, facts: Facts) -> dict[str, Any]:
    inputs = number.inputs(facts)
    result = number.compute(**inputs)
    return {"value": result.number, "why": result.reason, "inputs": inputs, "function": number.function}


def compute(record: TreatmentRecord, *, at: datetime) -> RecordNumbers:
    """Compute and store the numbers of one record, in the place of those that stood."""
    kept, _ = RecordNumbers.objects.update_or_create(
        record=record,
        defaults={
            "science_version": SCIENCE_VERSION,
            "record_revision": record.revision,
            "computed_at": at,
            "numbers": numbers_of(gather(record)),
        },
    )
    return kept
