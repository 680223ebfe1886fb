"""How much room is left: on the disk of the data folder, and for sessions at the database."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.db import connection

FULL_BELOW = 200 * 1024**2
"""Less free than this [bytes], and the next report or export may not fit."""
SESSIONS_SPARE = 3
"""So many sessions must be free, or the next page may find none."""
SESSIONS = """
select count(*) filter (where backend_type = 'client backend'),
       current_setting('max_connections')::int - current_setting('superuser_reserved_connections')::int
from pg_stat_activity
"""


def disk_free() -> int:
    """Bytes free where DATA_DIR lies, or will lie."""
    there = next(each for each in (settings.DATA_DIR, *Path(settings.DATA_DIR).parents) if each.exists())
    return shutil.disk_usage(there).free


def disk_in_words() -> str:
    """For machines and their keepers: "ok", or how little is free."""
    free = disk_free()
    return "ok" if free > FULL_BELOW else f"full: {free // 1024**2} MB free"


@dataclass(frozen=True, slots=True)
class Sessions:
    """taken: sessions that the database has with anybody; most: how many it gives to who is no superuser."""

    taken: int
    most: int

    @property
    def words(self) -> str:
        return "ok" if self.most - self.taken >= SESSIONS_SPARE else f"full: {self.taken} of {self.most} sessions taken"


def sessions_of_database() -> Sessions:
    """One query. Raises DatabaseError where the database cannot be asked."""
    with connection.cursor() as cursor:
        cursor.execute(SESSIONS)
        return Sessions(*cursor.fetchone())
