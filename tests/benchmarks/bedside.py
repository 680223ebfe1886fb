"""How much of a hand and of time the bedside takes: a routine night by touch, its first load, its cold start offline.

    .venv/bin/python tests/benchmarks/bedside.py [--starts 7]

A real Chromium, 360 x 740 and touch, drives the pages of a web server of its own (gunicorn, static files collected as
in production) through a routine night with six readings: checks, weight and plan, sites, the run sheet of both
needles, heparin, the end, the hand-over. Every contact of the finger is counted: touches of buttons and fields,
swipes that bring something into sight (one for each height of what can be seen), keys of the number pad or keyboard.
The pace is 1.1 s a touch or swipe and 0.5 s a key, the same on both sides (common practice, no source); thinking,
reading and waiting are not counted. The phone's clock is wound forward where a night waits.

The baseline, in the same run: one plain HTML form with a field for each value of the very record that came in by the
app (times as four figures, a mark for each check, the rows of the readings ready). It is really filled in, and has to
yield what was typed. It is treated kindly: "next" on its keyboard costs one key, the keyboard covers nothing, the
page is never lost, nothing is reckoned by head, and the run sheet, its answers apart, is not in it.

Then three ways of somebody experienced, who goes through checks and steps in short on a phone that has seen nights
before: from "begin" to "running", a long quiet night of seven hours, and a bad night (chlorine over the limit that
comes right, a needle that swells, a drop of pressure, an early end). Of these, touches and keys are counted; swipes,
which bring something into sight, stand apart.

The progress is on the error stream; the last line is one JSON object:

begin_to_running              touches and keys from "begin" to "treatment is running", experienced
long_night, bad_night         the same for whole nights
swipes_of_nights              swipes of each of the three

touches, seconds              all contacts of the night in the app, and how long they take at that pace
form_touches, form_seconds    the same for the form
touches_ratio, seconds_ratio  app over form
parts                         contacts of each part of the night in the app
readings_form_touches         contacts of the readings in the form
first_load_kb                 first script, styles and page over the wire [kB = 1000 bytes]; the page by gzip level 5
later_kb                      the script of the screens that are fetched after the first one stands
scripts_kb, styles_kb, page_kb
offline_start_s               from opening the address in a browser just started, without a network, at 4 x CPU
                              slow-down, to the night's main action on the screen; median of
                              `--starts`; each in offline_starts_ms
danger_open_ms                from touching "Something is wrong" to the frame with its cards, 4 x slow-down; median
"""

from __future__ import annotations

import argparse
import gzip
import json
import os
import shutil
import socket
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import astuple
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median
from typing import Any
from urllib.parse import urlsplit

from ground import ROOT, own_servers
from playwright.sync_api import Browser, BrowserContext, CDPSession, Page, Playwright, expect, sync_playwright
from tqdm import tqdm

TOUCH_SECONDS, KEY_SECONDS = 1.1, 0.5
SLOW_DOWN = 4
PHONE: dict[str, Any] = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True}
MAIN_ACTION = "#dock .arc .big.go"

# The product, as in production ------------------------------------------------------------------------


@contextmanager
def site(folder: Path) -> Iterator[str]:
    """Static files collected, answering; everything ends with the context -> its address."""
    from django.core.management import call_command

    from homedialysis.demo.stack import WEB_COMMAND
    from homedialysis.local.processes import Child, stop_all

    call_command("collectstatic", interactive=False, verbosity=0)
    address = os.environ["SITE_ADDRESS"]
    web = Child("web", (*WEB_COMMAND, "--bind", address.removeprefix("http://")), folder / "web.log", os.environ, ROOT)
    web.start()
    try:
        wait_for_answer(f"{address}/healthz")
        yield address
    finally:
        stop_all([web])


