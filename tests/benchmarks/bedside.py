"""How much of a hand and of time the bedside takes: a routine night by touch, its first load, its cold start offline.

    .venv/bin/python tests/benchmarks/bedside.py [--starts 7]

A real Chromium, 360 x 740 and touch, drives the pages of a web server of its own (gunicorn, static files collected as in
production) through a routine night with six readings: checks, weight and plan, sites, the run sheet of both needles,
heparin, the end, the hand-over. Every contact of the finger is counted: touches of buttons and fields, swipes that bring
something into sight (one for each height of what can be seen), keys of the number pad or keyboard. The pace is 1.1 s a
touch or swipe and 0.5 s a key, the same on both sides (common practice, no source); thinking, reading and waiting are
not counted. The phone's clock is wound forward where a night waits.

The baseline, in the same run: one plain HTML form with a field for each value of the very record that came in by the app
(times as four figures, a mark for each check, the rows of the readings ready). It is really filled in, and has to yield
what was typed. It is treated kindly: "next" on its keyboard costs one key, the keyboard covers nothing, the page is
never lost, nothing is reckoned by head, and the run sheet, its answers apart, is not in it.

The progress is on the error stream; the last line is one JSON object:

touches, seconds              all contacts of the night in the app, and how long they take at that pace
form_touches, form_seconds    the same for the form
touches_ratio, seconds_ratio  app over form
parts                         contacts of each part of the night in the app; readings_form_touches: of the form's readings
first_load_kb                 scripts, styles and page over the wire [kB = 1000 bytes]; the page as the proxy compresses it
scripts_kb, styles_kb, page_kb
offline_start_ms              from opening the address in a browser just started, without a network, at 4 x CPU slow-down,
                              to the night's main action on the screen; median of `--starts`; all in offline_starts_ms
danger_open_ms                from touching "Something is wrong" to the frame that shows its cards, 4 x slow-down; median
"""

from __future__ import annotations

import argparse
import gzip
import html
import json
import os
import re
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
from types import ModuleType
from typing import Any

from playwright.sync_api import BrowserContext, CDPSession, Page, Playwright, expect, sync_playwright
from tqdm import tqdm

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

TOUCH_SECONDS, KEY_SECONDS = 1.1, 0.5
SLOW_DOWN = 4
PHONE: dict[str, Any] = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True}
MAIN_ACTION = "#dock .arc .big.go"
NAMES = (
    "arterial_mmhg", "venous_mmhg", "tmp_mmhg", "qb_ml_min", "qd_ml_min", "uf_rate_ml_h", "uf_volume_l", "systolic",
    "diastolic", "pulse", "conductivity_ms_cm", "dialysate_temperature_c",
)  # fmt: skip
LAST_TIME = (-140, 135, 60, 300, 500, 580, 2.3, 124, 74, 74, 14, 36.5)
READINGS = (
    (-140, 130, 55, 300, 500, 600, 0.35, 136, 79, 72, 14, 36.5),
    (-145, 130, 55, 300, 500, 600, 0.7, 131, 78, 74, 14, 36.5),
    (-145, 135, 60, 300, 500, 600, 1.05, 128, 75, 73, 14.1, 36.5),
    (-145, 140, 60, 300, 500, 600, 1.4, 125, 76, 75, 14, 36.5),
    (-150, 140, 60, 300, 500, 600, 1.75, 127, 74, 76, 14, 36.5),
    (-150, 145, 65, 300, 500, 600, 2.1, 124, 73, 74, 14, 36.5),
)
"""Made up as a quiet night goes: pressures creep, what was set stays, blood pressure and pulse are new each time."""
MEASURED = {"Total chlorine of the water": "0.05", "Conductivity of the dialysate": "14"}

Counts = dict[str, int]


# The product, as in production ------------------------------------------------------------------------


def set_up() -> None:
    """Our tests as a package, whatever of that name is installed, and Django on the servers of the environment."""
    package = ModuleType("tests")
    package.__path__ = [str(ROOT / "tests")]
    sys.modules["tests"] = package
    import django

    django.setup()


