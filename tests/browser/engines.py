"""Firefox and WebKit, spoken to over the remote control that each brings: no driver from elsewhere stands between.

Firefox listens for Marionette (messages of JSON with their length before them), WebKitGTK's small browser for WebDriver
(JSON over HTTP); the commands are the same. A touch is the browser's own click on what lies there.
"""

from __future__ import annotations

import base64
import json
import os
import re
import shutil
import socket
import subprocess
import time
from abc import ABC, abstractmethod
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any
from urllib.request import Request, urlopen

import pytest

from homedialysis.local.tools import free_port

MINI_BROWSERS = sorted(Path("/usr/lib").glob("*/webkit2gtk-4.*/MiniBrowser"))
STARTS_WITHIN, ANSWERS_WITHIN, TOUCHED_WITHIN = 60, 60, 20
ELEMENT = "element-6066-11e4-a52e-4f735466cecf"
"""What a handle is called in both (W3C WebDriver, section on elements)."""
SIZE = {"width": 450, "height": 844}
"""As narrow as both let themselves be made."""
PREFERENCES = {
    "marionette.port": 0,
    "app.update.enabled": False,
    "browser.shell.checkDefaultBrowser": False,
    "browser.tabs.remote.autostart": True,
    "datareporting.policy.dataSubmissionEnabled": False,
    "network.captive-portal-service.enabled": False,
    "network.connectivity-service.enabled": False,
    "services.settings.server": "data:,",
    "toolkit.telemetry.enabled": False,
}
"""A port of its own choice, and nothing asked of anybody outside."""


class Refused(Exception):
    """What the browser answered to a command it did not carry out."""


class Engine(ABC):
    """One window of a browser."""

    @abstractmethod
    def ask(self, name: str, path: str, **given: Any) -> Any:
        """One command: its name in Marionette, its path in WebDriver."""

    def open(self, address: str) -> None:
        self.ask("WebDriver:Navigate", "url", url=address)

    def run(self, body: str, *given: Any) -> Any:
        """A function body in the page; a promise that it returns is waited for."""
        script = f"return (async () => {{ {body} }}).apply(null, arguments);"
        return self.ask("WebDriver:ExecuteScript", "execute/sync", script=script, args=list(given))

    def find(self, body: str, *given: Any) -> str | None:
        """The handle of the element that a function body returns."""
        found = self.ask("WebDriver:ExecuteScript", "execute/sync", script=body, args=list(given))
        return next(iter(found.values())) if found else None

    def touch(self, body: str, *given: Any, seconds: float = TOUCHED_WITHIN) -> bool:
        """Touch the element that a function body returns, once there is one -> whether it came in time.

        Brought to the middle first, as a thumb does with what lies under the dock; a screen that was drawn anew
        meanwhile is looked at again.
        """
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            try:
                if handle := self.find(body, *given):
                    self.run("arguments[0].scrollIntoView({ block: 'center' });", {ELEMENT: handle})
                    self.ask("WebDriver:ElementClick", f"element/{handle}/click", id=handle)
                    return True
            except Refused as problem:
                if not re.search("stale|intercept|obscure|not interactable|not reachable", str(problem)):
                    raise
            time.sleep(0.05)
        return False

    def type(self, handle: str, text: str) -> None:
        self.ask("WebDriver:ElementSendKeys", f"element/{handle}/value", id=handle, text=text)

    def picture(self, path: Path) -> None:
        path.write_bytes(base64.b64decode(self.ask("WebDriver:TakeScreenshot", "screenshot", full=False)))


class Firefox(Engine):
    """Speaks Marionette: `length:[0, number, name, arguments]`, answered by `length:[1, number, fault, result]`."""

    def __init__(self, port: int) -> None:
        with socket.create_connection(("127.0.0.1", port), timeout=ANSWERS_WITHIN) as connection:
            self.line = connection.makefile("rwb")  # it keeps the connection until it is closed itself
        self.asked = 0
        self._hear()
        self.ask("WebDriver:NewSession", "")
        self.ask("WebDriver:SetWindowRect", "window/rect", **SIZE)

    def _hear(self) -> Any:
        length = b""
        while not length.endswith(b":"):
            sign = self.line.read(1)
            if not sign:
                raise Refused("Firefox is gone")
            length += sign
        return json.loads(self.line.read(int(length[:-1])))

    def ask(self, name: str, path: str, **given: Any) -> Any:
        self.asked += 1
        message = json.dumps([0, self.asked, name, given]).encode()
        self.line.write(b"%d:%b" % (len(message), message))
        self.line.flush()
        _, _, fault, result = self._hear()
        if fault:
            raise Refused(f"{name}: {fault['error']}: {fault['message']}")
        return result["value"] if set(result or ()) == {"value"} else result


