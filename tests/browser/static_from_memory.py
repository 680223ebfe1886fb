"""Static files for the browser tests, each read once a run; the bedside in its two pieces, as a unit serves it.

A page of seventy modules takes three times as long to start. Tests that look into a module by its address get what the
piece holds of it; on pages outside the bedside, where no piece runs, the module itself.
"""

from __future__ import annotations

import mimetypes
from collections.abc import Callable, Iterable
from functools import cache
from http import HTTPStatus
from pathlib import Path
from typing import Any, BinaryIO

from django.contrib.staticfiles import finders
from django.contrib.staticfiles.handlers import StaticFilesHandler
from django.core.handlers.wsgi import get_path_info
from django.utils.http import http_date

from homedialysis.web.one_script import exports, orders
from homedialysis.web.static_storage import ENTRY, FIRST_PIECE, LATER, in_pieces
from sessions.pages.bedside import FOLDER

PLAIN = "plain_modules/"
"""Below STATIC_URL: the bedside's modules as they are written."""
INTO_PIECE = """const bedside = document.documentElement.dataset.later;
const held = async () => {{
  const {{ $ }} = await import("/static/{first}");
  if ({second}) await import(bedside);
  return $[{number}];
}};
const given = bedside ? await held() : await import("/static/{plain}{name}");
export const {{ {names} }} = given;
"""
Answer = tuple[str, list[tuple[str, str]], bytes]


class Folder:
    """As much of a storage as the joining asks for."""

    def open(self, path: str) -> BinaryIO:
        return (FOLDER.parent / path).open("rb")


def names() -> list[str]:
    """The bedside's scripts and styles, one by one."""
    return sorted(
        f"bedside/{path.relative_to(FOLDER).as_posix()}" for path in FOLDER.rglob("*") if path.suffix in {".js", ".css"}
    )


@cache
def pieces(*, opened: bool = False) -> dict[str, str]:
    """What collecting makes of the bedside; opened, with a way into each module."""
    return in_pieces({name: (Folder(), name) for name in names()}, opened=opened)


@cache
def ways_in() -> dict[str, str]:
    """For each module of the pieces a script under its own address that gives what the piece holds of it."""
    texts = {name: (FOLDER.parent / name).read_text(encoding="utf-8") for name in names() if name.endswith(".js")}
    first, second = orders(texts, ENTRY, LATER)
    return {
        name: INTO_PIECE.format(
            first=FIRST_PIECE,
            second=str(name in second).lower(),
            number=number,
            plain=PLAIN,
            name=name,
            names=", ".join(exports(texts[name])),
        )
        for number, name in enumerate(first + second)
        if exports(texts[name])
    }


@cache
def answer_of(name: str) -> Answer:
    """Status, headers and body of one static file by its name below STATIC_URL."""
    made = pieces(opened=True).get(name) or ways_in().get(name)
    if made:
        kind = mimetypes.guess_type(name)[0] or "text/javascript"
        return "200 OK", [("Content-Type", kind), ("Last-Modified", http_date(0))], made.encode()
    found = finders.find(name.removeprefix(PLAIN))
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