@contextmanager
def site(folder: Path) -> Iterator[str]:
    """Migrated, static files collected, answering; everything ends with the context -> its address."""
    from django.core.management import call_command

    from homedialysis.demo.stack import WEB_COMMAND
    from homedialysis.processes import Child, stop_all

    call_command("migrate", verbosity=0)
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
            urllib.request.urlopen(address, timeout=2).close()  # noqa: S310 - our own server
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


def make_patient() -> Any:
    """A patient with a prescription, six sites, and a night before with everything noted."""
    from tests.browser.running_phone import now_minute, prescribed, rope_ladder
    from tests.factories import PatientFactory, SupplyCountFactory, UnitFactory, record_night

    UnitFactory()
    person = PatientFactory(name="Ana Verdemar", account__email="ana@example.org")
    prescribed(person, reading_interval_minutes=35)
    rope_ladder(person)
    for name, count in (("Dialysers", 1), ("Line sets", 1), ("Needles, 15 G", 2)):
        SupplyCountFactory(patient=person, item__name=name, item__per_treatment=count, count=40)
    begun = now_minute() - timedelta(days=1, hours=12)
    last = dict(zip(NAMES, LAST_TIME, strict=True)) | {"at": (begun + timedelta(minutes=210)).isoformat()}
    record_night(person, begun, readings=[last], post_pulse=70, blood_processed_l=72)
    return person


# A routine night by touch -----------------------------------------------------------------------------


def signed_in(context: BrowserContext, address: str) -> Page:
    """Through the form, until the bedside has its kit and lies on the phone."""
    from tests.factories import PASSWORD

    page = context.new_page()
    page.goto(f"{address}/accounts/login/?next=/tonight/")
    page.get_by_label("E-mail address").fill("ana@example.org")
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_role("button", name="Sign in").tap()
    expect(page.locator(MAIN_ACTION)).to_be_visible()
    page.wait_for_function("navigator.serviceWorker.controller?.state === 'activated'")
    return page


class Routine:
    """The parts of a quiet night, each counted for itself."""

    def __init__(self, page: Page, steps: dict[str, float], labels: dict[str, str]) -> None:
        from tests.browser.hands import Hands

        self.hands = Hands(page)
        self.steps, self.labels = steps, labels

    def wait(self, minutes: float) -> None:
        self.hands.page.clock.fast_forward(int(minutes * 60_000))

    def checks(self) -> None:
        self.hands.go_on("Begin tonight")
        self.hands.checks(MEASURED)

    def weighing(self) -> None:
        self.hands.weigh(("71.9", "142", "81", "70", "0.3", "0.2"))

    def sites(self) -> None:
        self.hands.access("A mid", "V mid")

    def needles(self) -> None:
        hands = self.hands
        hands.plain_steps(5)
        self.wait(0.6)
        hands.plain_steps(2)
        self.wait(0.6)
        hands.plain_steps(1)
        hands.press("Sharp")
        hands.press("25 mm")
        hands.needle("1", "2")
        hands.needle("1", "3")
        hands.plain_steps(3)
        hands.press("Pump speed now: enter")
        hands.pads("150")
        hands.plain_steps(3)
        hands.go_on("Treatment is running")

    def heparin(self) -> None:
        self.hands.press("Medicine")
        self.hands.press(re.compile("^Heparin bolus: same as last"))
        self.hands.press(re.compile("^Heparin rate: same as last"))
        self.hands.go_on("Back to the treatment")

    def readings(self) -> None:
        for row in READINGS:
            self.wait(35)
            self.hands.go_on("Reading")
            for name, number in zip(NAMES, row, strict=True):
                self.hands.value(self.labels[name], number, self.steps[name])
            self.hands.go_on("Done")
        self.wait(40)

    def finishing(self) -> None:
        hands = self.hands
        hands.go_on("Finish")
        hands.go_on("Blood is back: end now")
        for name, minutes in (("A mid", 8), ("V mid", 6.4)):
            hands.go_on(f"{name}: needle is out now")
            self.wait(minutes)
            hands.go_on(f"{name}: bleeding has stopped")
        hands.go_on("Enter: Weight after")
        hands.pads("70.1", "126", "74", "72", "118", "70")
        hands.go_on("Enter: Fluid removed")
        hands.pads("2.4", "72.5")
        hands.go_on("Enter: Rinse-back")
        hands.pads("=", "=")
        hands.go_on("Next: dialyser and machine")
        hands.press("Clear")
        hands.press("Yes")
        hands.press(re.compile("^Used as usual"))
        hands.after_checks()
        hands.go_on("Next: look it over")
        hands.go_on("Hand over to the unit")

    def parts(self) -> list[Callable[[], None]]:
        return [self.checks, self.weighing, self.sites, self.needles, self.heparin, self.readings, self.finishing]

    def run(self) -> Counts:
        """Contacts of each part."""
        found = {}
        for part in tqdm(self.parts(), desc="a night in the app", file=sys.stderr):
            before = self.hands.counted.contacts
            part()
            found[part.__name__] = self.hands.counted.contacts - before
        return found


