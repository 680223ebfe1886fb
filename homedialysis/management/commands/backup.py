"""Make an encrypted backup of the database, to be run by a timer."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from alerts.services.heartbeat import BACKUP, sign_of_life
from homedialysis import env
from homedialysis.running.backup import BackupError, make


class Command(BaseCommand):
    help = "Write one encrypted backup into a folder, and take away the oldest beyond --keep."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("folder", type=Path)
        parser.add_argument(
            "--key", action="append", default=[], help="Public key (age1…) to encrypt for, else BACKUP_KEYS."
        )
        parser.add_argument("--keep", type=int, default=30, help="How many backups stay.")

    def handle(self, *args: Any, folder: Path, key: list[str], keep: int, **options: Any) -> None:
        if keep < 1:
            raise CommandError(f"--keep: at least 1 backup stays; {keep} was given.")
        now = timezone.now()
        try:
            path = make(folder, keys=key or env.read_text("BACKUP_KEYS").split(), keep=keep, at=now)
        except BackupError as problem:
            raise CommandError(str(problem)) from problem
        sign_of_life(BACKUP, at=now)
        self.stdout.write(f"{path}: {path.stat().st_size / 1024**2:.1f} MB")
