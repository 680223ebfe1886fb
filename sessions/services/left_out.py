"""Days on which no treatment is done, as the patient or who helps says: neither delivered nor missing."""

from __future__ import annotations

import uuid
from datetime import date, datetime

from django.db import transaction

from homedialysis.accounts.models import User
from sessions.models import LeftOut, Patient
from sessions.services.phone_rows import row_of


@transaction.atomic
def leave_out(
    *, said_id: uuid.UUID, patient: Patient, day: date, reason: str, words: str, by: User, at: datetime, now: datetime
) -> LeftOut:
    """Keep that no treatment is done on a day; said again under its id, the newest holds. Raises OfSomebodyElse."""
    said = row_of(LeftOut, said_id, patient)
    said.day, said.reason, said.words = day, reason, words
    said.said_by, said.said_at, said.received_at, said.taken_back_at = by, at, now, None
    said.save()
    return said


def take_back(said: LeftOut, *, now: datetime) -> None:
    """It is treated after all, or was said of the wrong day. Twice is once."""
    if said.taken_back_at is None:
        said.taken_back_at = now
        said.save(update_fields=["taken_back_at"])