class WebKit(Engine):
    """Speaks WebDriver over HTTP."""

    def __init__(self, port: int) -> None:
        self.home = f"http://127.0.0.1:{port}/session"
        options = {"binary": str(MINI_BROWSERS[-1]), "args": ["--automation"]}
        capabilities = {"capabilities": {"alwaysMatch": {"webkitgtk:browserOptions": options}}}
        self.home += "/" + self._send(self.home, capabilities)["sessionId"]
        self.ask("", "window/rect", **SIZE)

    def _send(self, address: str, given: dict[str, Any] | None) -> Any:
        body = None if given is None else json.dumps(given).encode()
        request = Request(address, body, {"Content-Type": "application/json"})
        with urlopen(request, timeout=ANSWERS_WITHIN) as answer:
            return json.load(answer)["value"]

    def end(self) -> None:
        """Close the small browser, which would outlive its driver."""
        with urlopen(Request(self.home, method="DELETE"), timeout=ANSWERS_WITHIN):
            pass

    def ask(self, name: str, path: str, **given: Any) -> Any:
        try:
            return self._send(f"{self.home}/{path}", None if path == "screenshot" else given)
        except OSError as problem:
            told = getattr(problem, "read", lambda: b"")()
            raise Refused(f"{path}: {problem} {told.decode()}") from problem


def _missing(what: str) -> None:
    if os.environ.get("REQUIRE_BROWSER") == "1":
        pytest.fail(f"{what} is missing")
    pytest.skip(f"{what} is missing")


@contextmanager
def _running(*command: str, **environment: str) -> Iterator[None]:
    with subprocess.Popen(
        command, env=os.environ | environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    ) as process:
        try:
            yield
        finally:
            process.terminate()
            try:
                process.wait(10)
            except subprocess.TimeoutExpired:
                process.kill()


def _within(seconds: float, found: Any) -> Any:
    """What a function gives as soon as it gives something."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if value := found():
            return value
        time.sleep(0.05)
    raise TimeoutError(f"nothing came within {seconds} s")


def _listens(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


@contextmanager
def firefox(folder: Path) -> Iterator[Engine]:
    program = shutil.which("firefox-esr") or shutil.which("firefox")
    if program is None:
        _missing("Firefox (Debian's firefox-esr)")
    lines = [f"user_pref({json.dumps(name)}, {json.dumps(value)});" for name, value in PREFERENCES.items()]
    (folder / "user.js").write_text("\n".join(lines), encoding="utf-8")
    told = folder / "MarionetteActivePort"
    command = (str(program), "--headless", "--marionette", "--no-remote", "--profile", str(folder))
    with _running(*command, HOME=str(folder)):
        port = _within(STARTS_WITHIN, lambda: told.exists() and told.read_text().strip())
        engine = Firefox(int(port))
        with engine.line:
            yield engine


@contextmanager
def webkit(folder: Path) -> Iterator[Engine]:
    driver, screen = shutil.which("WebKitWebDriver"), shutil.which("Xvfb")
    if driver is None or screen is None or not MINI_BROWSERS:
        _missing("WebKit (Debian's webkit2gtk-driver and xvfb)")
    port, shown = free_port(), folder / "display"
    with ExitStack() as stack:
        with shown.open("wb") as number:
            process = subprocess.Popen(
                [str(screen), "-displayfd", str(number.fileno()), "-screen", "0", "800x1000x24", "-nolisten", "tcp"],
                pass_fds=(number.fileno(),), stderr=subprocess.DEVNULL,
            )  # fmt: skip
        stack.callback(process.wait, 10)
        stack.callback(process.terminate)
        display = _within(STARTS_WITHIN, lambda: shown.read_text().strip())
        homes = {"HOME": str(folder), "XDG_DATA_HOME": str(folder), "XDG_CACHE_HOME": str(folder)}
        stack.enter_context(
            _running(str(driver), f"--port={port}", DISPLAY=f":{display}", GDK_BACKEND="x11", NO_AT_BRIDGE="1", **homes)
        )
        _within(STARTS_WITHIN, lambda: _listens(port))
        engine = WebKit(port)
        yield engine
        engine.end()


ENGINES = {"firefox": firefox, "webkit": webkit}
