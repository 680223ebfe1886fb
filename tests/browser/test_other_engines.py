"""One whole night in Firefox and one in WebKit, the network cut before the first check: the unit has it whole, once.

In Firefox nobody answers its question whether the page may keep data: it stands open all night.
"""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone

from sessions.models import Patient, TreatmentRecord
from tests.browser.engines import ENGINES, Engine
from tests.browser.evening import wait_for
from tests.browser.running_phone import prescribed, rope_ladder
from tests.factories import PASSWORD

pytestmark = pytest.mark.django_db(transaction=True)

SECONDS, STEPS, STUCK = 20, 200, 5
NUMBERS = {
    "chlorine": "0.05", "Conductivity": "14", "Weight before": "72.4", "Weight after": "70.1",
    "rinse-back": "0.3", "drink": "0.2", "speed": "150", "Systolic": "142", "Diastolic": "81", "Pulse": "70",
    "Fluid removed": "2.3", "Blood processed": "72", "Venous": "130", "standing": "118",
}  # fmt: skip
"""What is typed on a pad by a word of its heading."""
SIGNS = {".": "Decimal sign"}
LISTEN = """window.faults = [];
  addEventListener("error", (event) => window.faults.push(event.message));
  addEventListener("unhandledrejection", (event) => window.faults.push(String(event.reason)));"""
STATE = """const text = (all) => [...document.querySelectorAll(all)].map((each) => each.textContent.trim());
  return {
    title: text("h1")[0] ?? "", words: text(".step-words")[0] ?? "", head: text("#head .state").join(),
    main: text("#dock .arc .big")[0] ?? "", pad: text("dialog[open] h2")[0] ?? "",
    stuck: Boolean(document.querySelector("#dock .arc .big")?.disabled),
    pressed: document.querySelectorAll("#screen [aria-pressed=true]").length, screen: text("#screen").join(),
    place: location.hash,
  };"""
BY_WORDS = """const [within, words] = arguments;
  const called = (each) => each.getAttribute("aria-label") || each.textContent;
  return [...document.querySelectorAll(`${within} button, ${within} a`)]
    .filter((each) => each.getClientRects().length && !each.disabled)
    .find((each) => called(each).trim().startsWith(words)) ?? null;"""
SITE_ROW = """return [...document.querySelectorAll(".site-row")]
    .find((each) => each.textContent.includes(arguments[0])) ?? null;"""
CHOICE = """const answered = (each) => each.closest(".choices")?.querySelector("[aria-pressed=true]");
  return [...document.querySelectorAll("#screen .choice")]
    .find((each) => each.getClientRects().length && each.ariaPressed !== "true" && !answered(each)) ?? null;"""
LATER = """const Real = window.Date, ahead = arguments[0] * 60_000;
  window.Date = class extends Real {
    constructor(...given) { given.length ? super(...given) : super(Real.now() + ahead); }
    static now() { return Real.now() + ahead; }
  };"""
"""The phone's clock goes ahead by some minutes, or back."""


class Wire:
    """The network between browser and server: one port of this machine that can be cut and mended."""

    def __init__(self, server: str) -> None:
        self.far = int(server.rpartition(":")[2])
        self.joined: list[socket.socket] = []
        self.ear = self._listen(0)
        self.port = self.ear.getsockname()[1]
        self.home = f"http://localhost:{self.port}"

    def _listen(self, port: int) -> socket.socket:
        ear = socket.create_server(("127.0.0.1", port))
        threading.Thread(target=self._serve, args=(ear,), daemon=True).start()
        return ear

    def _serve(self, ear: socket.socket) -> None:
        while True:
            try:
                near, _ = ear.accept()
            except OSError:
                return
            try:
                far = socket.create_connection(("localhost", self.far))
            except OSError:
                near.close()
                return
            self.joined += [near, far]
            if ear.fileno() < 0:  # cut while these two were being joined
                near.close()
                far.close()
                return
            for one, other in ((near, far), (far, near)):
                threading.Thread(target=self._carry, args=(one, other), daemon=True).start()

    @staticmethod
    def _carry(one: socket.socket, other: socket.socket) -> None:
        try:
            while piece := one.recv(65536):
                other.sendall(piece)
            other.shutdown(socket.SHUT_WR)
        except OSError:
            one.close()

    def cut(self) -> None:
        if self.ear.fileno() >= 0:
            self.ear.shutdown(socket.SHUT_RDWR)
        self.ear.close()
        for each in self.joined:
            each.close()
        self.joined.clear()

    def mend(self) -> None:
        self.ear = self._listen(self.port)


