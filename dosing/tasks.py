"""Recompute history after the science has changed, a chunk at a time and on the queue that can wait."""

from __future__ import annotations

import uuid

from celery import shared_task
from django.utils import timezone

from dosing.services import jobs
from dosing.services.decision.forecasts import read_some
from dosing.services.month.computing import add_missing, compute_some
from dosing.services.night.recomputing import CHUNK, chunk_after, recompute


@shared_task(name="dosing.recompute_history", ignore_result=True)
def recompute_history(after: str | None = None) -> None:
    """One chunk of records whose numbers are of another science; then the next chunk is queued.

    Now and then by itself too: the records are the task, and a chain of messages that was lost is no harm.
    """
    records = chunk_after(uuid.UUID(after) if after else None)
    recompute(records, at=timezone.now())
    if len(records) == CHUNK:
        recompute_history.delay(str(records[-1].pk))


@shared_task(name="dosing.compute_months", ignore_result=True)
def compute_months() -> None:
    """Every minute: the months that something was added to since they were computed, and what came of changes."""
    now = timezone.now()
    add_missing(at=now)
    compute_some(at=now)
    read_some(at=now)


@shared_task(name="dosing.work_on_jobs", ignore_result=True)
def work_on_jobs() -> None:
    """One turn at what people asked for; then the next is queued. Every minute by itself, should a message be lost."""
    if jobs.work(now=timezone.now):
        work_on_jobs.delay()
    jobs.throw_away_old(at=timezone.now())