def night_by_app(page: Page, address: str, person: Any) -> tuple[Any, Counts, dict[str, Any]]:
    """Begin to hand-over without a network, then sent -> (counted, parts, the record as the unit has it)."""
    from sessions.models import TreatmentRecord
    from sessions.plausible import READING
    from tests.browser.evening import wait_for

    before = set(TreatmentRecord.objects.values_list("pk", flat=True))
    page.context.set_offline(True)
    page.clock.install(time=datetime.now(UTC) - timedelta(hours=6))
    routine = Routine(
        page, {name: READING[name].step for name in NAMES}, {name: READING[name].label for name in NAMES}
    )
    parts = routine.run()
    page.clock.set_system_time(datetime.now(UTC))
    page.context.set_offline(False)
    arrived = TreatmentRecord.objects.filter(patient=person, state="finished").exclude(pk__in=before)
    if not wait_for(arrived.exists, 30):
        raise SystemExit("the night did not reach the server")
    return routine.hands.counted, parts, arrived.get().as_sent


# The same record in a plain form ----------------------------------------------------------------------

TIMES = {"started_at", "ended_at", "at"}
LISTS = {"checks", "sites", "readings", "events", "medicines", "used_stock"}
LEFT_OUT = {
    "status", "id", "patient", "revision", "night", "received_at", "clock_offset_s", "entered_by", "marks", "steps",
    "confirmed", "prescription_version", "checklist_version", "run_sheet_version",
}  # fmt: skip
READY = {"name", "key", "part", "unit", "use", "item", "overruled", "reason"}
"""What stands in the form already, or is never asked there."""
PICKED = {"site", "needle", "dialyser_look", "plan_choice"}
UNTIMED = {"checks", "sites"}

Field = tuple[str, str, str]


def field_of(path: str, name: str, value: Any) -> Field | None:
    """(path, kind, value) of one field: kind "text", "mark" or "pick"; None for what is not typed."""
    if value is None or value == "" or name in READY:
        return None
    if isinstance(value, bool):
        return (path, "mark", "on" if value else "")
    if name in TIMES:
        return (path, "text", datetime.fromisoformat(value).strftime("%H%M"))
    return (path, "pick" if name in PICKED else "text", f"{value:g}" if isinstance(value, float) else str(value))


def fields_of(record: dict[str, Any]) -> list[Field]:
    """A field for each value of the record that somebody had to give."""
    found: list[Field | None] = []
    for name, value in record.items():
        if name in LISTS:
            for index, row in enumerate(value):
                timeless = {key: each for key, each in row.items() if not (name in UNTIMED and key == "at")}
                found += [field_of(f"{name}.{index}.{key}", key, each) for key, each in timeless.items()]
        elif name not in LEFT_OUT:
            found.append(field_of(name, name, value))
    return [each for each in found if each]


