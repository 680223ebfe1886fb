"""A real Chromium against a live server. Skipped where there is none, unless REQUIRE_BROWSER=1 says it must be."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cache
from typing import Any, Protocol

import pytest
from django.conf import settings
from django.core.signals import request_finished, request_started
from django.templatetags.static import static
from django.test import Client
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, Request, expect
from pytest_django.live_server_helper import LiveServer

from homedialysis.accounts.models import User
from sessions.pages import bedside
from sessions.services import kit
from tests.browser.static_from_memory import StaticFromMemory, pieces, ways_in

PHONE = (360, 740)
DESKTOP = (1280, 800)
SERVER_SECONDS, QUIET_LOOKS = 5, 3
PATIENCE_MS = 15_000
"""How long a page may take on a machine that does other work beside: what never comes costs this once."""
expect.set_options(timeout=PATIENCE_MS)
EXPECTED = ("Failed to load resource", "An unknown error occurred when fetching the script.")
"""What Chromium tells the console of answers of 4xx and of a network that is cut, the second while it looks for a newer
service worker: no fault of a page."""


@dataclass
class Watched:
    """A page with what went wrong on it: faults of scripts, refusals by the policy, requests to other hosts."""

    page: Page
    context: BrowserContext
    home: str
    faults: list[str] = field(default_factory=list)
    strangers: list[str] = field(default_factory=list)

    def open(self, path: str) -> Page:
        self.page.goto(self.home + path)
        return self.page

    def sign_in(self, user: User | None) -> None:
        """Sign in without the form: the session of a client that is signed in."""
        assert user is not None
        client = Client()
        client.force_login(user)
        session = client.cookies[settings.SESSION_COOKIE_NAME].value
        self.context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": self.home}])

    def note_console(self, message: ConsoleMessage) -> None:
        if message.type == "error" and not any(words in message.text for words in EXPECTED):
            self.faults.append(message.text)

    def note_request(self, request: Request) -> None:
        if not request.url.startswith((self.home, "data:", "blob:")):
            self.strangers.append(request.url)


LOOKED_INTO = ("app", "draft", "kit", "numbers", "opening", "outbox", "router", "settings", "vault")
"""Modules into which tests look where there is no network."""
addresses = bedside.addresses
release_in_pieces = cache(bedside._release.__wrapped__)


class BrowserPage(Protocol):
    def __call__(self, user: User | None = ..., **options: Any) -> Watched: ...


@pytest.fixture(scope="session")
def live_server() -> Iterator[LiveServer]:
    """In the place of pytest-django's own: one server for all browser tests, with its static files in memory."""
    server = LiveServer("localhost", start=False)
    server.thread.static_handler = StaticFromMemory
    pieces(opened=True)  # made now, and not while the first page of the run waits for them
    ways_in()
    server.start()
    yield server
    server.stop()


@pytest.fixture(autouse=True)
def bedside_in_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    """The bedside as a unit serves it, not module by module; its worker also keeps the ways in that tests take."""
    monkeypatch.setattr(bedside, "in_pieces", lambda: True)
    kept = [f"bedside/js/{name}.js" for name in LOOKED_INTO]
    monkeypatch.setattr(bedside, "addresses", lambda suffix="": [*addresses(suffix), *map(static, kept)])
    monkeypatch.setattr(bedside, "_release", release_in_pieces)


@pytest.fixture(autouse=True)
def first_treatments_of_the_night(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever has no treatment behind them yet is to be treated at night here, unless a test says otherwise."""
    monkeypatch.setattr(kit, "LONG_NIGHT_MINUTES", 0)


@pytest.fixture
def server_at_rest() -> Iterator[Callable[[], None]]:
    """A function that waits until the live server has answered everything: then its database can be emptied."""
    asked: list[object] = []  # appending is safe between the server's threads
    answered: list[object] = []

    def began(**told: Any) -> None:
        asked.append(None)

    def ended(**told: Any) -> None:
        answered.append(None)

    def busy() -> bool:
        """A request under way, or a connection's thread that may still begin one."""
        serving = any("process_request_thread" in thread.name for thread in threading.enumerate())
        return serving or len(answered) < len(asked)

    def wait() -> None:
        until, quiet = time.monotonic() + SERVER_SECONDS, 0
        while quiet < QUIET_LOOKS and time.monotonic() < until:
            quiet = 0 if busy() else quiet + 1
            time.sleep(0.02)

    request_started.connect(began)
    request_finished.connect(ended)
    yield wait
    request_started.disconnect(began)
    request_finished.disconnect(ended)


@pytest.fixture
def browser_page(
    chromium: Browser, live_server: Any, server_at_rest: Callable[[], None]
) -> Iterator[Callable[..., Watched]]:
    """Make pages: `browser_page(user, size=PHONE, colour="light", bypass_csp=False, worker=True,
    scripts=True)`.

    Without its worker a bedside fetches its files once and not twice: for what needs no start without a network.
    """
    made: list[Watched] = []

    def make(
        user: User | None = None,
        *,
        size: tuple[int, int] = PHONE,
        colour: str = "light",
        bypass_csp: bool = False,
        worker: bool = True,
        scripts: bool = True,
    ) -> Watched:
        context = chromium.new_context(
            java_script_enabled=scripts,
            viewport={"width": size[0], "height": size[1]},
            color_scheme=colour,  # type: ignore[arg-type]
            has_touch=size == PHONE,
            bypass_csp=bypass_csp,
            service_workers="allow" if worker else "block",
            timezone_id="Asia/Tokyo",  # far from the patient's zone: what the phone thinks must not matter
        )
        context.set_default_timeout(PATIENCE_MS)
        watched = Watched(context.new_page(), context, live_server.url)
        watched.page.on("console", watched.note_console)
        watched.page.on("pageerror", lambda problem: watched.faults.append(str(problem)))
        watched.page.on("request", watched.note_request)
        if user is not None:
            watched.sign_in(user)
        made.append(watched)
        return watched

    yield make
    for watched in made:
        watched.context.close()
    server_at_rest()
    assert [watched.faults for watched in made if watched.faults] == []
    assert [watched.strangers for watched in made if watched.strangers] == []
