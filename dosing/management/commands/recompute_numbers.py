"""Queue the recomputing of all records whose numbers are of an earlier science."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from dosing.tasks import recompute_history


class Command(BaseCommand):
    help = "Recompute, on the workers and chunk by chunk, what an earlier version of the science computed."

    def handle(self, *args: Any, **options: Any) -> None:
        recompute_history.delay()
        self.stdout.write("Queued. Follow it in the workers' log; it can be queued again at any time.")
