"""The list of news that waits to be evaluated: add, claim, note what failed, put aside, try again.

News is a row, written in the transaction that brought it. A row that a worker has claimed goes with what that worker
has read, and one that failed or was put aside waits: none of them may stand for something newer, which gets a row of
its own. The rows of a patient are evaluated together, so many cost no more than one.

A claim lends a row to a worker for a while. A worker that is killed, or loses the database, is nobody's fault: the
row is due again when the loan ends. Only an error that evaluating the row itself raises counts against it, makes it
wait longer each time, and has it put aside for people in the end. A row that was lent often and never came back may
be what kills its workers: it is evaluated alone then, so that no other row suffers with it, and put aside at last.
"""

from __future__ import annotations

import logging
import re
import traceback
import uuid
from collections.abc import Collection
from datetime import datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.db import connection, transaction
from django.db.models import F, Q, QuerySet, Value

from alerts.models import PendingEvaluation
from alerts.services.waking import wake_on_commit
from sessions.models import Patient

MOST_ATTEMPTS = 5
FIRST_WAIT = timedelta(seconds=30)
"""After a row's own error; then four times as long each time."""
LOAN = timedelta(seconds=30)
"""How long a row is lent to a worker: longer than evaluating a patient takes; nothing breaks where it takes longer."""
TOGETHER = 3
"""A row that was lent as often as that, and never came back, is evaluated alone."""
MOST_LOANS = 20
MOST_ROWS = 100
"""News of one patient that is evaluated in one go."""
STOPPED = "The worker stopped each time before it was done"

logger = logging.getLogger(__name__)


@transaction.atomic
def add(*, patient_id: uuid.UUID, why: str, at: datetime, record_id: uuid.UUID | None = None) -> None:
    """Have a record evaluated, or without one the patient looked at as a whole.

    A row that nobody has claimed yet may stand for the news: it is held until this transaction ends, so that no
    worker can take it before the news is there to be read.
    """
    fresh = PendingEvaluation.objects.fresh(at).filter(patient_id=patient_id, record_id=record_id)
    if fresh.claimed().first() is None:
        PendingEvaluation.objects.create(patient_id=patient_id, record_id=record_id, why=why, created_at=at, due_at=at)
    wake_on_commit()


def add_again(*, patient_id: uuid.UUID, why: str, at: datetime, record_id: uuid.UUID | None = None) -> None:
    """What the evaluator itself has to leave for later, with the patient locked: no news, so whatever waits will do."""
    waiting = PendingEvaluation.objects.filter(patient_id=patient_id, record_id=record_id, put_aside_at=None)
    if not waiting.exists():
        PendingEvaluation.objects.create(patient_id=patient_id, record_id=record_id, why=why, created_at=at, due_at=at)


def add_for_everybody(*, why: str, at: datetime) -> int:
    """Have every patient in the programme looked at; how many they are. One statement, however many."""
    columns: dict[str, F | Value] = {
        "patient_id": F("pk"),
        "why": Value(why),
        "created_at": Value(at),
        "due_at": Value(at),
        "attempts": Value(0),
        "loans": Value(0),
        "last_error": Value(""),
    }
    everybody = Patient.objects.in_programme().order_by().values_list(*columns.values())
    select, given = everybody.query.sql_with_params()
    with connection.cursor() as cursor:
        cursor.execute(f"INSERT INTO {PendingEvaluation._meta.db_table} ({', '.join(columns)}) {select}", given)
        count: int = cursor.rowcount
    wake_on_commit()
    return count


@transaction.atomic
def claim(*, at: datetime) -> list[PendingEvaluation] | None:
    """The news of one patient, lent to this worker alone; None when nothing is due.

    That of records goes first, then that of who has waited longest.

    The list is empty where that was a row that never came back, and is put aside now.
    """
    due = PendingEvaluation.objects.due(at).records_first().claimed()
    first = due.first()
    if first is None:
        return None
    rows = [first]
    if first.loans < TOGETHER:
        rows = list(due.filter(patient_id=first.patient_id, loans__lt=TOGETHER)[:MOST_ROWS])
    for row in rows:
        if row.loans >= MOST_LOANS:
            _put_aside(row, row.last_error or STOPPED, at)
        row.loans += 1
        row.due_at = at + LOAN
    PendingEvaluation.objects.bulk_update(rows, ["loans", "due_at", "put_aside_at", "last_error"])
    return [row for row in rows if row.put_aside_at is None]


def note_failure(row: PendingEvaluation, problem: Exception, *, at: datetime) -> None:
    """Keep what went wrong with a row itself; it waits for its next try, or is put aside after the last."""
    row.last_error = words_of(problem)
    row.attempts += 1
    row.loans = 0
    row.due_at = at + FIRST_WAIT * 4 ** (row.attempts - 1)
    if row.attempts >= MOST_ATTEMPTS:
        _put_aside(row, row.last_error, at)
    row.save(update_fields=["last_error", "attempts", "loans", "due_at", "put_aside_at"])
    logger.error("Evaluation %s failed, attempt %s: %s", row.pk, row.attempts, row.last_error)


def done(rows: QuerySet[PendingEvaluation], *, patient: Patient, record_ids: Collection[uuid.UUID]) -> None:
    """Take away what was evaluated, and what was put aside of the same: it has been looked at by now."""
    rows.delete()
    same = Q(record=None) | Q(record__in=record_ids)
    PendingEvaluation.objects.put_aside().filter(same, patient=patient).delete()


@transaction.atomic
def try_again(*, pending_id: int, at: datetime) -> bool:
    """Take a row back that was put aside, with all its attempts. False when it is not there any more."""
    rows = PendingEvaluation.objects.put_aside().filter(pk=pending_id)
    found = bool(rows.update(put_aside_at=None, attempts=0, loans=0, due_at=at))
    if found:
        wake_on_commit()
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
    """From now on it stands for whatever of the same was put aside before."""
    PendingEvaluation.objects.put_aside().filter(patient=row.patient_id, record=row.record_id).delete()
    row.put_aside_at = at
    row.last_error = why
