"""Empty the test database between tests that commit: only the tables that hold something, row by row.

Django truncates all hundred tables each time, and PostgreSQL makes the files of each of them and of its indexes anew:
ten times the work of deleting the few rows that a test has left.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db import connection
from django.db.backends.postgresql.operations import DatabaseOperations

TRUNCATE = DatabaseOperations.sql_flush


def may_switch_triggers_off() -> bool:
    """Deleting in any order, also rows that only a trigger protects, is for the database's superuser."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT rolsuper FROM pg_roles WHERE rolname = current_user")
        row = cursor.fetchone()
    return bool(row and row[0])


def with_rows(tables: Sequence[str], quote: Any) -> list[str]:
    if not tables:
        return []
    looks = (f"SELECT '{table}' WHERE EXISTS (SELECT 1 FROM {quote(table)})" for table in tables)  # noqa: S608
    with connection.cursor() as cursor:
        cursor.execute(" UNION ALL ".join(looks))
        return [str(table) for (table,) in cursor.fetchall()]


def delete_what_is_there(self: DatabaseOperations, style: Any, tables: Sequence[str], **options: Any) -> list[str]:
    """In the place of Django's own `sql_flush`, with its arguments."""
    if options.get("reset_sequences") or not may_switch_triggers_off():
        return TRUNCATE(self, style, tables, **options)
    deletes = [f"DELETE FROM {self.quote_name(table)};" for table in with_rows(tables, self.quote_name)]  # noqa: S608
    return ["SET LOCAL session_replication_role = replica;", *deletes] if deletes else []


def use() -> None:
    DatabaseOperations.sql_flush = delete_what_is_there  # type: ignore[assignment, method-assign]
