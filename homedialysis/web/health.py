"""For machines that watch this one: is it alive, is it ready, are workers and beat at work."""

from __future__ import annotations

from django.db import DatabaseError
from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from alerts.services.heartbeat import sign_of_life, state_of_work
from homedialysis.running.room import disk_in_words, sessions_of_database
from homedialysis.running.schema import fit_of_database

WEB = "web"


@require_safe
def alive(request: HttpRequest) -> JsonResponse:
    """The process answers. Says nothing of the database, so a restart is not the cure for a lost one."""
    return JsonResponse({"alive": True})


@require_safe
def ready(request: HttpRequest) -> JsonResponse:
    """Everything that a record needs, tried: otherwise 503 with what is wrong.

    Database reachable, of this version, written to and with sessions to spare; workers of both queues and beat heard of
    lately, no record waiting for its evaluation; room on the disk.
    """
    try:
        fit = fit_of_database()
        if not fit.fits:
            return JsonResponse({"ready": False, "database": fit.words}, status=503)
        work, sessions = state_of_work(at=timezone.now()), sessions_of_database()
    except DatabaseError:
        return JsonResponse({"ready": False, "database": "unreachable"}, status=503)
    parts = {"database": _written(), "sessions": sessions.words, "disk": disk_in_words(), "records": work.records}
    well = work.well and set(parts.values()) == {"ok"}
    body = {"ready": well, **parts, "worker": work.worker, "later": work.later, "beat": work.beat}
    return JsonResponse(body, status=200 if well else 503)


def _written() -> str:
    """A row is written: a full or read-only database answers questions all the same."""
    try:
        sign_of_life(WEB, at=timezone.now())
    except DatabaseError:
        return "cannot be written"
    return "ok"
