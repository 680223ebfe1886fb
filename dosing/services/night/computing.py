"""Compute the numbers of a record and keep them with the version of the science."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from dosing.models import RecordNumbers
from dosing.science import SCIENCE_VERSION
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.night.inputs import NightFacts, gather
from dosing.services.numbers.kept import as_stored
from sessions.models import TreatmentRecord


def numbers_of(facts: NightFacts) -> dict[str, dict[str, Any]]:
    """Every number of the catalogue for one record; an unknown one carries its reason."""
    return {key: as_stored(number, number.ask(facts)) for key, number in NIGHT_NUMBERS.items()}


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
