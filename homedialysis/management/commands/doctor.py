"""Say in words what is wrong with this installation; exit code 1 where something is."""

from __future__ import annotations

import sys
from typing import Any

from django.core.management.base import BaseCommand

from homedialysis.running.doctor import WRONG, examine


class Command(BaseCommand):
    help = "Look at address, secret key, mail, database, workers, beat, disk, certificate, proxy and clock, in words."
    requires_system_checks: list[str] = []  # noqa: RUF012

    def handle(self, *args: Any, **options: Any) -> None:
        wrong = 0
        for found in examine():
            self.stdout.write(found.line)
            self.stdout.flush()
            wrong += found.state == WRONG
        self.stdout.write("Nothing is wrong." if not wrong else f"{wrong} to put right.")
        if wrong:
            sys.exit(1)
