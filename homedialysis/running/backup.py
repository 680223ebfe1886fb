"""Backups that can be proved: a dump with the count and checksum of every table of the same moment, encrypted.

A backup is one file in the age format (age-encryption.org/v1, read by any program for it), encrypted for keys whose
other half lies elsewhere: who takes the file, or the machine, has nothing. Inside lies a tar of `manifest.json` and
`database.dump` (pg_dump's custom format); both are of one snapshot, so that what is restored can be held against what
there was, row for row.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import tarfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import psycopg
import pyrage
from django.conf import settings
from psycopg import sql

NAME = re.compile(r"homedialysis-(\d{8}T\d{6})\.age")
DUMP, MANIFEST = "database.dump", "manifest.json"
Tables = dict[str, list[Any]]
"""By table: how many rows, and a checksum that does not depend on their order."""
CHECKSUM = sql.SQL(
    "select count(*)::bigint, coalesce(sum(('x' || left(md5(t::text), 15))::bit(60)::bigint), 0)::text from {} t"
)
PLAIN = "set timezone = 'UTC'; set datestyle = 'ISO'; set intervalstyle = 'postgres'; set bytea_output = 'hex'"
"""So that a row is the same text on every server."""


class BackupError(Exception):
    """Says what could not be done, and why."""


@dataclass(frozen=True, slots=True)
class DatabasePlace:
    """A database by its connection parameters, as libpq names them."""

    parameters: Mapping[str, str]

    @classmethod
    def of_settings(cls) -> DatabasePlace:
        named = settings.DATABASES["default"]
        pairs = {"host": "HOST", "port": "PORT", "user": "USER", "password": "PASSWORD", "dbname": "NAME"}
        return cls({name: str(named[key]) for name, key in pairs.items() if named.get(key)})

    def called(self, name: str) -> DatabasePlace:
        return DatabasePlace({**self.parameters, "dbname": name})

    @classmethod
    def named(cls, conninfo: str) -> DatabasePlace:
        """As libpq writes it: host=… user=… dbname=…, or an address."""
        return cls({name: str(value) for name, value in psycopg.conninfo.conninfo_to_dict(conninfo).items()})

    def connect(self, *, autocommit: bool = False) -> psycopg.Connection[Any]:
        told = psycopg.conninfo.make_conninfo("", connect_timeout=10, **self.parameters)
        return psycopg.connect(told, autocommit=autocommit)

    @property
    def environment(self) -> dict[str, str]:
        """For the tools of PostgreSQL: a password is not seen in the list of processes."""
        names = {"dbname": "PGDATABASE"}
        return os.environ | {names.get(key, f"PG{key.upper()}"): value for key, value in self.parameters.items()}


def tool(name: str) -> str:
    """The path of a tool of PostgreSQL. Raises BackupError where there is none."""
    found = shutil.which(name, path=settings.POSTGRES_TOOLS or None)
    if found is None:
        raise BackupError(f"{name} is not there: install PostgreSQL's client, or name its folder in POSTGRES_TOOLS")
    return found


def _run(name: str, *arguments: str, place: DatabasePlace) -> None:
    done = subprocess.run([tool(name), *arguments], env=place.environment, capture_output=True, text=True)  # noqa: S603
    if done.returncode:
        raise BackupError(f"{name} failed: {done.stderr.strip()[:300]}")


def tables_of(connection: psycopg.Connection[Any]) -> Tables:
    """Rows and checksum of every table, in the transaction that is open."""
    connection.execute(PLAIN)
    names = connection.execute("select tablename from pg_tables where schemaname = 'public' order by 1").fetchall()
    found = {}
    for (name,) in names:
        found[name] = list(connection.execute(CHECKSUM.format(sql.Identifier("public", name))).fetchone() or ())
    return found


def make(folder: Path, *, keys: Sequence[str], keep: int, at: datetime) -> Path:
    """Write one backup and take away the oldest beyond `keep`; it appears when it is whole. Raises BackupError."""
    try:
        readers = [pyrage.x25519.Recipient.from_str(key) for key in keys]
    except pyrage.RecipientError as problem:
        raise BackupError(f"A key for backups cannot be read: {problem}; such keys begin with age1") from None
    if not readers:
        raise BackupError("No key is given to encrypt for: --key age1…, or BACKUP_KEYS")
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    path = folder / f"homedialysis-{at:%Y%m%dT%H%M%S}.age"
    with TemporaryDirectory(dir=folder, prefix=".making-") as room:
        archive = _archive(Path(room), at)
        pyrage.encrypt_file(str(archive), str(Path(room) / "whole"), readers)
        with (Path(room) / "whole").open("rb") as written:
            os.fsync(written.fileno())
        (Path(room) / "whole").replace(path)
    for old in standing(folder)[keep:]:
        old.unlink()
    return path


def _archive(room: Path, at: datetime) -> Path:
    place = DatabasePlace.of_settings()
    with place.connect() as connection:
        connection.isolation_level = psycopg.IsolationLevel.REPEATABLE_READ
        connection.read_only = True
        (snapshot,) = connection.execute("select pg_export_snapshot()").fetchone() or ("",)
        _run("pg_dump", "-Fc", f"--snapshot={snapshot}", "-f", str(room / DUMP), place=place)
        manifest = {"made_at": at.isoformat(), "version": settings.VERSION, "tables": tables_of(connection)}
    (room / MANIFEST).write_text(json.dumps(manifest))
    with tarfile.open(room / "archive.tar", "w") as archive:
        for name in (MANIFEST, DUMP):
            archive.add(room / name, arcname=name)
    return room / "archive.tar"


def standing(folder: Path) -> list[Path]:
    """The backups of a folder, newest first."""
    return sorted((each for each in folder.glob("*.age") if NAME.fullmatch(each.name)), reverse=True)


@contextmanager
def opened(path: Path, *, key_file: Path) -> Iterator[tuple[Path, dict[str, Any]]]:
    """A backup's dump and manifest, for as long as it is looked at. Raises BackupError."""
    with TemporaryDirectory(prefix="homedialysis-") as room:
        _decrypt(path, key_file, Path(room) / "archive.tar")
        with tarfile.open(f"{room}/archive.tar") as archive:
            archive.extractall(room, filter="data")
        yield Path(room) / DUMP, json.loads((Path(room) / MANIFEST).read_text())


