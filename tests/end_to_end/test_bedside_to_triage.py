"""One night's way through the whole house: sent by the phone, evaluated by a worker, read on the nurse's page."""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from zoneinfo import ZoneInfo

from playwright.sync_api import Browser, Locator, Page, expect

from homedialysis.demo.cast import CAST
from homedialysis.demo.people import PASSWORD, STAFF, TIME_ZONE
from homedialysis.demo.readiness import SIGN_IN
from tests.end_to_end.product import WORK_SECONDS, Json, SmallDemo, Visitor, night

PATIENT, NURSE = CAST[0], STAFF[0]
UF_RATE = "16.4 mL/kg/h"
"""4.6 L in 4 hours at 70.0 kg: 4600 / 4 / 70 = 16.43."""


def test_a_night_sent_from_the_bedside_shows_on_the_open_triage_page(
    product: SmallDemo, phone: Visitor, chromium: Browser
) -> None:
    sent = rough_night()
    with page_without_errors(chromium) as page:
        open_triage(page, product.address)
        line = page.locator("tbody.bundle", has=page.get_by_role("link", name=PATIENT.name, exact=True))
        expect(line.get_by_text("UF rate")).to_have_count(0)
        page.evaluate("() => { window.openSinceBefore = true }")

        answer = phone.put(f"/api/v1/treatments/{uuid.uuid4()}/", sent)
        assert answer.status == 201, answer.text

        expect(line).to_contain_text("UF rate", timeout=WORK_SECONDS * 1000)
        expect(line).to_contain_text("Venous pressure over")
        assert page.evaluate("() => window.openSinceBefore") is True, "the page was loaded anew"

        line.get_by_role("link", name=PATIENT.name, exact=True).click()
        _, late, latest = sent["readings"]
        fluid, venous = alert(page, "UF rate"), alert(page, "Venous pressure over")
        expect(fluid).to_contain_text(f"UF rate {UF_RATE}")
        expect(fluid.get_by_role("listitem")).to_have_text(
            [f"{when(sent, sent['started_at'])} UF rate {UF_RATE} limit 10 mL/kg/h"]
        )
        expect(venous).to_contain_text("Venous pressure 290 mmHg")
        expect(venous.get_by_role("listitem")).to_have_text(
            [
                f"{when(sent, latest['at'])} Venous pressure 265 mmHg limit 250 mmHg",
                f"{when(sent, late['at'])} Venous pressure 290 mmHg limit 250 mmHg",
            ]
        )


def rough_night() -> Json:
    """Too much fluid in four hours, and two of three venous pressures out of bounds."""
    body = night(hours_ago=5, pre_weight_kg=74.3, post_weight_kg=70.0, uf_removed_l=4.6)
    for reading, venous in zip(body["readings"], (130, 290, 265), strict=True):
        reading |= {"uf_rate_ml_h": 1150, "venous_mmhg": venous}
    return body


@contextmanager
def page_without_errors(chromium: Browser) -> Iterator[Page]:
    """A page of its own; whatever it complains of in the browser's console fails the test."""
    complaints: list[str] = []
    page = chromium.new_page()
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
    try:
        yield page
    finally:
        page.close()
    assert complaints == []


def open_triage(page: Page, address: str) -> None:
    """Sign in as the nurse, whose first page it is."""
    page.goto(address.rstrip("/") + SIGN_IN)
    page.get_by_label("E-mail address").fill(NURSE.email)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/triage/")
    expect(page.get_by_role("heading", level=1)).to_have_text("Who wants a call")


def alert(page: Page, title: str) -> Locator:
    """The alert whose title begins so, on the page of its patient."""
    return page.get_by_role("article", name=re.compile(f"^{title}"))


def when(sent: Json, at: str) -> str:
    """The night, which has the date it began, and the clock, both where the patient lives."""
    zone = ZoneInfo(TIME_ZONE)
    began, seen = (datetime.fromisoformat(each).astimezone(zone) for each in (sent["started_at"], at))
    return f"{began:%a} {began.day} {began:%b} {seen:%H:%M}"