def wait_for_answer(address: str, seconds: float = 60) -> None:
    until = time.monotonic() + seconds
    while True:
        try:
            urllib.request.urlopen(address, timeout=2).close()
            return
        except OSError:
            if time.monotonic() > until:
                raise
            time.sleep(0.2)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def environment(folder: Path) -> dict[str, str]:
    return {
        "DJANGO_SETTINGS_MODULE": "homedialysis.settings",
        "SITE_ADDRESS": f"http://127.0.0.1:{free_port()}",
        "DEBUG": "false",
        "HASHED_STATIC": "true",
        "DATA_DIR": str(folder),
        "STATIC_ROOT": str(folder / "static"),
        "SECRET_KEY": "only for figures, never anywhere else, and quite long",
        "DJANGO_ALLOW_ASYNC_UNSAFE": "true",  # the browser's driver runs an event loop beside the database
    }


def make_patient(email: str = "ana@example.org", *, short: bool = False, **ordered: Any) -> Any:
    """A patient with a prescription, six sites, and a night before with everything noted."""
    from sessions.models import SupplyItem
    from tests.benchmarks.routine_night import LAST_TIME, NAMES
    from tests.browser.running_phone import now_minute, prescribed, rope_ladder
    from tests.factories import PatientFactory, SupplyCountFactory, record_night

    person = PatientFactory(name="Ana Verdemar", account__email=email, short_sheets=short)
    prescribed(person, **({"reading_interval_minutes": 35} | ordered))
    rope_ladder(person)
    for name, count in (("Dialysers", 1), ("Line sets", 1), ("Needles, 15 G", 2)):
        known = SupplyItem.objects.filter(name=name).first()
        item = {"item": known} if known else {"item__name": name, "item__per_treatment": count}
        SupplyCountFactory(patient=person, count=40, **item)
    begun = now_minute() - timedelta(days=1, hours=12)
    last = dict(zip(NAMES, LAST_TIME, strict=True)) | {"at": (begun + timedelta(minutes=210)).isoformat()}
    planned = {"planned_rinse_back_l": 0.3, "planned_intake_l": 0.2} if short else {}
    record_night(person, begun, readings=[last], post_pulse=70, blood_processed_l=72, **planned)
    return person


# A routine night by touch -----------------------------------------------------------------------------


def signed_in(context: BrowserContext, address: str, email: str = "ana@example.org") -> Page:
    """Through the form, until the bedside has its kit and lies on the phone."""
    from tests.factories import PASSWORD

    page = context.new_page()
    page.goto(f"{address}/accounts/login/?next=/tonight/")
    page.get_by_label("E-mail address").fill(email)
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_role("button", name="Sign in").tap()
    expect(page.locator(MAIN_ACTION)).to_be_visible()
    comes(page, "navigator.serviceWorker.controller?.state === 'activated'")
    return page


def comes(page: Page, expression: str) -> Any:
    """Wait until an expression is true -> its value. The pages' policy forbids what Playwright has for it."""
    script = f"""async () => {{
      for (let tries = 0; tries < 300; tries += 1) {{
        const found = {expression};
        if (found) return found;
        await new Promise((next) => setTimeout(next, 100));
      }}
      throw new Error("never came");
    }}"""
    return page.evaluate(script)


def night_by_app(page: Page, address: str, person: Any) -> tuple[Any, dict[str, int], dict[str, Any]]:
    """Begin to hand-over without a network, then sent -> (counted, parts, the record as the unit has it)."""
    from sessions.facts.fields import READING
    from sessions.models import TreatmentRecord
    from tests.benchmarks.routine_night import NAMES, Routine
    from tests.browser.evening import wait_for

    before = set(TreatmentRecord.objects.values_list("pk", flat=True))
    page.context.set_offline(True)
    page.clock.install(time=datetime.now(UTC) - timedelta(hours=6))
    routine = Routine(page, {name: READING[name].step for name in NAMES}, {name: READING[name].label for name in NAMES})
    parts = routine.run()
    page.clock.set_system_time(datetime.now(UTC))
    page.context.set_offline(False)
    arrived = TreatmentRecord.objects.filter(patient=person, state="finished").exclude(pk__in=before)
    if not wait_for(arrived.exists, 30):
        raise SystemExit("the night did not reach the server")
    return routine.hands.counted, parts, arrived.get().as_sent


