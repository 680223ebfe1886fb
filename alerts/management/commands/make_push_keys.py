"""manage.py make_push_keys: the secret by which push services know this installation."""

from __future__ import annotations

import os
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from alerts.services import push_keys


class Command(BaseCommand):
    help = "Make the key for push messages, once. Another key later would cut off every browser that signed up."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--to", type=Path, help="the file to write (default: push_key beside the data)")

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["to"] or push_keys.key_file()
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError as problem:
            raise CommandError(f"{path} is there already and was left as it is.") from problem
        except OSError as problem:
            raise CommandError(f"{path} could not be written: {problem.strerror}") from problem
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(push_keys.new_key())
        self.stdout.write(f"Written to {path}. Keep it secret, and with the backups.")
