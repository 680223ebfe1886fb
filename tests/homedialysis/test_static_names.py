"""Every script, style and picture that a page names is there: a missing one ends a page in production."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.conf import settings
from django.contrib.staticfiles import finders

NAMED = re.compile(r"""\{%\s*static\s+["']([^"']+)["']|\bstatic\(["']([^"']+)["']\)""")
WITH_PAGES = ("templates", "homedialysis", "sessions", "dosing", "alerts")


def named() -> list[tuple[str, str]]:
    """(file that names it, name) of every static file named in a template or in Python."""
    root = Path(settings.BASE_DIR)
    sources = [path for folder in WITH_PAGES for path in (root / folder).rglob("*") if path.suffix in (".html", ".py")]
    return sorted(
        (str(path.relative_to(root)), first or second)
        for path in sources
        for first, second in NAMED.findall(path.read_text())
    )


def test_many_are_named() -> None:
    assert len(named()) > 30


@pytest.mark.parametrize("name", sorted({name for _source, name in named()}))
def test_each_is_there(name: str) -> None:
    assert finders.find(name), f"{name} is named in {[source for source, each in named() if each == name]}"
