"""Starts, watches and stops everything the product consists of: servers, web, worker and beat."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path
from types import TracebackType
from typing import Self

from homedialysis.demo.progress import Progress
from homedialysis.demo.readiness import pages_answer, worker_answers
from homedialysis.demo.static_files import note_collected, up_to_date
from homedialysis.local.data_folder import DataFolder
from homedialysis.local.processes import Child, stop_all
from homedialysis.local.servers import LocalServers
from homedialysis.local.tools import port_is_free

ROOT = Path(__file__).resolve().parents[2]
GIVEN = ("DATABASE_URL", "BROKER_URL")
OF_OTHER_SERVERS = ("DATABASE_PASSWORD", "DATABASE_PASSWORD_FILE", "BROKER_URL_FILE")
WORKER, LATER = "demo@127.0.0.1", "later@127.0.0.1"
READY_SECONDS = 180

MANAGE = (sys.executable, str(ROOT / "manage.py"))
WEB_COMMAND = (
    *(sys.executable, "-m", "gunicorn", "homedialysis.wsgi"),
    *("--worker-class", "gthread", "--workers", "2", "--threads", "4", "--no-control-socket"),
)
CELERY = (sys.executable, "-m", "celery", "-A", "homedialysis")
ONE_WORKER = (*CELERY, "worker", "--concurrency", "1", "-l", "INFO")
WORKER_COMMAND = (*ONE_WORKER, "--queues", "now", "--hostname", WORKER)
LATER_COMMAND = (*ONE_WORKER, "--queues", "later", "--hostname", LATER)
BEAT_COMMAND = (*CELERY, "beat", "--pidfile", "", "-l", "INFO")


class DemoError(Exception):
    """The demo cannot go on; the text says what failed, with the end of its log."""


class StopRequested(Exception):
    """Somebody set `stop_requested`: nothing is wrong."""


class DemoStack:
    """One run of the demo. `start` returns when the pages answer; leaving the context stops everything.

    stop_requested: set it, from a signal handler say, and whatever is under way ends with StopRequested.
    """

    stop_requested = False

    def __init__(
        self, *, port: int, data: Path, fresh: bool = False, days: int | None = None, patients: int | None = None
    ) -> None:
        given = [name for name in GIVEN if os.environ.get(name) or os.environ.get(f"{name}_FILE")]
        if len(given) == 1:
            raise DemoError(f"Only {given[0]} is set: set both {' and '.join(GIVEN)}, or neither")
        self.port = port
        self.address = f"http://127.0.0.1:{port}/"
        self._fresh = fresh
        asked = (("--days", days), ("--patients", patients))
        self._seed_options = tuple(part for name, n in asked if n is not None for part in (name, str(n)))
        self._servers = None if given else LocalServers(data)
        self._folder = self._servers.folder if self._servers else DataFolder(data)
        self._static = self._folder.path / "static"
        self._children: list[Child] = []
        self._progress = Progress(steps=5)

    def start(self) -> None:
        """Raises DemoError, LocalServersError or StopRequested; what was started by then runs until `stop`."""
        if not port_is_free(self.port):
            raise DemoError(f"Port {self.port} of 127.0.0.1 is taken by another program: choose one with --port")
        self._start_servers()
        collecting = self._begin_collecting()
        self._progress.step("Preparing the database")
        self._finish(self._begin("migrations", *MANAGE, "migrate", "--noinput"))
        self._begin("worker", *WORKER_COMMAND)
        self._begin("later", *LATER_COMMAND)
        self._begin("beat", *BEAT_COMMAND)
        self._progress.step("Making up people and treatments")
        self._seed()
        self._progress.step("Collecting scripts and styles")
        self._finish_collecting(collecting)
        self._begin("web", *WEB_COMMAND, "--bind", f"127.0.0.1:{self.port}")
        self._progress.step("Waiting for worker and pages")
        self._wait_until_ready()
        self._progress.close()

    def watch(self, pause: float = 0.5) -> None:
        """Returns never; raises StopRequested, or DemoError when a part of the product ends by itself."""
        while True:
            self._check_parts()
            time.sleep(pause)

    def stop(self) -> None:
        """Web server and worker finish what they are at; the servers go last."""
        self._progress.close()
        stop_all(self._children)
        self._children.clear()
        if self._servers:
            self._servers.stop()
        self._folder.release()

    def _start_servers(self) -> None:
        self._progress.step("Starting database and broker")
        if self._fresh:
            self._folder.wipe()
        self._folder.hold()
        (self._folder.path / "logs").mkdir(exist_ok=True)
        if self._servers:
            self._servers.start()

    def _seed(self) -> None:
        """The seeder shows its own bar, looks itself whether anything is there, and makes all or nothing."""
        self._progress.step_aside()
        self._finish(self._begin("demo data", *MANAGE, "seed_demo", *self._seed_options, log=False))

    def _begin_collecting(self) -> Child | None:
        """Beside the other steps; the web server reads the result at its own start."""
        if up_to_date(self._static):
            return None
        return self._begin("static files", *MANAGE, "collectstatic", "--noinput")

    def _finish_collecting(self, collecting: Child | None) -> None:
        if collecting:
            self._finish(collecting)
            note_collected(self._static)

    def _begin(self, name: str, *command: str, log: bool = True) -> Child:
        path = self._folder.path / "logs" / f"{name.replace(' ', '-')}.log" if log else None
        child = Child(name, command, path, self._environment(), ROOT)
        self._children.append(child)
        child.start()
        return child

    def _finish(self, child: Child) -> None:
        """Wait for a command that ends; raises DemoError with the end of its log when it fails."""
        while child.running:
            self._check_servers()
            try:
                child.wait(0.2)
            except subprocess.TimeoutExpired:
                self._progress.tick()
        if child.exit_code != 0:
            raise DemoError(_what_happened(child))
        self._children.remove(child)

    def _environment(self) -> dict[str, str]:
        folder = self._folder.path
        settings = {
            "DJANGO_SETTINGS_MODULE": "homedialysis.settings",
            "SITE_ADDRESS": self.address.rstrip("/"),
            "DEBUG": "false",
            "DATA_DIR": str(folder),
            "STATIC_ROOT": str(self._static),
        }
        given = dict(os.environ)
        if self._servers:
            settings |= self._servers.environment
            given = {name: value for name, value in given.items() if name not in OF_OTHER_SERVERS}
        if not given.get("SECRET_KEY") and not given.get("SECRET_KEY_FILE"):
            settings["SECRET_KEY_FILE"] = str(self._folder.secret_file("secret_key"))
        return given | settings

    def _wait_until_ready(self) -> None:
        deadline = time.monotonic() + READY_SECONDS
        broker = self._environment()["BROKER_URL"]
        while not (pages_answer(self.port) and all(worker_answers(broker, name) for name in (WORKER, LATER))):
            self._check_parts()
            self._progress.tick()
            if time.monotonic() > deadline:
                logs = "\n".join(_what_happened(child) for child in self._children)
                raise DemoError(f"Not ready after {READY_SECONDS} seconds.\n{logs}")
            time.sleep(0.2)

    def _check_parts(self) -> None:
        self._check_servers()
        for child in self._children:
            if not child.running:
                raise DemoError(_what_happened(child))

    def _check_servers(self) -> None:
        if self.stop_requested:
            raise StopRequested
        trouble = self._servers.trouble if self._servers else None
        if trouble:
            raise DemoError(trouble)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()


def _what_happened(child: Child) -> str:
    state = "still runs" if child.running else f"ended with exit code {child.exit_code}"
    where = f"; the end of {child.log}:\n{child.last_lines()}" if child.log else ""
    return f"{child.name} {state}{where}"
