"""How long a process waits for the database: one held row must not hold the whole unit."""

from __future__ import annotations

from dataclasses import dataclass

from django.db import connections


@dataclass(frozen=True, slots=True)
class Waits:
    """Seconds: for a lock, for one statement, and between two statements of one transaction."""

    lock: int
    statement: int
    idle: int

    @property
    def as_options(self) -> str:
        """As PostgreSQL takes them at the start of a connection.

        It also looks every few seconds whether the other side is still there: a process that was killed while it
        waited would keep its locks until its turn came.
        """
        named = {"lock_timeout": self.lock, "statement_timeout": self.statement}
        named |= {"idle_in_transaction_session_timeout": self.idle, "client_connection_check_interval": LOOKS_EVERY}
        return " ".join(f"-c {name}={seconds}s" for name, seconds in named.items())


LOOKS_EVERY = 5
OF_PAGES = Waits(lock=5, statement=15, idle=20)
"""Shorter than the 20 seconds after which a phone gives up and comes again later."""
OF_WORKERS = Waits(lock=30, statement=240, idle=120)
"""Shorter than the time after which a task is ended."""


def keep_within(waits: Waits) -> None:
    """For every connection that this process makes from now on, unless its address says otherwise itself."""
    options = connections.settings["default"].setdefault("OPTIONS", {})
    options["options"] = " ".join(filter(None, (waits.as_options, options.get("options", ""))))
