"""Which stored numbers belong to an earlier science, and computing them again."""

from __future__ import annotations

import uuid
from datetime import datetime

from django.db import transaction
from django.db.models import Q

from dosing.science import SCIENCE_VERSION
from dosing.services.night.computing import compute
from sessions.models import TreatmentRecord

CHUNK = 200
"""Records a task takes: some seconds of work, so a stopped worker loses little and a fresh record never waits long."""


def chunk_after(after: uuid.UUID | None) -> list[TreatmentRecord]:
    """The next records, in order of id, without numbers of the present science."""
    stale = Q(computed=None) | ~Q(computed__science_version=SCIENCE_VERSION)
    waiting = TreatmentRecord.objects.filter(stale).order_by("pk")
    if after is not None:
        waiting = waiting.filter(pk__gt=after)
    return list(waiting.select_related("patient", "prescription")[:CHUNK])


def recompute(records: list[TreatmentRecord], *, at: datetime) -> int:
    """Compute the numbers of these records, each in a transaction of its own; returns how many."""
    for record in records:
        with transaction.atomic():
            compute(record, at=at)
    return len(records)
