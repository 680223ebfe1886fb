"""Answers that need not be sent again: each with the mark of its version and the moment of its last change."""

from __future__ import annotations

import hashlib
import json
from datetime import datetime
from typing import Any

from django.utils.http import http_date, parse_etags
from rest_framework.request import Request
from rest_framework.response import Response


def mark_of(body: Any) -> str:
    """A weak mark of what an answer says, for rows that count no versions."""
    text = json.dumps(body, sort_keys=True, default=str)
    return f'W/"{hashlib.sha256(text.encode()).hexdigest()[:20]}"'


def marked(request: Request, body: Any, *, mark: str, changed_at: datetime | None) -> Response:
    """The body with its ETag, and Last-Modified where it is known; 304 where the one who asks has it already."""
    headers = {"ETag": mark, "Cache-Control": "private, no-store"}
    if changed_at is not None:
        headers["Last-Modified"] = http_date(changed_at.timestamp())
    known = parse_etags(request.headers.get("If-None-Match", ""))
    if mark.removeprefix("W/") in (each.removeprefix("W/") for each in known):
        return Response(status=304, headers=headers)
    return Response(body, headers=headers)
