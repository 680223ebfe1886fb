"""Prove that a backup can be brought back: restore it beside, compare every table, sign in, throw it away."""

from __future__ import annotations

import os
import secrets
import subprocess
import sys
from pathlib import Path
from typing import Any
from urllib.parse import quote

import psycopg
from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from alerts.services.heartbeat import PROOF, sign_of_life
from homedialysis.running.backup import BackupError, DatabasePlace, differences, opened, restore, scratch, standing


class Command(BaseCommand):
    help = "Restore the newest backup of a folder into a scratch database, hold it against its manifest, and sign in."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("backup", type=Path, help="A folder of backups, or one of them.")
        parser.add_argument("--key-file", type=Path, required=True, help="The private key (AGE-SECRET-KEY-…).")
        parser.add_argument("--server", default="", help="Where a database may be made, as libpq writes it.")

    def handle(self, *args: Any, backup: Path, key_file: Path, server: str, **options: Any) -> None:
        if backup.is_dir():
            found = standing(backup)
            if not found:
                raise CommandError(f"There is no backup in {backup}.")
            backup = found[0]
        place = DatabasePlace.named(server) if server else DatabasePlace.of_settings()
        try:
            self._prove(backup, key_file, place)
        except (BackupError, psycopg.Error, OSError) as problem:
            raise CommandError(str(problem)) from problem
        sign_of_life(PROOF, at=timezone.now())

    def _prove(self, backup: Path, key_file: Path, server: DatabasePlace) -> None:
        name = f"homedialysis_proof_{secrets.token_hex(4)}"
        with opened(backup, key_file=key_file) as (dump, manifest), scratch(server, name) as place:
            restore(dump, place)
            wrong = differences(manifest, place)
            if wrong:
                raise BackupError("; ".join(wrong))
            rows = sum(count for count, _ in manifest["tables"].values())
            self.stdout.write(f"{backup.name}: {len(manifest['tables'])} tables, {rows} rows, all as they were")
            _sign_in(place)
            self.stdout.write("The product runs on it: somebody of the unit signed in and read the first page")


def _sign_in(place: DatabasePlace) -> None:
    """The product itself, in a process of its own, on what was restored."""
    run = [sys.executable, str(settings.BASE_DIR / "manage.py"), "open_restored"]
    given = {**os.environ, "DATABASE_URL": _url(place), "DATABASE_PASSWORD": "", "DATABASE_PASSWORD_FILE": ""}
    done = subprocess.run(run, env=given, capture_output=True, text=True)
    if done.returncode:
        raise BackupError(f"The product does not run on it: {(done.stderr or done.stdout).strip()[-300:]}")


def _url(place: DatabasePlace) -> str:
    named = place.parameters
    who = quote(named.get("user", ""), safe="") + ":" + quote(named.get("password", ""), safe="")
    host, port = quote(named.get("host", ""), safe=""), named.get("port", "5432")
    return f"postgresql://{who}@:{port}/{named['dbname']}?host={host}"
