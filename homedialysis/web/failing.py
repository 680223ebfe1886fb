"""The last answers: what a person, a phone or a program is told where nothing is there, or where the work broke off."""

from __future__ import annotations

import sys

import psycopg
from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.template.loader import render_to_string
from django.utils.translation import gettext as _
from django.views import defaults

from dosing.services.fhir.parts import outcome
from sessions.api.errors import PROBLEM, described

API, FHIR = "/api/", "/api/v1/fhir/"
AGAIN_AFTER = 10
"""Seconds: the locks and the hiccups that a server comes back from by itself are over by then."""


def not_found(request: HttpRequest, exception: Exception) -> HttpResponseBase:
    """A path that fits nothing. A program is answered in its own form."""
    if request.path.startswith(API):
        return _for_a_program(request, 404, _("There is nothing at this address."))
    return defaults.page_not_found(request, exception)


def failed(request: HttpRequest) -> HttpResponseBase:
    """Where nothing caught what went wrong: 503 where the database is not to be had just now, else 500."""
    busy = is_busy(sys.exception())
    if request.path.startswith(API):
        words = _("The unit's server is busy or cannot reach its records; nothing was saved. Send it again later.")
        if not busy:
            words = _("Something failed on the server; what was sent may not have been saved.")
        answer: HttpResponseBase = _for_a_program(request, 503 if busy else 500, words)
    else:
        answer = _without_asking("503.html", 503) if busy else defaults.server_error(request)
    if busy:
        answer.headers["Retry-After"] = str(AGAIN_AFTER)
    return answer


def is_busy(problem: BaseException | None) -> bool:
    """Whether the database said, or its silence says, that it would be otherwise later.

    A lock or a statement that took too long, no connection left, a server that starts, stops, has no room, or can only
    be read.
    """
    while problem is not None:
        if isinstance(problem, psycopg.OperationalError | psycopg.errors.ReadOnlySqlTransaction):
            return True
        problem = problem.__cause__ or problem.__context__
    return False


def _without_asking(template: str, status: int) -> HttpResponse:
    """A page that needs no person and no unit: they may be what cannot be reached."""
    return HttpResponse(render_to_string(template), status=status)


def _for_a_program(request: HttpRequest, status: int, words: str) -> HttpResponse:
    if not request.path.startswith(FHIR):
        return JsonResponse(described(status, {"detail": words}), status=status, content_type=PROBLEM)
    code = {404: "not-found", 503: "transient"}.get(status, "exception")
    return JsonResponse(outcome(code, words), status=status, content_type="application/fhir+json")
