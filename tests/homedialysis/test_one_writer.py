"""A night's document is written by draft.js alone: every other script asks it, so that undo and paths always hold."""

from __future__ import annotations

import re
from pathlib import Path

from sessions.pages.bedside import FOLDER

WRITES = re.compile(
    r"(?<!laid\.)\bdoc(?:\.\w+|\[[^\]]+\])+ (?:\|\||\?\?|&&)?= "
    r"|(?<!laid\.)\bdoc\.\w+\.(?:push|splice|unshift|pop|shift|sort)\("
    r"|Object\.assign\((?:\w+\.)*doc\b"
)


def test_only_the_draft_writes_the_document() -> None:
    """A paper sheet is laid out on a copy (`laid`), which draft.js then takes."""
    paths = [path for path in FOLDER.rglob("*.js") if path.name != "draft.js"]
    found = {path.name: [each[0] for each in WRITES.finditer(path.read_text(encoding="utf-8"))] for path in paths}
    assert {name: writes for name, writes in found.items() if writes} == {}
    assert WRITES.search(Path(FOLDER, "js", "draft.js").read_text(encoding="utf-8")), (
        "what is looked for is found there"
    )
