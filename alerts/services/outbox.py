"""The list of what waits to be evaluated: add, claim, note what failed, put aside, try again."""

from __future__ import annotations

import logging
import re
import traceback
import uuid
from datetime import datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.db import transaction

from alerts.models import PendingEvaluation
from alerts.services.nudge import nudge_on_commit
from sessions.models import TreatmentRecord

MOST_ATTEMPTS = 5
FIRST_WAIT = timedelta(seconds=30)
MOST_ROWS = 100
"""News of one patient that is evaluated in one go."""
STOPPED = "The worker stopped before it was done"

logger = logging.getLogger(__name__)


def add(*, patient_id: uuid.UUID, why: str, at: datetime, record: TreatmentRecord | None = None) -> None:
    """Have a record evaluated, or without one the patient looked at as a whole, unless that waits already."""
    waiting = PendingEvaluation.objects.filter(patient_id=patient_id, record=record)
    if not waiting.exists():
        PendingEvaluation.objects.create(patient_id=patient_id, record=record, why=why, created_at=at, due_at=at)


@transaction.atomic
def claim(*, at: datetime) -> list[PendingEvaluation] | None:
    """The news of the patient who has waited longest, for this worker alone; None when nothing is due.

    The next try is set before the work: should the worker die of it, the row is due again later, and after the
    last attempt it is put aside. The list is empty where that was all there was.
    """
    due = PendingEvaluation.objects.due(at).claimed()
    first = due.first()
    if first is None:
        return None
    rows = list(due.filter(patient_id=first.patient_id)[:MOST_ROWS])
    for row in rows:
        if row.attempts >= MOST_ATTEMPTS:
            _put_aside(row, row.last_error or STOPPED, at)
        else:
            row.attempts += 1
            row.due_at = at + FIRST_WAIT * 4 ** (row.attempts - 1)
    PendingEvaluation.objects.bulk_update(rows, ["attempts", "due_at", "put_aside_at", "last_error"])
    return [row for row in rows if row.put_aside_at is None]


def note_failure(row: PendingEvaluation, problem: Exception, *, at: datetime) -> None:
    """Keep what went wrong; the row waits for its next try, or is put aside after the last."""
    row.last_error = words_of(problem)
    if row.attempts >= MOST_ATTEMPTS:
        _put_aside(row, row.last_error, at)
    row.save(update_fields=["last_error", "put_aside_at"])
    logger.error("Evaluation %s failed, attempt %s: %s", row.pk, row.attempts, row.last_error)


@transaction.atomic
def try_again(*, pending_id: int, at: datetime) -> bool:
    """Take a row back that was put aside, with all its attempts. False when it is not there any more."""
    rows = PendingEvaluation.objects.put_aside().filter(pk=pending_id)
    found = bool(rows.update(put_aside_at=None, attempts=0, due_at=at))
    if found:
        nudge_on_commit()
    return found


def words_of(problem: Exception) -> str:
    """An error for staff and logs: kind, place and message, without numbers or quoted texts, which may be clinical."""
    message = str(problem).splitlines()[0] if str(problem) else ""
    message = re.sub(r"\"[^\"]*\"|'[^']*'|“[^”]*”|<[^>]*>", "…", message)
    message = re.sub(r"[-+]?\d[\d.,:-]*", "#", message)[:120]
    frames = traceback.extract_tb(problem.__traceback__)
    place = f" at {_short(frames[-1].filename)}:{frames[-1].lineno}" if frames else ""
    return f"{type(problem).__name__}{place}: {message}"[:300]


def _short(filename: str) -> str:
    path = Path(filename)
    return str(path.relative_to(settings.BASE_DIR)) if path.is_relative_to(settings.BASE_DIR) else path.name


def _put_aside(row: PendingEvaluation, why: str, at: datetime) -> None:
    row.put_aside_at = at
    row.last_error = why
