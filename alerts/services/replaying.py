"""Judge history again with the rules and limits as they stand: in chunks, by as many workers as there are.

A chunk is some months of one patient, read with the nights around them that make patterns with them. What the rules
saw and could not judge of each night is kept anew; the chunk that reaches to the present brings the alerts up to date
as well. Each chunk is one transaction under the patient's lock: killed in the middle it never happened, and done
twice it changes nothing. News comes first: a patient who is just being evaluated is left for later.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Count, Min, Q, Sum
from django.utils.translation import gettext as _

from alerts.models import PendingEvaluation, RecordJudgement, Replay, ReplayChunk
from alerts.models.choices import ReplayState
from alerts.models.replays import MOST_CHUNK_ATTEMPTS
from alerts.rules import RULES, RULES_VERSION
from alerts.rules.base import HISTORY
from alerts.services import outbox
from alerts.services.evaluation import PATTERN, judge_again, note_judgements
from alerts.services.history import CLOCKS_APART, NIGHTS_AND_BLOODS, histories_of
from homedialysis.accounts.models import User
from sessions.models import Patient, TreatmentRecord

WINDOW = timedelta(days=120)
"""Of one chunk: under a second of work, so that nobody waits long for the patient's lock."""
LEASE = timedelta(minutes=2)
"""After that a chunk that was claimed and not done is taken by another worker."""
NOT_NOW = timedelta(seconds=2)
AFTER_FAILURE = timedelta(seconds=30)
TASK = "alerts.replay_some"
AT_ONCE = 16
"""Messages sent when a run begins: as many workers may take part."""
STALLED = timedelta(seconds=45)

logger = logging.getLogger(__name__)


class AlreadyRunning(Exception):
    """History is being judged again already."""


class NotThere(Exception):
    """The run is not in the state that this wants."""


@transaction.atomic
def start(*, why: str, by: User, at: datetime) -> Replay:
    """Write down the chunks of a new run. Raises PermissionDenied, ValidationError, AlreadyRunning."""
    if not by.is_clinical:
        raise PermissionDenied(_("Only a nurse or a nephrologist has history judged again."))
    if not why.strip():
        raise ValidationError({"why": _("Say why.")})
    try:
        with transaction.atomic():
            run = Replay.objects.create(why=why.strip(), started_by=by, started_at=at)
    except IntegrityError as problem:
        raise AlreadyRunning from problem
    ReplayChunk.objects.bulk_create(_chunks(run, at), batch_size=2000)
    return run


def _chunks(run: Replay, at: datetime) -> Iterator[ReplayChunk]:
    """From each patient's first treatment on; the last reaches to the present and over three months at the least."""
    first = TreatmentRecord.objects.order_by().values("patient").annotate(first=Min("started_at"))
    for row in first.values_list("patient", "first"):
        patient_id, since = row
        while since < at - HISTORY - WINDOW:
            yield ReplayChunk(replay=run, patient_id=patient_id, since=since, until=since + WINDOW, due_at=at)
            since += WINDOW
        yield ReplayChunk(replay=run, patient_id=patient_id, since=since, until=None, due_at=at)


def stop(*, run: Replay, by: User, at: datetime) -> None:
    """Take no more chunks; what is in work is finished. Raises PermissionDenied, NotThere."""
    if not by.is_clinical:
        raise PermissionDenied(_("Only a nurse or a nephrologist stops it."))
    changed = Replay.objects.filter(pk=run.pk, state=ReplayState.RUNNING)
    if not changed.update(state=ReplayState.STOPPED, stopped_by=by, ended_at=at):
        raise NotThere


@transaction.atomic
def resume(*, run: Replay, by: User, at: datetime) -> None:
    """Go on with what is left, what was given up included. Raises PermissionDenied, NotThere, AlreadyRunning."""
    if not by.is_clinical:
        raise PermissionDenied(_("Only a nurse or a nephrologist goes on with it."))
    left = run.chunks.filter(done_at=None)
    if not left.exists():
        raise NotThere
    try:
        with transaction.atomic():
            found = Replay.objects.filter(pk=run.pk).exclude(state=ReplayState.RUNNING)
            if not found.update(state=ReplayState.RUNNING, stopped_by=None, ended_at=None):
                raise NotThere
    except IntegrityError as problem:
        raise AlreadyRunning from problem
    left.update(attempts=0, loans=0, due_at=at, last_error="")


def judged_by_other_rules() -> int:
    """How many records were last judged by rules of another version than these."""
    return RecordJudgement.objects.exclude(rules=RULES_VERSION).count()