EXPERIENCED: dict[str, dict[str, Any]] = {
    "begin_to_running": {},
    "long_night": {"minutes": 420, "max_minutes": 480, "quiet_at_night": True},
    "bad_night": {},
}
"""Walks of somebody experienced, with what is ordered otherwise for each."""
NEEDLE = """localStorage.setItem("bedside.needle", JSON.stringify({ needle: "sharp", length_mm: 25 }))"""


def experienced_nights(browser: Browser, address: str) -> dict[str, Any]:
    """Touches and keys of each walk, on a phone of its own and without a network."""
    from tests.benchmarks.nights_by_touch import Experienced

    found: dict[str, Any] = {}
    swipes: dict[str, int] = {}
    for name, ordered in EXPERIENCED.items():
        email = f"{name}@example.org"
        make_patient(email, short=True, **ordered)
        context = browser.new_context(**PHONE)
        context.add_init_script(NEEDLE)
        page = signed_in(context, address, email)
        context.set_offline(True)
        page.clock.install(time=datetime.now(UTC) - timedelta(hours=9))
        walk = Experienced(page, ("A mid", "V mid"))
        counted = walk.to_running() if name == "begin_to_running" else getattr(walk, name)()
        found[name], swipes[name] = counted.touches + counted.keys, counted.swipes
        context.close()
    return found | {"swipes_of_nights": swipes}


# Load and start ---------------------------------------------------------------------------------------


def first_load(page_of: Callable[[], Page], address: str) -> dict[str, float]:
    """Bytes over the wire by kind, of the page opened for the first time by somebody signed in."""
    page = page_of()
    told = page.context.new_cdp_session(page)
    told.send("Network.enable")
    kinds: dict[str, str] = {}
    bytes_of: dict[str, float] = {}

    def named(event: Any) -> None:
        later = Path(urlsplit(event["response"]["url"]).path).name.startswith("rest.")
        kinds[event["requestId"]] = "Later" if later else event["type"]

    told.on("Network.responseReceived", named)

    def finished(event: Any) -> None:
        kind = kinds.get(event["requestId"], "")
        bytes_of[kind] = bytes_of.get(kind, 0) + event["encodedDataLength"]

    told.on("Network.loadingFinished", finished)
    answer = page.goto(f"{address}/tonight/")
    assert answer is not None
    expect(page.locator(MAIN_ACTION)).to_be_visible()
    page.wait_for_timeout(500)
    zipped = len(gzip.compress(answer.body(), 5)) if "content-encoding" not in answer.headers else bytes_of["Document"]
    sizes = {"scripts_kb": bytes_of["Script"], "styles_kb": bytes_of["Stylesheet"], "page_kb": zipped}
    first = {"first_load_kb": sum(sizes.values()) / 1000} | {name: size / 1000 for name, size in sizes.items()}
    # The worker may be the one that fetches it, out of sight of the page: so it is asked for once more.
    later = page.evaluate("new URL(document.documentElement.dataset.later, location.href).href")
    asked = urllib.request.Request(later, headers={"Accept-Encoding": "gzip"})
    with urllib.request.urlopen(asked) as sent:
        return first | {"later_kb": len(sent.read()) / 1000}


DRAWN = """
  new MutationObserver((_, watch) => {
    if (!document.querySelector("#dock .arc .big.go")) return;
    watch.disconnect();
    requestAnimationFrame(() => { window.drawnAt ??= performance.now(); });
  }).observe(document, { childList: true, subtree: true });
"""
OPENED = """() => new Promise((told) => {
  const began = performance.now();
  new MutationObserver((_, watch) => {
    if (!document.querySelector(".alarms")) return;
    watch.disconnect();
    requestAnimationFrame(() => setTimeout(() => told(performance.now() - began)));
  }).observe(document, { childList: true, subtree: true });
  document.getElementById("wrong").click();
})"""


