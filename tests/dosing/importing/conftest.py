"""Ana as the laboratories know her, a laboratory, and two results that stand from an earlier message."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from homedialysis.accounts.models import User
from sessions.models import BloodResult, Laboratory, Patient
from tests.factories import BloodFactory

DRAWN_AT = datetime(2026, 3, 2, 21, 0, tzinfo=UTC)
NOW = datetime(2026, 3, 10, 9, 0, tzinfo=UTC)


@pytest.fixture
def known_ana(ana: Patient) -> Patient:
    ana.hospital_number, ana.birth_date = "HD-A", date(1970, 2, 3)
    ana.save()
    return ana


@pytest.fixture
def laboratory(db: None) -> Laboratory:
    return Laboratory.objects.create(name="Quillhaven laboratory")


@pytest.fixture
def standing(known_ana: Patient, nurse: User) -> dict[str, BloodResult]:
    """Sodium as the messages repeat it, and albumin as they correct it."""
    sodium = {"analyte": "2951-2", "value": 138, "specimen": "S3"}
    albumin = {"analyte": "1751-7", "value": 31, "specimen": "S4"}
    return {
        row["analyte"]: BloodFactory(patient=known_ana, entered_by=nurse, drawn_at=DRAWN_AT, version=1, **row)  # type: ignore[arg-type]
        for row in (sodium, albumin)
    }
