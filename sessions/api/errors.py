"""Refusals that name the field, the limit and what was given, as one flat list."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext
from rest_framework.exceptions import APIException, ErrorDetail, ValidationError
from rest_framework.response import Response
from rest_framework.views import exception_handler

Fault = dict[str, Any]


def handler(problem: Exception, context: dict[str, Any]) -> Response | None:
    """DRF's answer, with a validation error turned into {"detail", "errors": [{"field", "message", "given"}]}."""
    response = exception_handler(problem, context)
    if response is not None and isinstance(problem, ValidationError):
        response.data = refusal(problem.detail, context["request"].data)
    return response


def refusal(detail: Any, given: Any) -> dict[str, Any]:
    """The body of a 400: every fault by the path of its field, with what was given there."""
    faults = list(_faults(detail, ""))
    for fault in faults:
        found, value = _at(given, fault["field"])
        if found:
            fault["given"] = value
    words = ngettext(
        "%(n)d value was refused; nothing was saved.", "%(n)d values were refused; nothing was saved.", len(faults)
    )
    return {"detail": words % {"n": len(faults)}, "errors": faults}


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
