"""The bedside: one page without anything personal, and what a phone needs to keep it for nights without a network."""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.staticfiles.storage import staticfiles_storage
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, JsonResponse
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from homedialysis.accounts.pages.guards import bedside_only
from homedialysis.accounts.services.language import language_here

FOLDER = Path(__file__).resolve().parent.parent / "static" / "bedside"
TEMPLATES = Path(__file__).resolve().parent.parent.parent / "templates" / "sessions"
PAPER = "#f6f5f1"
"""Behind the page while it starts: --paper of the light theme in css/tokens.css."""
ENTRY, LATER = "bedside/js/main.js", "bedside/js/later.js"
PLAIN = {"bedside/js/floor.js", "bedside/js/theme.js"}
"""Scripts that run before the modules, and belong to no piece."""
FIRST_PIECE, SECOND_PIECE, ONE_SHEET = "bedside/js/all.js", "bedside/js/rest.js", "bedside/css/all.css"
"""Made by homedialysis/web/static_storage.py when static files are collected."""
FIRST_SHEETS = ("bedside/css/tokens.css", "bedside/css/bedside.css")
KEPT_KINDS = {".js", ".css", ".json", ".svg"}


def files() -> list[str]:
    """What a release of the bedside consists of, as names of static files, in a fixed order.

    Where static files are collected, scripts come in two pieces and styles in one; the plain scripts stay apart.
    """
    found = [path for path in FOLDER.rglob("*") if path.suffix in KEPT_KINDS]
    names = sorted(f"bedside/{path.relative_to(FOLDER).as_posix()}" for path in found)
    if not in_pieces():
        return names
    whole = {FIRST_PIECE, SECOND_PIECE, ONE_SHEET}
    return sorted(whole.union(name for name in names if name in PLAIN or not name.endswith((".js", ".css"))))


def _is_module(name: str) -> bool:
    return name.endswith(".js") and name not in PLAIN


def in_pieces() -> bool:
    return bool(getattr(staticfiles_storage, "joins_bedside", False))


def sheets() -> list[str]:
    """The styles, in the order in which they hold."""
    rest = [name for name in files() if name.endswith(".css") and name not in FIRST_SHEETS]
    return [static(name) for name in (rest if in_pieces() else (*FIRST_SHEETS, *rest))]


def words_of_scripts() -> str:
    """Where the scripts find their words in each language, as JSON."""
    return json.dumps({Path(name).stem: static(name) for name in files() if name.startswith("bedside/words/")})


def addresses(suffix: str = "") -> list[str]:
    return [static(name) for name in files() if name.endswith(suffix)]


def current_release() -> str:
    """Names the content of every file of the bedside and its pages: another content is another release."""
    return _release() if not settings.DEBUG else _release.__wrapped__()


@lru_cache(maxsize=1)
def _release() -> str:
    # A piece stands in no folder of ours; its address carries the hash of its content.
    parts = [(static(name), b"" if in_pieces() else (FOLDER.parent / name).read_bytes()) for name in files()]
    pages = [(name, (TEMPLATES / name).read_bytes()) for name in ("bedside.html", "bedside_offline.html", "sw.js")]
    return release_of(parts + pages)


def release_of(parts: Iterable[tuple[str, bytes]]) -> str:
    """A name for named contents: the version, and a hash over each name and content."""
    digest = hashlib.sha256()
    for name, content in parts:
        digest.update(hashlib.sha256(name.encode()).digest() + hashlib.sha256(content).digest())
    return f"{settings.VERSION}-{digest.hexdigest()[:12]}"


def _own(request: HttpRequest, template: str, context: dict[str, Any]) -> HttpResponse:
    """A page that says which release it belongs to, so that a phone never mixes two."""
    response = render(request, template, context)
    response.headers["X-Bedside-Release"] = current_release()
    return response


@bedside_only
@require_safe
def shell(request: HttpRequest) -> HttpResponse:
    """The page in which the scripts draw every screen. It holds nothing of anybody: phones keep it."""
    context = {
        "release": current_release(),
        "language": language_here(),
        "words": words_of_scripts(),
        "languages": json.dumps(dict(settings.LANGUAGES), ensure_ascii=False),
        "sheets": sheets(),
        "script": static(FIRST_PIECE if in_pieces() else ENTRY),
        "later": static(SECOND_PIECE if in_pieces() else LATER),
        "modules": [] if in_pieces() else [static(name) for name in files() if _is_module(name)],
    }
    return _own(request, "sessions/bedside.html", context)


@require_safe
def offline(request: HttpRequest) -> HttpResponse:
    """Shown by a phone without a network in place of any other page."""
    return _own(request, "sessions/bedside_offline.html", {"sheets": sheets()})


@bedside_only
@require_safe
def record(request: HttpRequest) -> HttpResponse:
    """Where the record was written before: leads into the bedside, to the night that ?id= names."""
    try:
        screen = f"open/{uuid.UUID(request.GET.get('id', ''))}"
    except ValueError:
        screen = "tonight"
    return HttpResponseRedirect(f"{reverse('treatments:tonight')}#/{screen}")


@bedside_only
@require_safe
def nights(request: HttpRequest) -> HttpResponse:
    return HttpResponseRedirect(f"{reverse('treatments:tonight')}#/nights")


@require_safe
def service_worker(request: HttpRequest) -> HttpResponse:
    """The script that keeps this release on the phone; its text changes with the release and only then."""
    tonight = reverse("treatments:tonight")
    context = {
        "release": current_release(),
        "shell": tonight,
        "offline": reverse("treatments:offline"),
        "files": addresses(),
        "shells": [tonight, reverse("treatments:record"), reverse("treatments:nights")],
    }
    text = (TEMPLATES / "sw.js").read_text(encoding="utf-8")
    for name, value in context.items():
        text = text.replace(f'"{{{{ {name} }}}}"', json.dumps(value))
    return HttpResponse(text, content_type="text/javascript; charset=utf-8")


@require_safe
def manifest(request: HttpRequest) -> HttpResponse:
    """What an installed bedside is called and looks like."""
    icons = [
        {"src": static("bedside/icons/mark.svg"), "sizes": "any", "type": "image/svg+xml"},
        *(
            {"src": static(f"bedside/icons/mark-{size}.png"), "sizes": f"{size}x{size}", "type": "image/png"}
            for size in (192, 512)
        ),
        {
            "src": static("bedside/icons/maskable-512.png"),
            "sizes": "512x512",
            "type": "image/png",
            "purpose": "maskable",
        },
    ]
    tonight = reverse("treatments:tonight")
    return JsonResponse(
        {
            "id": tonight,
            "name": _("Home dialysis"),
            "short_name": _("Home dialysis"),
            "description": _("The record of a treatment at home, with or without a network."),
            "start_url": tonight,
            "scope": "/",
            "display": "standalone",
            "lang": language_here(),
            "background_color": PAPER,
            "theme_color": PAPER,
            "icons": icons,
        },
        content_type="application/manifest+json",
    )
