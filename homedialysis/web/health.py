"""For machines that watch this one: is it alive, is it ready, are worker and beat at work."""

from __future__ import annotations

from django.db import DatabaseError
from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from alerts.services.heartbeat import state_of_work
from homedialysis.running.schema import fit_of_database


@require_safe
def alive(request: HttpRequest) -> JsonResponse:
    """The process answers. Says nothing of the database, so a restart is not the cure for a lost one."""
    return JsonResponse({"alive": True})


@require_safe
def ready(request: HttpRequest) -> JsonResponse:
    """Database reachable and of this version, worker and beat heard of lately; otherwise 503 with what is wrong."""
    try:
        fit = fit_of_database()
        if not fit.fits:
            return JsonResponse({"ready": False, "database": fit.words}, status=503)
        work = state_of_work(at=timezone.now())
    except DatabaseError:
        return JsonResponse({"ready": False, "database": "unreachable"}, status=503)
    body = {
        "ready": work.well,
        "database": "ok",
        "worker": work.worker,
        "beat": work.beat,
    }
    return JsonResponse(body, status=200 if work.well else 503)