def progress(run: Replay) -> dict[str, int]:
    """Chunks in all, done and given up, and records judged: one query."""
    given_up = Q(pk__in=run.chunks.given_up().values("pk"))  # type: ignore[attr-defined]
    found: dict[str, Any] = run.chunks.aggregate(
        chunks=Count("pk"), done=Count("pk", filter=~Q(done_at=None)), given_up=Count("pk", filter=given_up),
        records=Sum("records", default=0),
    )  # fmt: skip
    return found


def work(*, now: Callable[[], datetime], until: datetime, news: Callable[[], None]) -> bool:
    """Take chunk after chunk until a moment. `news` is called before each, for what must not wait.

    Returns whether something is left for another task. Ends the run when nothing is.
    """
    while now() < until:
        if PendingEvaluation.objects.due(now()).exists():
            news()
        chunk = claim(at=now())
        if chunk is None:
            break
        do(chunk, at=now())
    finish_what_is_done(at=now())
    return ReplayChunk.objects.due(now()).exists()


@transaction.atomic
def claim(*, at: datetime) -> ReplayChunk | None:
    """The next chunk, for this worker alone; None where none is due.

    A worker that is killed is nobody's fault, and counts for nothing. One that many workers took and none brought back
    may be what kills them: it is given up, and the next one taken.
    """
    chunk = ReplayChunk.objects.due(at).claimed().first()
    if chunk is None:
        return None
    given_up = chunk.loans >= outbox.MOST_LOANS
    if given_up:
        chunk.attempts, chunk.last_error = MOST_CHUNK_ATTEMPTS, outbox.STOPPED
    chunk.loans += 1
    chunk.due_at = at + LEASE
    chunk.save(update_fields=["attempts", "loans", "due_at", "last_error"])
    return claim(at=at) if given_up else chunk


def do(chunk: ReplayChunk, *, at: datetime) -> None:
    """Judge one chunk that was claimed. What fails is kept and tried again later; after some tries people look."""
    try:
        done = _do(chunk, at)
    except Exception as problem:
        chunk.last_error = outbox.words_of(problem)
        chunk.attempts += 1
        chunk.loans = 0
        chunk.due_at = at + AFTER_FAILURE * chunk.attempts
        chunk.save(update_fields=["last_error", "attempts", "loans", "due_at"])
        logger.error("Chunk %s failed, attempt %s: %s", chunk.pk, chunk.attempts, chunk.last_error)
        return
    if not done:
        ReplayChunk.objects.filter(pk=chunk.pk, done_at=None).update(loans=0, due_at=at + NOT_NOW)


@transaction.atomic
def _do(chunk: ReplayChunk, at: datetime) -> bool:
    """False where the patient is in other hands at the moment, or news of the patient waits."""
    found = Patient.objects.select_for_update(no_key=True, skip_locked=True).filter(pk=chunk.patient_id)
    patient = found.first()
    if patient is None or PendingEvaluation.objects.due(at).filter(patient=patient).exists():
        return False
    current = ReplayChunk.objects.select_for_update(no_key=True).get(pk=chunk.pk)
    if current.done_at is not None:
        return True
    current.records = judge(patient, since=chunk.since, until=chunk.until, at=at)
    current.done_at, current.last_error = at, ""
    current.save(update_fields=["records", "done_at", "last_error"])
    return True


def judge(patient: Patient, *, since: datetime, until: datetime | None, at: datetime) -> int:
    """Keep anew what the rules say of the nights that began in [since, until); how many. The patient is locked.

    Without `until` as far as the present, and the patient's alerts are brought up to date too.
    """
    end = until or at + CLOCKS_APART
    (history,) = histories_of([patient], since=since - HISTORY, until=end + PATTERN, at=at, parts=NIGHTS_AND_BLOODS)
    touched = {night.record.pk for night in history.nights if since <= night.record.started_at < end}
    seen = [(rule, one) for rule in RULES if not rule.replaces for one in rule.see(history, at)]
    note_judgements(history, seen, touched, at=at)
    if until is None and patient.left_on is None:
        judge_again(patient, at=at)
    return len(touched)


def finish_what_is_done(*, at: datetime) -> None:
    """End the run whose last chunk is done or given up."""
    for run in Replay.objects.filter(state=ReplayState.RUNNING):
        if not run.chunks.open().exists():  # type: ignore[attr-defined]
            Replay.objects.filter(pk=run.pk, state=ReplayState.RUNNING).update(state=ReplayState.DONE, ended_at=at)


def stalled(*, at: datetime) -> bool:
    """Whether chunks are due and none was done of late: messages were lost, or workers died."""
    waiting = ReplayChunk.objects.due(at)
    return (
        waiting.exists()
        and not ReplayChunk.objects.filter(replay__state=ReplayState.RUNNING, done_at__gt=at - STALLED).exists()
    )