class Night:
    """A hand with a phone of another make."""

    def __init__(self, engine: Engine, home: str) -> None:
        self.engine, self.home = engine, home
        self.minutes = 0

    def state(self) -> dict[str, Any]:
        seen: dict[str, Any] = self.engine.run(STATE)
        return seen

    def open(self, path: str = "/tonight/") -> None:
        self.engine.open(self.home + path)
        self.engine.run(LISTEN)
        self.engine.run(LATER, self.minutes)

    def later(self, minutes: int) -> None:
        self.minutes += minutes
        self.engine.run(LATER, minutes)

    def until(self, so: Callable[[dict[str, Any]], bool], what: str) -> dict[str, Any]:
        last = time.monotonic() + SECONDS
        while time.monotonic() < last:
            if so(state := self.state()):
                return state
            time.sleep(0.05)
        raise AssertionError(f"{what} never came: {self.state()}")

    def touch(self, words: str, within: str = "body") -> None:
        assert self.engine.touch(BY_WORDS, within, words), f"nothing called {words}: {self.state()}"

    def write(self, label: str, text: str) -> None:
        field = self.engine.find("return document.querySelector(arguments[0])", label)
        assert field, label
        self.engine.type(field, text)

    def sites(self, *names: str) -> None:
        for name in names:
            assert self.engine.touch(SITE_ROW, name), name
        self.until(lambda state: not state["stuck"], "both sites")

    def number(self, heading: str) -> None:
        """Type on the pad what belongs there."""
        text = next((number for words, number in NUMBERS.items() if words.lower() in heading.lower()), "1")
        for sign in text:
            self.touch(SIGNS.get(sign, sign), "dialog[open]")
        self.touch("Take it", "dialog[open]")

    def step(self, state: Mapping[str, Any], *, answer: bool) -> None:
        """What somebody does who goes straight on: pad, main action, first answer; else time goes by.

        What the screen no longer offers when the hand is there is left: the next look says what is there now.
        """
        if state["pad"]:
            self.number(state["pad"])
        elif state["main"] and not state["stuck"] and not answer:
            self.engine.touch(BY_WORDS, "#dock .arc", state["main"][:12], seconds=1)
        elif not (self.engine.find(CHOICE) and self.engine.touch(CHOICE, seconds=1)) or state["stuck"]:
            self.later(2)

    def walk(self, words: str) -> None:
        """On until the main action says these words. One that only leads to a question is answered by the question."""
        before: dict[str, Any] = {}
        same = 0
        for _ in range(STEPS):
            state = self.state()
            if words in state["main"] and not state["pad"]:
                return
            same = same + 1 if state == before else 0
            if same == STUCK:
                break
            self.step(state, answer=same > 0)
            before = state
            self.settle(state)
        raise AssertionError(f"“{words}” is not reached: {self.state()}")

    def settle(self, before: dict[str, Any]) -> None:
        """Wait a moment for something new."""
        last = time.monotonic() + 2
        while self.state() == before and time.monotonic() < last:
            time.sleep(0.05)


@pytest.fixture(params=list(ENGINES))
def engine(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Engine]:
    with ENGINES[request.param](tmp_path) as engine:
        yield engine


@pytest.fixture
def wire(live_server: Any, server_at_rest: Callable[[], None]) -> Iterator[Wire]:
    wire = Wire(live_server.url)
    yield wire
    wire.cut()
    server_at_rest()


def sign_in(night: Night) -> None:
    night.open("/accounts/login/?next=/tonight/")
    night.write("[name=login]", "ana@example.org")
    night.write("[name=password]", PASSWORD)
    night.touch("Sign in", "main")
    night.until(lambda state: "Begin to" in state["main"], "the first screen")
    night.engine.run(LISTEN)
    night.until(lambda state: state["head"].endswith("Ready"), "a phone that is ready")


def reading(night: Night) -> None:
    night.touch("Reading", "#dock")
    night.touch("Venous pressure: ", "#screen")
    night.number(night.until(lambda state: bool(state["pad"]), "the pad")["pad"])
    night.until(lambda state: not state["pad"], "the reading")
    night.touch("Done", "#dock")


def test_a_whole_night_without_a_network_in_another_browser(engine: Engine, wire: Wire, ana: Patient) -> None:
    prescribed(ana)
    rope_ladder(ana)
    night = Night(engine, wire.home)
    sign_in(night)
    wire.cut()
    night.later(-300)
    night.touch("Begin to", "#dock")
    night.walk("Choose both sites")
    night.sites("A mid", "V mid")
    night.walk("Treatment is running")
    night.touch("Treatment is running", "#dock")
    night.until(lambda state: "Reading" in state["main"], "the running treatment")
    time.sleep(1)  # as long as a phone may take to write one step down
    night.open()
    night.until(lambda state: "Reading" in state["main"], "the same screen, opened without a network")
    reading(night)
    night.touch("Something is wrong")
    night.until(lambda state: state["title"] == "Something is wrong", "the emergency cards")
    assert engine.find("return document.querySelector('a[href^=\"tel:\"]')")
    night.touch("Back", "#head")
    night.later(245)
    night.touch("Finish", "#dock")
    night.walk("Hand over to the unit")
    night.touch("Hand over to the unit", "#dock")
    night.until(lambda state: "waits to be sent" in state["head"], "a night that waits")
    faults = engine.run("return window.faults")
    tonight = TreatmentRecord.objects.filter(patient=ana, started_at__gte=timezone.now() - timedelta(hours=6))
    assert not tonight.exists()
    wire.mend()
    night.minutes = 0
    night.open()
    assert wait_for(lambda: tonight.filter(state="finished").exists(), SECONDS)
    kept = tonight.get()
    assert [row["venous_mmhg"] for row in kept.as_sent["readings"]] == [130]
    assert (kept.pre_weight_kg, kept.post_weight_kg, kept.uf_removed_l) == (72.4, 70.1, 2.3)
    assert faults == []
