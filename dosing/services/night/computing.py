"""Compute the numbers of a record and keep them with the version of the science."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any

from dosing.models import RecordNumbers
from dosing.science import SCIENCE_VERSION
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.night.inputs import NightFacts, gather
from dosing.services.night.origins import origins_of
from dosing.services.numbers.kept import as_stored
from dosing.services.numbers.number import Number
from sessions.models import TreatmentRecord


def numbers_of(facts: NightFacts) -> dict[str, dict[str, Any]]:
    """Every number of the catalogue for one record; an unknown one carries its reason."""
    return {key: _stored(number, facts) for key, number in NIGHT_NUMBERS.items()}


def _stored(number: Number[NightFacts], facts: NightFacts) -> dict[str, Any]:
    found = number.ask(facts)
    return as_stored(number, replace(found, origins=origins_of(facts, found.inputs)))


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