def slowed(page: Page) -> CDPSession:
    session = page.context.new_cdp_session(page)
    session.send("Emulation.setCPUThrottlingRate", {"rate": SLOW_DOWN})
    return session


def offline_start(opened: Callable[[], BrowserContext], address: str) -> float:
    """One cold start [ms]: a browser just started on the same storage, no network, the page opened."""
    context = opened()
    context.set_offline(True)
    page = context.new_page()
    page.add_init_script(DRAWN)
    slowed(page)
    page.goto(f"{address}/tonight/")
    took: float = comes(page, "window.drawnAt")
    context.close()
    return took


def danger_open(page: Page, times: int) -> float:
    """Median [ms] of several openings in a night under way."""
    slowed(page)
    found = []
    for _ in range(times):
        found.append(page.evaluate(OPENED))
        page.evaluate("history.back()")
        expect(page.locator("#wrong")).to_be_visible()
    return median(found)


def seconds_of(counted: Any) -> float:
    touches, swipes, keys = astuple(counted)
    return TOUCH_SECONDS * (touches + swipes) + KEY_SECONDS * keys


def measure(playwright: Playwright, address: str, person: Any, folder: Path, starts: int) -> dict[str, Any]:
    from tests.benchmarks.plain_form import fields_of, night_by_form

    chromium = chromium_path()
    options: dict[str, Any] = {"executable_path": chromium, "args": ["--no-sandbox"]} | PHONE

    def opened() -> BrowserContext:
        return playwright.chromium.launch_persistent_context(folder / "phone", **options)

    context = opened()
    page = signed_in(context, address)
    found: dict[str, Any] = {}
    cookies = context.cookies()
    context.close()
    progress = tqdm(range(starts), desc="cold starts", file=sys.stderr)
    found["offline_starts_ms"] = [round(offline_start(opened, address)) for _ in progress]
    context = opened()
    page = context.new_page()
    page.goto(f"{address}/tonight/")
    expect(page.locator(MAIN_ACTION)).to_be_visible()
    found["danger_open_ms"] = danger_open(page, starts)
    page.close()
    page = context.new_page()
    page.goto(f"{address}/tonight/")
    counted, parts, record = night_by_app(page, address, person)
    form, form_readings = night_by_form(context.new_page(), fields_of(record))
    context.close()
    browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
    fresh = browser.new_context(**PHONE)
    fresh.add_cookies(cookies)  # type: ignore[arg-type]
    found |= first_load(fresh.new_page, address)
    found |= experienced_nights(browser, address)
    browser.close()
    return found | sums(counted, form) | {"parts": parts, "readings_form_touches": form_readings}


def sums(counted: Any, form: Any) -> dict[str, float]:
    app_seconds, form_seconds = seconds_of(counted), seconds_of(form)
    return {
        "touches": counted.contacts, "seconds": app_seconds,
        "form_touches": form.contacts, "form_seconds": form_seconds,
        "touches_ratio": counted.contacts / form.contacts, "seconds_ratio": app_seconds / form_seconds,
    }  # fmt: skip


def measured(playwright: Playwright, address: str, folder: Path, given: argparse.Namespace) -> dict[str, Any]:
    from tests.factories import UnitFactory

    UnitFactory()
    if given.nights_alone:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=["--no-sandbox"])
        return experienced_nights(browser, address)
    found = measure(playwright, address, make_patient(), folder, given.starts)
    return found | {"offline_start_s": median(found["offline_starts_ms"]) / 1000}


def chromium_path() -> str:
    return next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))))


def rounded(found: dict[str, Any]) -> dict[str, Any]:
    return {name: round(value, 2) if isinstance(value, float) else value for name, value in found.items()}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--starts", type=int, default=7)
    parser.add_argument("--nights-alone", action="store_true", help="only the three walks of somebody experienced")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="bedside-") as name:
        folder = Path(name)
        with own_servers(environment(folder)), site(folder) as address, sync_playwright() as playwright:
            found = measured(playwright, address, folder, given)
    print(json.dumps(rounded(found)))


if __name__ == "__main__":
    main()
