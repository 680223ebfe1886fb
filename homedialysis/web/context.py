"""What every page may show: the unit with its numbers, and the release."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest

from homedialysis.web.middleware import unit_of


def unit(request: HttpRequest) -> dict[str, Any]:
    return {"unit": unit_of(request), "release": settings.VERSION}
