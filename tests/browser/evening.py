"""The phone in the hands of somebody who goes through an evening, in words."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from datetime import timedelta
from typing import Any

from playwright.sync_api import Locator, Page, expect

from sessions.models import AccessSite
from tests.browser.running_phone import Phone, now_minute

KEYS = {".": "Decimal sign", "-": "Plus or minus"}
GOOD_CHLORINE, GOOD_CONDUCTIVITY = "0.05", "14"


class Evening(Phone):
    """The phone of somebody who goes through an evening."""

    def open(self) -> Page:
        self.watched.open("/tonight/")
        expect(self.main()).to_be_visible()
        return self.page

    def main(self) -> Locator:
        """The main action under the thumb."""
        return self.page.locator("#dock .arc .big").first

    def touch_main(self, words: str) -> None:
        expect(self.main()).to_have_text(re.compile(words))
        self.main().click()

    def screen(self) -> Locator:
        return self.page.locator("#screen")

    def pad(self, number: str) -> None:
        """Type on the open pad and take it."""
        dialog = self.page.locator("dialog.pad")
        expect(dialog).to_be_visible()
        for key in number:
            dialog.get_by_role("button", name=KEYS.get(key, key), exact=True).click()
        dialog.get_by_role("button", name="Take it", exact=True).click()

    def pads(self, *numbers: str) -> None:
        """The pads that follow one another; the last leaves none open."""
        for number in numbers:
            self.pad(number)
        expect(self.page.locator("dialog.pad")).to_have_count(0)

    def enter(self, path: str, number: str) -> None:
        self.page.locator(f"[data-path='{path}']").click()
        self.pads(number)

    def offline(self, off: bool = True) -> None:
        self.watched.context.set_offline(off)

    def pass_checks(self) -> None:
        """Every check before the treatment, good."""
        self.go("checks")
        for _ in range(30):
            words = self.main().inner_text()
            if "Next: weigh" in words:
                return
            self.main().click()
            if "Enter the reading" in words:
                chlorine = "chlorine" in self.page.locator(".step-words").inner_text()
                self.pad(GOOD_CHLORINE if chlorine else GOOD_CONDUCTIVITY)
        raise AssertionError("the checks do not end")

    def weigh(self, weight: str = "72") -> None:
        """Weight, pressure, pulse, rinse-back, drinks, pad after pad."""
        self.go("weigh")
        self.main().click()
        self.pads(weight, "142", "81", "70", "0.3", "0.2")


BEGIN = "Begin (tonight|today)'s treatment"
"""By night or by day, as the treatments before were."""


def begun(evening: Evening) -> Evening:
    """Opened and begun: the unit is asked first whether one runs already, so the next screen is waited for."""
    evening.open()
    evening.touch_main(BEGIN)
    expect(evening.page.get_by_role("heading", level=1)).to_have_text(re.compile("Checks before|What changed"))
    return evening


def running(evening: Evening, sites: list[AccessSite], **document: Any) -> Evening:
    """A treatment that began 240 minutes ago, with two needles in."""
    used = [
        {"site": site.pk, "use": site.use, "attempts": 1, "bleeding_minutes": None, "note": ""}
        for site in (sites[0], sites[3])
    ]
    start = (now_minute() - timedelta(minutes=240)).isoformat()
    plan = {"planned_minutes": 240, "planned_uf_l": 2.5, "plan_choice": "as_prescribed"}
    before = {"pre_weight_kg": 72, "pre_systolic": 140, "pre_diastolic": 80, "planned_rinse_back_l": 0.3}
    evening.ready(started_at=start, sites=used, **(plan | before | document))
    return evening


def wait_for(found: Callable[[], bool], seconds: float = 10) -> bool:
    """Ask the database until it is so."""
    for _ in range(int(seconds * 10)):
        if found():
            return True
        time.sleep(0.1)
    return False