def _decrypt(path: Path, key_file: Path, to: Path) -> None:
    lines = key_file.read_text().splitlines()
    try:
        keys = [pyrage.x25519.Identity.from_str(line) for line in lines if line.startswith("AGE-SECRET-KEY-")]
        pyrage.decrypt_file(str(path), str(to), keys)
    except (pyrage.DecryptError, pyrage.IdentityError, OSError) as problem:  # the last where a part is missing
        raise BackupError(f"{path.name} cannot be opened with {key_file.name}: {problem}") from None


def restore(dump: Path, place: DatabasePlace) -> None:
    """Read a dump into an empty database. Raises BackupError, also where it is not empty."""
    with place.connect() as connection:
        (there,) = connection.execute("select count(*) from pg_tables where schemaname = 'public'").fetchone() or (0,)
    if there:
        raise BackupError(f"The database {place.parameters['dbname']} is not empty: it holds {there} tables")
    name = place.parameters["dbname"]
    _run("pg_restore", "--no-owner", "--no-privileges", "--exit-on-error", "-d", name, str(dump), place=place)


@contextmanager
def scratch(server: DatabasePlace, name: str) -> Iterator[DatabasePlace]:
    """An empty database that is gone afterwards. Its server's role must be allowed to make one."""
    with server.connect(autocommit=True) as connection:
        connection.execute(sql.SQL("create database {} template template0").format(sql.Identifier(name)))
        try:
            yield server.called(name)
        finally:
            connection.execute(sql.SQL("drop database {} with (force)").format(sql.Identifier(name)))


def differences(manifest: Mapping[str, Any], place: DatabasePlace) -> list[str]:
    """In which tables what was restored is not what there was."""
    with place.connect() as connection:
        now = tables_of(connection)
    was = manifest["tables"]
    return [
        f"{name}: {was.get(name, ['no table'])[0]} rows backed up, {now.get(name, ['no table'])[0]} restored"
        for name in sorted({*was, *now})
        if was.get(name) != now.get(name)
    ]
