"""Does the database have the shape that this code was written for? Told by the migrations on both sides."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

OURS = frozenset({"accounts", "treatment", "dosing", "alerts"})
"""Labels of our apps. Of others only what is missing counts: an app that was taken out leaves its rows behind."""


@dataclass(frozen=True, slots=True)
class SchemaFit:
    """missing: migrations of this code that the database has not had; unknown: those of ours that it had and this code
    does not know, sorted, each as "app.name".
    """

    missing: tuple[str, ...]
    unknown: tuple[str, ...]

    @property
    def fits(self) -> bool:
        return not self.missing and not self.unknown

    @property
    def words(self) -> str:
        """For machines and their keepers."""
        if self.unknown:
            return f"of a newer version: {', '.join(self.unknown)}"
        return f"wants migrating: {', '.join(self.missing)}" if self.missing else "ok"


@lru_cache(maxsize=1)
def _of_the_code() -> frozenset[tuple[str, str]]:
    return frozenset(MigrationLoader(None).disk_migrations or ())


def fit_of_database() -> SchemaFit:
    """One query. Raises DatabaseError where the database cannot be asked."""
    code, applied = _of_the_code(), set(MigrationRecorder(connection).applied_migrations())
    unknown = {key for key in applied - code if key[0] in OURS}
    return SchemaFit(missing=_named(code - applied), unknown=_named(unknown))


def _named(keys: set[tuple[str, str]] | frozenset[tuple[str, str]]) -> tuple[str, ...]:
    return tuple(sorted(f"{app}.{name}" for app, name in keys))
