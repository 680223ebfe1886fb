"""One JSON object a line, with the fields a log keeper searches by and never a clinical value."""

from __future__ import annotations

import json
import logging
import re
from datetime import UTC, datetime

KEPT = ("record", "rule", "alert", "outbox", "attempts", "status_code", "person", "from_address")
"""Extra fields that may be logged: row numbers, names of rules, and from which address of the network it came."""


OF_A_VALUE = re.compile(r"^ *(DETAIL|CONTEXT|HINT|QUERY|STATEMENT|LINE \d+): .*\n?(?: +\^\n?)?", re.MULTILINE)
"""What the database adds to an error: the row, the statement, the value that it could not read."""
SAID_BY_DATABASE = re.compile(r"^((?:psycopg|django\.db)[\w.]*: )(.*)$", re.MULTILINE)
QUOTED = re.compile(r": \"[^\"]*\"|'[^']*'")


def without_values(trace: str) -> str:
    """A trace in which the database's errors name the kind of fault, and none of the values over which it came."""
    trace = OF_A_VALUE.sub("", trace)
    return SAID_BY_DATABASE.sub(lambda found: found[1] + QUOTED.sub(": …", found[2]), trace)


class JsonLines(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        line = {
            "at": datetime.fromtimestamp(record.created, tz=UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "logger": record.name,
            "message": record.getMessage(),
        }
        line |= {name: str(getattr(record, name)) for name in KEPT if hasattr(record, name)}
        if (person := _who_asked(record)) is not None:
            line.setdefault("person", str(person))
        if record.exc_info:
            line["trace"] = without_values(self.formatException(record.exc_info))
        return json.dumps(line)


def _who_asked(record: logging.LogRecord) -> int | None:
    """The number of the account behind a request that was refused or failed, where it was known by then."""
    user = getattr(getattr(record, "request", None), "_cached_user", None)
    return getattr(user, "pk", None)
