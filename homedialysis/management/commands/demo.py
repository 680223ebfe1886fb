"""manage.py demo: the whole product on this machine, with invented people, until Ctrl-C."""

from __future__ import annotations

import signal
from argparse import ArgumentParser, ArgumentTypeError
from pathlib import Path
from types import FrameType
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from homedialysis.demo.people import SIGN_INS
from homedialysis.demo.stack import DemoError, DemoStack, StopRequested
from homedialysis.local.tools import LocalServersError

FEWEST = 4


class Command(BaseCommand):
    help = "Start database, broker, web server, worker and beat with invented people; Ctrl-C stops them all."
    requires_system_checks = ()  # nothing runs yet that they could look at; the parts make their own

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=_port, default=8000, help="port of the pages on 127.0.0.1")
        parser.add_argument("--data", type=Path, default=settings.DATA_DIR, help="folder of the data")
        parser.add_argument("--days", type=int, help="days of treatments to make up: fewer are ready sooner")
        parser.add_argument("--patients", type=_people, help="how many patients to make up: fewer are ready sooner")
        parser.add_argument("--fresh", action="store_true", help="remove the data of earlier runs first")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            with DemoStack(**{name: options[name] for name in ("port", "data", "fresh", "days", "patients")}) as stack:
                _stop_on_signals(stack)
                stack.start()
                self._say_ready(stack.address)
                stack.watch()
        except StopRequested:
            self.stderr.write("Stopped: web server, worker, beat, broker and database.")
        except (DemoError, LocalServersError) as problem:
            raise CommandError(str(problem)) from problem

    def _say_ready(self, address: str) -> None:
        self.stdout.write(f"Ready: {address}")
        for role, email, password in SIGN_INS:
            self.stdout.write(f"  {role:<16}{email:<36}{password}")
        self.stdout.write("Ctrl-C stops everything. Made-up people: not for real patients.")
        self.stdout.flush()


def _stop_on_signals(stack: DemoStack) -> None:
    """Only noted here, and looked for by the stack: an exception raised by a handler can get lost.

    (Python swallows it when the signal comes while a process is being started.)
    """

    def stop(number: int, frame: FrameType | None) -> None:
        stack.stop_requested = True

    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        if number != signal.SIGHUP or signal.getsignal(number) != signal.SIG_IGN:  # nohup outlives its terminal
            signal.signal(number, stop)


def _port(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 65535:
        raise ArgumentTypeError(f"{text} was given, but a port is a number from 1 to 65535")
    return int(text)


def _people(text: str) -> int:
    """The people whose sign-ins are printed hang on the first four patients."""
    if not text.isdigit() or int(text) < FEWEST:
        raise ArgumentTypeError(f"{text} was given, but it takes {FEWEST} patients or more for all who sign in")
    return int(text)
