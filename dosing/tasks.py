"""Recompute history after the science has changed, a chunk at a time and on the queue that can wait."""

from __future__ import annotations

import uuid

from celery import shared_task
from django.utils import timezone

from dosing.recomputing import CHUNK, chunk_after, recompute


@shared_task(name="dosing.recompute_history", ignore_result=True)
def recompute_history(after: str | None = None) -> None:
    """One chunk of records whose numbers are of another science; then the next chunk is queued."""
    records = chunk_after(uuid.UUID(after) if after else None)
    recompute(records, at=timezone.now())
    if len(records) == CHUNK:
        recompute_history.delay(str(records[-1].pk))
