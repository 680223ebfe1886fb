"""The whole product as the demo runs it, small, with the handles that tests of failures need."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from http.cookiejar import CookieJar
from pathlib import Path
from typing import Any, NamedTuple
from urllib.error import HTTPError
from urllib.parse import urlencode
from urllib.request import HTTPCookieProcessor, OpenerDirector, ProxyHandler, Request, build_opener

import psutil
import psycopg
import pytest

from homedialysis.demo.readiness import SIGN_IN
from homedialysis.demo.stack import GIVEN, DemoStack
from homedialysis.local.broker import LocalBroker
from homedialysis.local.processes import Child, end_group, wait_until
from homedialysis.local.servers import LocalServers
from homedialysis.local.tools import free_port
from tests.factories import night_body

ANSWER_SECONDS = 30
WORK_SECONDS = 120
"""How long an evaluation may take when its message was lost: the sweep comes every minute."""

Json = dict[str, Any]


class SmallDemo(DemoStack):
    """What `manage.py demo` starts, with one patient and one week of treatments, on servers of its own."""

    def __init__(self, data: Path) -> None:
        with pytest.MonkeyPatch.context() as patch:  # the other tests' servers are not to be stopped from here
            for name in GIVEN:
                patch.delenv(name, raising=False)
                patch.delenv(f"{name}_FILE", raising=False)
            super().__init__(port=free_port(), data=data, days=7, patients=1)
        self._seed_options += ("--no-progress",)

    @property
    def servers(self) -> LocalServers:
        assert self._servers is not None
        return self._servers

    @property
    def broker(self) -> LocalBroker:
        return self.servers.broker

    @property
    def worker(self) -> Child:
        return next(child for child in self._children if child.name == "worker")

    def parts(self) -> dict[str, int]:
        """Process numbers of web, worker and beat, where they run."""
        return {child.name: child.process.pid for child in self._children if child.process and child.running}

    def processes(self) -> list[psutil.Process]:
        """All that belongs to the running product."""
        main = (*self.parts().values(), self.servers.postgres.pid, self.broker.pid)
        return [each for pid in main if pid for each in with_children(pid)]

    def rows(self, query: str, *values: object) -> list[tuple[Any, ...]]:
        with psycopg.connect(self.servers.postgres.url) as connection:
            return connection.execute(query, values).fetchall()  # type: ignore[call-overload, no-any-return]

    def alerts(self, rule: str, cause: str) -> list[tuple[str, list[Json]]]:
        """State and evidence of every alert of that rule and cause, whoever's it is."""
        query = "SELECT state, evidence FROM alerts_alert WHERE rule = %s AND cause = %s ORDER BY id"
        return [(state, evidence) for state, evidence in self.rows(query, rule, cause)]

    def waiting(self, record_id: str) -> int:
        """How many evaluations of a record wait, those put aside among them."""
        return len(self.rows("SELECT 1 FROM alerts_pendingevaluation WHERE record_id = %s", record_id))

    def expect(self, condition: Callable[[], bool], what: str, *, seconds: float = WORK_SECONDS) -> None:
        """Wait for it."""
        if not wait_until(condition, seconds=seconds, pause=0.2):
            pytest.fail(f"Not within {seconds:g} seconds: {what}")

    def log_ends(self) -> list[tuple[str, str]]:
        """What web, worker and beat wrote last, for whoever reads of a failed test."""
        return [(f"End of the log: {child.name}", child.last_lines()[-4000:]) for child in self._children]

    @contextmanager
    def broker_stopped(self) -> Iterator[None]:
        self.broker.stop()
        try:
            yield
        finally:
            self.broker.start()

    def kill_worker(self) -> None:
        """SIGKILL to the worker and its children at once, as when memory runs out or the power fails."""
        process = self.worker.process
        assert process is not None
        family = with_children(process.pid)
        assert len(family) > 1, "a worker has children that carry out its tasks"
        end_group(process.pid)
        process.wait()
        assert all_end(family)

    def start_worker(self) -> None:
        """Again, with the same command; nothing when it runs."""
        if not self.worker.running:
            self.worker.start()


def with_children(pid: int) -> list[psutil.Process]:
    process = psutil.Process(pid)
    return [process, *process.children(recursive=True)]


def all_end(processes: Sequence[psutil.Process], *, seconds: float = 10) -> bool:
    """Whether all have ended by then; one that only waits for somebody to read its exit code has."""
    return wait_until(lambda: all(map(_ended, processes)), seconds=seconds)


def _ended(process: psutil.Process) -> bool:
    try:
        return not process.is_running() or process.status() == psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return True


class Answer(NamedTuple):
    status: int
    text: str

    @property
    def body(self) -> Json:
        return dict(json.loads(self.text))


class Visitor:
    """Talks with the web server over the network, as a phone or a program does."""

    def __init__(self, address: str, *, token: str = "") -> None:
        self._address = address.rstrip("/")
        self._cookies = CookieJar()
        self._opener: OpenerDirector = build_opener(ProxyHandler({}), HTTPCookieProcessor(self._cookies))
        self._headers = {"Authorization": f"Token {token}"} if token else {}

    def get(self, path: str) -> Answer:
        return self._ask("GET", path)

    def put(self, path: str, body: Json) -> Answer:
        return self._send("PUT", path, body)

    def post(self, path: str, body: Json) -> Answer:
        return self._send("POST", path, body)

    def sign_in(self, email: str, password: str) -> None:
        self.get(SIGN_IN)
        form = {"login": email, "password": password, "csrfmiddlewaretoken": self._csrf_token}
        answer = self._ask("POST", SIGN_IN, data=urlencode(form).encode())
        assert answer.status == 200
        assert "sessionid" in {cookie.name for cookie in self._cookies}, answer.text

    @property
    def _csrf_token(self) -> str:
        return next((cookie.value or "" for cookie in self._cookies if cookie.name == "csrftoken"), "")

    def _send(self, method: str, path: str, body: Json) -> Answer:
        headers = {"Content-Type": "application/json", "X-CSRFToken": self._csrf_token}
        return self._ask(method, path, data=json.dumps(body).encode(), headers=headers)

    def _ask(self, method: str, path: str, *, data: bytes | None = None, headers: Json | None = None) -> Answer:
        request = Request(self._address + path, data=data, headers={**self._headers, **(headers or {})}, method=method)
        try:
            with self._opener.open(request, timeout=ANSWER_SECONDS) as answer:
                return Answer(answer.status, answer.read().decode())
        except HTTPError as refused:
            with refused:
                return Answer(refused.code, refused.read().decode())


def night(*, hours_ago: float, **changes: Any) -> Json:
    """A finished treatment of four hours that began that long ago; nothing unusual but the changes."""
    return night_body(datetime.now(UTC) - timedelta(hours=hours_ago)) | changes