def form_of(fields: list[Field]) -> str:
    """One plain page: a line a field, as large as browsers make them with ordinary spacing."""
    parts = {
        "text": '<input id="{0}" name="{0}" inputmode="decimal">',
        "mark": '<input id="{0}" name="{0}" type="checkbox">',
        "pick": '<select id="{0}" name="{0}"><option></option><option>{1}</option></select>',
    }
    rows = [f'<p><label for="{path}">{path}</label> {parts[kind].format(path, html.escape(value))}</p>'
            for path, kind, value in fields]  # fmt: skip
    return f'<!DOCTYPE html><html lang="en"><meta name="viewport" content="width=device-width"><title>Night</title><form>{"".join(rows)}<button type="button" id="send">Send</button></form>'


def night_by_form(page: Page, fields: list[Field]) -> tuple[Any, int]:
    """Fill it in field by field -> (counted, contacts of the readings alone). Fails unless it holds what was typed."""
    from tests.browser.hands import Hands

    page.set_content(form_of(fields))
    hands, typing, readings = Hands(page), False, 0
    for path, kind, value in tqdm(fields, desc="a night in the form", file=sys.stderr):
        before = hands.counted.contacts
        typing = fill(hands, path, kind, value, typing)
        readings += (hands.counted.contacts - before) if path.startswith("readings.") else 0
    hands.touch(page.locator("#send"))
    held = page.evaluate("Object.fromEntries(new FormData(document.querySelector('form')))")
    if held != {path: value for path, kind, value in fields if value}:
        raise SystemExit("the form does not hold what was typed")
    return hands.counted, readings


def fill(hands: Any, path: str, kind: str, value: str, typing: bool) -> bool:
    """One field -> whether the keyboard is up afterwards."""
    target = hands.page.locator(f'[id="{path}"]')
    if kind == "text":
        if typing:
            hands.page.keyboard.press("Tab")
            hands.counted.keys += 1
        else:
            hands.touch(target)
        hands.counted.keys += len(value)
        hands.page.keyboard.type(value)
        return True
    if kind == "mark":
        if value:
            hands.touch(target)
    else:
        hands.touch(target)
        hands.counted.touches += 1
        target.select_option(value)
    return False


# Load and start ---------------------------------------------------------------------------------------


def first_load(page_of: Callable[[], Page], address: str) -> dict[str, float]:
    """Bytes over the wire by kind, of the page opened for the first time by somebody signed in."""
    page = page_of()
    told = page.context.new_cdp_session(page)
    told.send("Network.enable")
    kinds: dict[str, str] = {}
    bytes_of: dict[str, float] = {}
    told.on("Network.responseReceived", lambda event: kinds.update({event["requestId"]: event["type"]}))

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
    return {"first_load_kb": sum(sizes.values()) / 1000} | {name: size / 1000 for name, size in sizes.items()}


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
    took: float = page.wait_for_function("window.drawnAt").json_value()
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
    chromium = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))))
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
    browser.close()
    return found | sums(counted, form) | {"parts": parts, "readings_form_touches": form_readings}


def sums(counted: Any, form: Any) -> dict[str, float]:
    app_seconds, form_seconds = seconds_of(counted), seconds_of(form)
    return {
        "touches": counted.contacts, "seconds": app_seconds,
        "form_touches": form.contacts, "form_seconds": form_seconds,
        "touches_ratio": counted.contacts / form.contacts, "seconds_ratio": app_seconds / form_seconds,
    }  # fmt: skip


def rounded(found: dict[str, Any]) -> dict[str, Any]:
    return {name: round(value, 2) if isinstance(value, float) else value for name, value in found.items()}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--starts", type=int, default=7)
    starts = parser.parse_args().starts
    from homedialysis.local_servers import throwaway_servers

    with tempfile.TemporaryDirectory(prefix="bedside-") as name, throwaway_servers() as servers:
        folder = Path(name)
        os.environ.update(environment(folder) | servers.environment)
        set_up()
        with site(folder) as address, sync_playwright() as playwright:
            found = measure(playwright, address, make_patient(), folder, starts)
    found["offline_start_ms"] = median(found["offline_starts_ms"])
    print(json.dumps(rounded(found)))


if __name__ == "__main__":
    main()
