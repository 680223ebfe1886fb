"""Static files for the browser tests, each read once a run: a page of the bedside asks for a hundred of them."""

from __future__ import annotations

import mimetypes
from collections.abc import Callable, Iterable
from functools import cache
from http import HTTPStatus
from pathlib import Path
from typing import Any

from django.contrib.staticfiles import finders
from django.contrib.staticfiles.handlers import StaticFilesHandler
from django.core.handlers.wsgi import get_path_info
from django.utils.http import http_date

Answer = tuple[str, list[tuple[str, str]], bytes]


@cache
def answer_of(name: str) -> Answer:
    """Status, headers and body of one static file by its name below STATIC_URL."""
    found = finders.find(name)
    if not found:
        status = HTTPStatus.NOT_FOUND
        return f"{status.value} {status.phrase}", [("Content-Type", "text/plain"), ("Content-Length", "0")], b""
    path = Path(str(found))
    body, changed = path.read_bytes(), http_date(path.stat().st_mtime)
    kind = mimetypes.guess_type(name)[0] or "application/octet-stream"
    return "200 OK", [("Content-Type", kind), ("Content-Length", str(len(body))), ("Last-Modified", changed)], body


class StaticFromMemory(StaticFilesHandler):
    """What the live server hands static files out with. As Django's, it says nothing of how long they keep."""

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        path = get_path_info(environ)
        if not self._should_handle(path) or environ["REQUEST_METHOD"] != "GET":
            answered: Iterable[bytes] = super().__call__(environ, start_response)
            return answered
        status, headers, body = answer_of(self.file_path(path))
        if dict(headers).get("Last-Modified", "") == environ.get("HTTP_IF_MODIFIED_SINCE"):
            start_response("304 Not Modified", [])
            return []
        start_response(status, headers)
        return [body]
