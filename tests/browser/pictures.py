"""The pictures of README.md, taken from a running demo: `python tests/browser/pictures.py ADDRESS`.

The demo has to serve the bedside's modules as they are written (HASHED_STATIC=false), for the night on the phone is set
by them: a treatment that runs since a while, and one before its needles. Nothing is sent for it.
"""

from __future__ import annotations

import base64
import os
import re
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import django
from playwright.sync_api import Browser, Page, sync_playwright

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "homedialysis" / "demo" / "pictures"
PHONE, DESK = (360, 740), (1280, 800)
MOST_BYTES = 80_000
BEGIN = """async ([started, values]) => {
  const { ctx } = await import("/static/bedside/js/app.js");
  const moment = () => new Promise((go) => setTimeout(go, 100));
  for (let tries = 0; !ctx.kit?.patient && tries < 100; tries += 1) await moment();
  ctx.begin();
  Object.assign(ctx.night.doc, values);
  if (started) Object.assign(ctx.night, { stage: "running", doc: { ...ctx.night.doc, started_at: started } });
  await ctx.save();
}"""
SMALLER = """async ([bytes, wide]) => {
  const picture = new Image();
  picture.src = `data:image/png;base64,${bytes}`;
  await picture.decode();
  const sheet = document.createElement("canvas");
  sheet.width = wide;
  sheet.height = Math.round((picture.height * wide) / picture.width);
  const brush = sheet.getContext("2d");
  brush.imageSmoothingQuality = "high";
  brush.drawImage(picture, 0, 0, sheet.width, sheet.height);
  return sheet.toDataURL("image/webp", 0.8).split(",")[1];
}"""


def main(address: str) -> None:
    """Raises AssertionError for a picture that is too large, and Playwright's errors for a page that is not there."""
    sys.path.insert(0, str(ROOT))
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "homedialysis.settings")
    django.setup()  # the roles' names are a model's
    from homedialysis.demo.people import PASSWORD, SIGN_INS

    emails = {each.role: each.email for each in SIGN_INS}
    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])

        def signed_in(role: str, size: tuple[int, int], colours: str = "light") -> Page:
            return _signed_in(browser, address, (emails[role], PASSWORD), size, colours)

        for name, (wide, take) in PICTURES.items():
            _keep(name, take(signed_in, address), wide, browser.new_page())
        browser.close()


SignIn = Callable[..., Page]


def _signed_in(browser: Browser, address: str, who: tuple[str, str], size: tuple[int, int], colours: str) -> Page:
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]},
        color_scheme="dark" if colours == "dark" else "light",
        device_scale_factor=2,
        service_workers="block",
    )
    page = context.new_page()
    page.goto(f"{address}/accounts/login/")
    page.get_by_label("E-mail address").fill(who[0])
    page.get_by_label("Password", exact=True).fill(who[1])
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda url: "/login/" not in url)
    return page


def _shot(page: Page) -> bytes:
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(700)
    return page.screenshot()


def _bedside(signed_in: SignIn, address: str, *, colours: str, minutes: int) -> Page:
    page = signed_in("patient", PHONE, colours)
    page.goto(f"{address}/tonight/")
    now = datetime.now(UTC).replace(second=0, microsecond=0)
    start = now - timedelta(minutes=minutes)
    at = [(start + timedelta(minutes=each)).isoformat() for each in (10, 70)]
    readings = [
        {"at": at[0], "systolic": 138, "diastolic": 80, "pulse": 72, "venous_mmhg": 130, "uf_volume_l": 0.3},
        {"at": at[1], "systolic": 126, "diastolic": 76, "pulse": 74, "venous_mmhg": 135, "uf_volume_l": 1.1},
    ]
    running = {"pre_weight_kg": 72.4, "readings": readings} if minutes else {"pre_weight_kg": 72.4}
    page.evaluate(BEGIN, [start.isoformat() if minutes else "", running])
    return page


def _running(signed_in: SignIn, address: str) -> bytes:
    page = _bedside(signed_in, address, colours="dark", minutes=95)
    page.evaluate("() => { location.hash = '#/running'; }")
    return _shot(page)


def _arm(signed_in: SignIn, address: str) -> bytes:
    page = _bedside(signed_in, address, colours="light", minutes=0)
    page.evaluate("() => { location.hash = '#/access'; }")
    page.locator("#screen .target").first.wait_for()
    page.evaluate("document.querySelector('#screen .pair').scrollIntoView()")
    return _shot(page)


def _triage(signed_in: SignIn, address: str) -> bytes:
    return _shot(signed_in("nurse", DESK))


def _board(signed_in: SignIn, address: str) -> bytes:
    page = signed_in("nephrologist", DESK)
    page.goto(f"{address}/months/")
    return _shot(page)


def _planner(signed_in: SignIn, address: str) -> bytes:
    """Of the patient with most out of range: this schedule beside a longer one."""
    page = signed_in("nephrologist", DESK)
    page.goto(f"{address}/months/")
    patient = re.findall(r"/patients/[^/]+/", page.locator(".board tbody th a").first.get_attribute("href") or "")[0]
    page.goto(f"{address}{patient}planner/")
    page.get_by_role("link", name="Keep this one to compare with").click()
    minutes = page.get_by_label("Minutes each")
    with page.expect_response(lambda answer: "minutes=" in answer.url):
        minutes.fill(str(int(minutes.input_value()) + 60))
        minutes.press("Tab")
    page.get_by_role("columnheader", name="Schedule B").first.wait_for()
    page.evaluate("() => { document.activeElement?.blur(); window.scrollTo(0, 0); }")
    return _shot(page)


PICTURES: dict[str, tuple[int, Callable[[SignIn, str], bytes]]] = {
    "night": (540, _running),
    "arm": (540, _arm),
    "triage": (1000, _triage),
    "month": (1000, _board),
    "planner": (1000, _planner),
}
"""Name: its width in pixels, and how it is taken."""


def _keep(name: str, png: bytes, wide: int, page: Page) -> None:
    page.goto("about:blank")
    body = base64.b64decode(page.evaluate(SMALLER, [base64.b64encode(png).decode(), wide]))
    assert len(body) < MOST_BYTES, f"{name}: {len(body)} bytes, at most {MOST_BYTES}"
    FOLDER.mkdir(exist_ok=True)
    (FOLDER / f"{name}.webp").write_bytes(body)
    sys.stdout.write(f"{name}.webp: {len(body)} bytes\n")
    page.close()


if __name__ == "__main__":
    main(sys.argv[1].rstrip("/"))
