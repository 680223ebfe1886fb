"""manage.py seed_demo: a made-up unit with made-up people and months of treatments, in an empty database."""

from __future__ import annotations

import sys
from argparse import ArgumentParser, ArgumentTypeError
from datetime import datetime
from functools import partial
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone
from tqdm import tqdm

from alerts.models import Alert
from homedialysis.accounts.models import Unit
from homedialysis.demo.lives import EVERYBODY
from homedialysis.demo.people import SIGN_INS, UNIT_NAME
from homedialysis.demo.seeding import NotNow, plan_of, seed
from sessions.models import Patient, TreatmentRecord


class Command(BaseCommand):
    help = "Fill an empty database with a made-up unit, its people and their treatments, for trying things out."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--seed", type=int, default=7, help="another number makes up other treatments")
        parser.add_argument("--days", type=int, default=182, help="how many days of treatments")
        parser.add_argument("--patients", type=int, default=len(EVERYBODY), help=f"how many, 1 to {len(EVERYBODY)}")
        parser.add_argument("--until", type=_moment, help="where the treatments end, ISO with zone (default: now)")
        parser.add_argument("--print-sign-ins", action="store_true", help="print at the end how to sign in")
        parser.add_argument("--no-progress", action="store_true", help="no progress bar")

    def handle(self, *args: Any, **options: Any) -> None:
        unit = Unit.objects.current()
        if unit is not None:
            self.stdout.write("A unit is set up here already: nothing was made up.")
        else:
            self._make_up(options)
        if options["print_sign_ins"] and (unit is None or unit.name == UNIT_NAME):
            self._say_sign_ins()

    def _make_up(self, options: dict[str, Any]) -> None:
        bar = partial(
            tqdm, desc="Making up treatments", unit="", file=sys.stderr, disable=options["no_progress"] or None
        )
        until = options["until"] or timezone.now()
        try:
            plan = plan_of(seed=options["seed"], until=until, days=options["days"], patients=options["patients"])
            seed(plan, bar)
        except NotNow as problem:
            raise CommandError(str(problem)) from problem
        self.stdout.write(
            f"Made up {Patient.objects.count()} patients with {TreatmentRecord.objects.count()} treatments and "
            f"{Alert.objects.open().count()} open alerts. "
            "Their password is public: never on a server for real patients."
        )

    def _say_sign_ins(self) -> None:
        for role, email, password in SIGN_INS:
            self.stdout.write(f"  {role:<16}{email:<36}{password}")


def _moment(text: str) -> datetime:
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        raise ArgumentTypeError(f"{text}: no ISO time with a zone, such as 2026-03-01T09:00:00+00:00")
    return found
