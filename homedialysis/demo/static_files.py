"""Whether scripts and styles must be collected again: compressing them all takes seconds, looking does not."""

from __future__ import annotations

import hashlib
from pathlib import Path

from django.contrib.staticfiles.finders import get_finders

NOTE = "collected-from"


def sources() -> str:
    """Changes when any file is added, removed or written to."""
    found = hashlib.sha256()
    for finder in get_finders():
        for name, storage in sorted(finder.list([]), key=lambda entry: entry[0]):
            state = Path(storage.path(name)).stat()
            found.update(f"{storage.path(name)} {state.st_size} {state.st_mtime_ns}\n".encode())
    return found.hexdigest()


def up_to_date(static: Path) -> bool:
    """Whether the folder was collected from the sources as they are now."""
    note = static / NOTE
    return note.exists() and note.read_text() == sources()


def note_collected(static: Path) -> None:
    (static / NOTE).write_text(sources())
