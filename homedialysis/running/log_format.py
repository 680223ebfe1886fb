"""One JSON object a line, with the fields a log keeper searches by and never a clinical value."""

from __future__ import annotations

import json
import logging
from datetime import UTC, datetime

KEPT = ("record", "rule", "alert", "outbox", "attempts", "status_code")
"""Extra fields that may be logged: row numbers and names of rules."""


class JsonLines(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        line = {
            "at": datetime.fromtimestamp(record.created, tz=UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "logger": record.name,
            "message": record.getMessage(),
        }
        line |= {name: str(getattr(record, name)) for name in KEPT if hasattr(record, name)}
        if record.exc_info:
            line["trace"] = self.formatException(record.exc_info)
        return json.dumps(line)
