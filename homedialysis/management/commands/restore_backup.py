"""Bring a backup back into an empty database, and hold it against what was backed up."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import psycopg
from django.core.management.base import BaseCommand, CommandError, CommandParser

from homedialysis.running.backup import BackupError, DatabasePlace, differences, opened, restore


class Command(BaseCommand):
    help = "Restore one backup into an empty database; nothing that is there is ever written over."
    requires_system_checks: list[str] = []  # noqa: RUF012

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("backup", type=Path)
        parser.add_argument("--key-file", type=Path, required=True, help="The private key (AGE-SECRET-KEY-…).")
        parser.add_argument("--into", default="", help="The empty database, as libpq writes it; else DATABASE_URL's.")

    def handle(self, *args: Any, backup: Path, key_file: Path, into: str, **options: Any) -> None:
        place = DatabasePlace.named(into) if into else DatabasePlace.of_settings()
        try:
            with opened(backup, key_file=key_file) as (dump, manifest):
                restore(dump, place)
                wrong = differences(manifest, place)
        except (BackupError, psycopg.Error, OSError) as problem:
            raise CommandError(str(problem)) from problem
        if wrong:
            raise CommandError("It is not what was backed up: " + "; ".join(wrong))
        self.stdout.write(f"{backup.name} of {manifest['made_at']} is back, every table as it was.")
