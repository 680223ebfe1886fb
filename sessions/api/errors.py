"""Refusals as problem details (RFC 9457) that name the field, the limit and what was given, as one flat list."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from http import HTTPStatus
from typing import Any

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext
from rest_framework.exceptions import APIException, ErrorDetail, ValidationError
from rest_framework.response import Response
from rest_framework.views import exception_handler

Fault = dict[str, Any]
PROBLEM = "application/problem+json"
MOST_TOLD = 100
"""A body that is wrong from end to end is answered shortly."""


def handler(problem: Exception, context: dict[str, Any]) -> Response | None:
    """DRF's answer as problem details; a validation error has its faults as [{"field", "message", "given"}]."""
    response = exception_handler(problem, context)
    if response is not None:
        given = context["request"].data if isinstance(problem, ValidationError) else None
        body = refusal(problem.detail, given) if isinstance(problem, ValidationError) else response.data
        response.data = described(response.status_code, body)
        response.content_type = PROBLEM
    return response


def described(status: int, body: Mapping[str, Any]) -> dict[str, Any]:
    """A body as problem details: what kind of trouble, told beside its own words."""
    return {"type": "about:blank", "title": HTTPStatus(status).phrase, "status": status, **body}


def refused(status: int, body: Mapping[str, Any], headers: dict[str, str] | None = None) -> Response:
    """An answer that is no: problem details with more beside."""
    return Response(described(status, body), status=status, headers=headers, content_type=PROBLEM)


def refusal(detail: Any, given: Any) -> dict[str, Any]:
    """The body of a 400: the faults by the path of their fields, with what was given there; the first of very many."""
    every = list(_faults(detail, ""))
    faults = every[:MOST_TOLD]
    for fault in faults:
        found, value = _at(given, fault["field"])
        if found:
            fault["given"] = value
    words = ngettext(
        "%(n)d value was refused; nothing was saved.", "%(n)d values were refused; nothing was saved.", len(every)
    )
    return {"detail": words % {"n": len(every)}, "errors": faults}


def _faults(detail: Any, path: str) -> Iterator[Fault]:
    if isinstance(detail, dict):
        for name, inner in detail.items():
            yield from _faults(inner, _join(path, name))
    elif isinstance(detail, list):
        for index, inner in enumerate(detail):
            leaf = isinstance(inner, str | ErrorDetail)
            yield from _faults(inner, path if leaf else f"{path}[{index}]")
    else:
        yield {"field": path or "document", "message": str(detail)}


def _join(path: str, name: Any) -> str:
    if isinstance(name, int):
        return f"{path}[{name}]"
    if name in ("non_field_errors", "detail"):
        return path
    return f"{path}.{name}" if path else str(name)


def _at(given: Any, path: str) -> tuple[bool, Any]:
    """What was given at a path such as readings[2].venous_mmhg, if it is a plain value."""
    for step in path.replace("[", ".").replace("]", "").split("."):
        try:
            given = given[int(step)] if isinstance(given, list) else given[step]
        except (KeyError, IndexError, TypeError, ValueError):
            return False, None
    beyond = isinstance(given, float) and not math.isfinite(given)  # 1e999: no JSON could say it
    return not beyond and not isinstance(given, dict | list), given


class PreconditionRequired(APIException):
    status_code = 428
    default_detail = _("The record exists with other content. Send If-Match with the revision that you replace.")
    default_code = "precondition_required"
