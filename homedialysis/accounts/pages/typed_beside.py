"""What was typed beside the button that was pressed: kept with the session, and in its field again at the next look."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.http import HttpRequest

KEY = "typed beside"


def keep_typed(request: HttpRequest, page: str, typed: Mapping[str, Any]) -> None:
    """Keep what was typed on a page, by its name; nothing typed leaves what is kept of other pages alone."""
    if typed:
        request.session[KEY] = request.session.get(KEY, {}) | {page: dict(typed)}


def take_typed(request: HttpRequest, page: str) -> dict[str, Any]:
    """What was kept of a page, {} where nothing was: it is handed out once, to be shown."""
    kept = request.session.get(KEY, {})
    found: dict[str, Any] = kept.get(page, {})
    if found:
        request.session[KEY] = {name: typed for name, typed in kept.items() if name != page}
    return found
