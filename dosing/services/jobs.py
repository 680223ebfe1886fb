"""Long pieces of work: rows in the database that workers take up, go on with after a stop, and that people can end.

A worker locks the row while it works on it (SKIP LOCKED), does patient after patient, and notes how far it is. A
worker that dies leaves the row; the next one goes on behind the last patient that was finished.
"""

from __future__ import annotations

import logging
import time
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.db import transaction

from dosing.models import Job
from homedialysis.accounts.models import User
from homedialysis.accounts.services.language import language_here, reading
from homedialysis.accounts.services.units import speaking, unit_speaks

logger = logging.getLogger(__name__)
KEPT_FOR = timedelta(days=7)
SECONDS_A_TURN = 3.0
"""Between two turns it is seen how far the job is, and stopping it takes hold."""
Part = Callable[[Job, str], list[tuple[str, bytes]]]
Keys = Callable[[Job], list[str]]
_kinds: dict[str, tuple[Keys, Part]] = {}


def register_kind(kind: str, keys: Keys, part: Part) -> None:
    """keys: what the job consists of, in an order that stays; part: the files [(name, bytes)] of one of them."""
    _kinds[kind] = (keys, part)


def folder() -> Path:
    found = Path(settings.DATA_DIR) / "jobs"
    found.mkdir(parents=True, exist_ok=True)
    return found


def result_path(job: Job) -> Path:
    return folder() / job.result


def _parts_path(job: Job) -> Path:
    return folder() / f"{job.pk}.parts"


def ask(*, kind: str, params: dict[str, str], by: User, at: datetime) -> Job:
    """Put a job in the list. Raises KeyError for an unknown kind."""
    keys, _ = _kinds[kind]
    job = Job(kind=kind, params=params, asked_by=by, asked_at=at)
    job.total = len(keys(job))
    job.save()
    return job


def stop(*, job: Job, at: datetime) -> None:
    """End a job that is not finished: what it made so far is thrown away."""
    Job.objects.filter(pk=job.pk, finished_at=None).update(stopped_at=at)


def go_on(*, job: Job) -> None:
    """Take up a stopped or failed job again where it was."""
    Job.objects.filter(pk=job.pk, finished_at=None).update(stopped_at=None, error="")


@contextmanager
def _claimed() -> Iterator[Job | None]:
    """The oldest job that is open, held while it is worked on; None where there is none that another does not hold."""
    with transaction.atomic():
        waiting = Job.objects.filter(finished_at=None, stopped_at=None, error="").order_by("asked_at")
        yield waiting.select_for_update(skip_locked=True, of=("self",)).first()


def work(*, now: Callable[[], datetime], seconds: float = SECONDS_A_TURN) -> bool:
    """One turn at the oldest open job; True when something is left to do."""
    began = time.monotonic()
    with _claimed() as job:
        if job is None:
            return False
        try:
            with speaking(unit_speaks()), reading(language_here()):
                _turn(job, now, lambda: time.monotonic() - began > seconds)
        except Exception as problem:
            logger.exception("A job failed", extra={"job": job.pk})
            job.error = f"{type(problem).__name__}: {problem}"[:300]
            job.save(update_fields=["error"])
    return Job.objects.filter(finished_at=None, stopped_at=None, error="").exists()


def _turn(job: Job, now: Callable[[], datetime], over: Callable[[], bool]) -> None:
    keys, part = _kinds[job.kind]
    wanted = keys(job)
    job.total = len(wanted)
    with _parts(job) as archive:
        there = set(archive.namelist())
        for key in wanted[job.done :]:
            for name, body in part(job, key):
                if name not in there:  # written before a worker died, and not yet counted
                    archive.writestr(name, body)
            job.done += 1
            if over():
                break
    job.touched_at = now()
    if job.done >= len(wanted):
        _finish(job, now())
    job.save()


def _parts(job: Job) -> zipfile.ZipFile:
    """The archive so far; begun anew where a worker died in the middle of writing it."""
    path = _parts_path(job)
    try:
        if path.exists():  # opened for reading first: for adding, a broken one would be taken as an empty one
            zipfile.ZipFile(path).close()
    except zipfile.BadZipFile:
        logger.warning("An archive was broken and is made anew", extra={"job": job.pk})
        path.unlink()
        job.done = 0
    return zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED)


def _finish(job: Job, at: datetime) -> None:
    job.result = f"{job.kind}-{job.asked_at.date().isoformat()}-{job.pk}.zip"
    _parts_path(job).replace(result_path(job))
    job.finished_at = at


def throw_away_old(*, at: datetime) -> int:
    """Delete results that were kept long enough, and the parts of stopped jobs; returns how many files went."""
    gone = 0
    for job in Job.objects.exclude(result="").filter(finished_at__lt=at - KEPT_FOR):
        result_path(job).unlink(missing_ok=True)
        job.result = ""
        job.save(update_fields=["result"])
        gone += 1
    for job in Job.objects.filter(stopped_at__lt=at - KEPT_FOR):
        gone += _parts_path(job).exists()
        _parts_path(job).unlink(missing_ok=True)
    return gone
