"""Which history a database tells: one brought back from a backup is another one, though its rows look alike."""

from __future__ import annotations

import hashlib

from django.db import connection

LETTERS = 16
MADE_OF = """
select (pg_control_system()).system_identifier, (pg_control_checkpoint()).timeline_id,
       (select oid from pg_database where datname = current_database()), 'treatment_treatmentrecord'::regclass::oid
"""
"""A new cluster has a new identifier, a recovery to a moment a new timeline, a dump that is read in new objects
(PostgreSQL 15 documentation, 9.27.11 and 26.3.5: source read). A copied-back folder alone has the same of all."""


def history_id() -> str:
    """The same for as long as the database grows; one query. Raises DatabaseError where it cannot be asked."""
    with connection.cursor() as cursor:
        cursor.execute(MADE_OF)
        return hashlib.sha256(repr(cursor.fetchone()).encode()).hexdigest()[:LETTERS]
