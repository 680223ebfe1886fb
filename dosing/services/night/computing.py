"""Compute the numbers of a record and keep them with the version of the science."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from dosing.models import RecordNumbers
from dosing.science import SCIENCE_VERSION
from dosing.services.course.reading import PatientCourses
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


COLUMNS = ("science_version", "record_revision", "computed_at", "numbers")
"""What is written anew."""


def computed(record: TreatmentRecord, *, at: datetime, courses: PatientCourses | None = None) -> RecordNumbers:
    """The numbers of one record, not kept yet. courses: as `gather` has them."""
    return RecordNumbers(
        record=record,
        science_version=SCIENCE_VERSION,
        record_revision=record.revision,
        computed_at=at,
        numbers=numbers_of(gather(record, courses)),
    )


def keep(rows: Sequence[RecordNumbers]) -> None:
    """In the place of those that stood: one query."""
    RecordNumbers.objects.bulk_create(rows, update_conflicts=True, unique_fields=["record"], update_fields=COLUMNS)


def compute(record: TreatmentRecord, *, at: datetime, courses: PatientCourses | None = None) -> RecordNumbers:
    """Compute and keep the numbers of one record."""
    made = computed(record, at=at, courses=courses)
    keep([made])
    return made
