"""What was noted of one thing through time: each version that the database kept, with who wrote it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any


@dataclass(frozen=True, slots=True)
class NotedVersion:
    """What a row said from a moment on, by whom, and why it was taken back where it was."""

    at: datetime
    by: str
    words: str
    taken_back: str


def noted_versions(row: Any) -> list[NotedVersion]:
    """Newest first; row: of a tracked model with `said`, entered_by and entered_at. One query."""
    events = row.events.select_related("entered_by").order_by("-pgh_id")
    return [_version(type(row), event) for event in events]


def _version(model: Any, event: Any) -> NotedVersion:
    columns = [field.attname for field in model._meta.concrete_fields if not field.primary_key]
    as_it_was = model(**{name: getattr(event, name) for name in columns})
    return NotedVersion(event.entered_at, event.entered_by.name, as_it_was.said, event.taken_back)
