"""No line of a script, a style or a template is longer than can be read at once; the formatters break all but these."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.conf import settings

MADE = "fallback_cards.js"  # words out of the program's texts, written by `manage.py words`: nobody reads it
FOLDERS = ("alerts", "dosing", "homedialysis", "sessions", "templates")


@pytest.mark.parametrize(("kind", "most"), [("js", 120), ("css", 120), ("html", 200)])
def test_no_line_is_too_long(kind: str, most: int) -> None:
    files = [path for folder in FOLDERS for path in Path(settings.BASE_DIR, folder).rglob(f"*.{kind}")]
    assert len(files) > 15
    own = [path for path in files if path.name != MADE]
    lines = [(path, number, line) for path in own for number, line in enumerate(path.read_text().splitlines(), 1)]
    assert [f"{path}:{number}" for path, number, line in lines if len(line) > most] == []
