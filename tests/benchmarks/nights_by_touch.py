"""Nights of somebody experienced, in the short form, as a hand goes through them: a long quiet one and a bad one.

Nothing is left out that the whole form asks: each check is answered, each step stamped, both needles are asked about.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from playwright.sync_api import Page, expect

from tests.benchmarks.routine_night import MEASURED
from tests.browser.hands import Counted, Hands

EASY, HARD = "Easily: no swelling, no pain", "Hard to push, swelling or pain"
SEEN = {"Total chlorine of the water": "0.05 mg/L", "Conductivity of the dialysate": "14 mS/cm"}
assert SEEN.keys() == MEASURED.keys()


@dataclass
class Experienced:
    """Somebody who has done this often, on a phone that has seen nights before: kind and length of needle are known."""

    page: Page
    sites: tuple[str, str]

    def __post_init__(self) -> None:
        self.hands = Hands(self.page)

    def wait(self, minutes: float) -> None:
        self.page.clock.fast_forward(int(minutes * 60_000))

    # From "begin" to "running" -----------------------------------------------------------------------

    def begin(self, weight: str = "71.9") -> None:
        hands = self.hands
        hands.go_on("Begin to")
        self.together("of these are good")
        for name, words in SEEN.items():
            expect(self.page.locator(".step-words")).to_have_text(name)
            hands.press(words)
        hands.go_on("Enter: Weight before")
        hands.pads(weight, "142", "81", "70")
        hands.go_on("As last time")

    def place_needles(self) -> None:
        hands = self.hands
        hands.go_on("Next: the access")
        self.together("of these are good")
        for site in self.sites:
            hands.touch(self.page.locator(".site-row", has_text=site))
        hands.go_on("To the needles")
        self.expect_screen("needles")
        while self.page.evaluate("document.documentElement.dataset.screen") == "needles":
            self.screen_of_steps()
        self.expect_screen("running")

    def expect_screen(self, name: str) -> None:
        expect(self.page.locator("html")).to_have_attribute("data-screen", name)

    def together(self, words: str) -> None:
        """One touch for a list; where its end lies under the dock the touch brings that into sight first."""
        before = self.page.evaluate("location.hash")
        heading = self.page.locator("h1").inner_text()
        while True:
            self.hands.go_on(words)
            self.page.wait_for_timeout(60)
            now = self.page.locator("h1").inner_text()
            if self.page.evaluate("location.hash") != before or now != heading:
                return
            if words not in self.hands.main().inner_text():
                return

    def screen_of_steps(self) -> None:
        hands = self.hands
        heading = self.page.locator("h1").inner_text()
        asked = self.page.evaluate("document.documentElement.dataset.asks")
        if self.page.locator(".countdown").count():
            self.wait(0.6)
            expect(self.page.locator(".countdown")).to_have_text("Time is over")
        if asked == "flash":
            hands.press(re.compile("^As it should be"))
        elif asked == "pain":
            hands.press("2")
        else:
            hands.touch(hands.main())
        self.page.wait_for_timeout(80)
        if self.page.evaluate("document.documentElement.dataset.screen") == "needles" and asked != "several":
            expect(self.page.locator("h1")).not_to_have_text(heading)

    # The rest of a night -----------------------------------------------------------------------------

    def reading(self, arterial: str, venous: str, pressure: tuple[str, str]) -> None:
        """One reading of what is looked at in the night: two pressures of the machine, one of the arm."""
        hands = self.hands
        hands.go_on("Reading")
        rows = {"Arterial pressure (pre-pump)": arterial, "Venous pressure": venous}
        rows |= dict(zip(("Systolic pressure", "Diastolic pressure"), pressure, strict=True))
        for label, number in rows.items():
            row = self.page.get_by_role("group", name=label, exact=True)
            hands.touch(row.get_by_role("button", name=re.compile("(type a number|enter)$")).last)
            hands.pads(number)
        hands.go_on("Done")

    def come_off(self, held: tuple[float, float] = (8, 6.4)) -> None:
        hands = self.hands
        hands.touch(self.page.locator("#dock").get_by_role("button", name="Finish", exact=True))
        hands.go_on("Blood is back: end now")
        for name, minutes in zip(self.sites, held, strict=True):
            hands.go_on(f"{name}: needle is out now")
            self.wait(minutes)
            hands.go_on(f"{name}: bleeding has stopped")

    def six_questions(self, taken_off: str) -> None:
        hands = self.hands
        hands.go_on("Enter: Weight after")
        hands.pads("70.1", "126", "74", "72", "118", "70")
        hands.go_on("Enter: Fluid removed")
        hands.pads(taken_off, "72.5")
        hands.go_on("Enter: Rinse-back")
        hands.pads("=", "=")
        hands.go_on("Next: dialyser and machine")
        hands.press("Clear")
        hands.press(re.compile("^Used as usual"))
        hands.go_on("That is all")
        hands.go_on("Next: checks after")
        self.together("of these are good")
        hands.go_on("Next: look it over")
        hands.go_on("Hand over to the unit")

    # Whole nights ------------------------------------------------------------------------------------

    def to_running(self) -> Counted:
        self.begin()
        self.place_needles()
        return replace(self.hands.counted)

    def long_night(self) -> Counted:
        """Quiet, with one reading, an alarm whose card is read and noted, a cramp."""
        self.to_running()
        self.wait(10)
        self.reading("-120", "90", ("128", "76"))
        self.hands.press("Something is wrong")
        self.page.go_back()
        self.wait(60)
        self.hands.press("Event or symptom")
        self.hands.press("Cramp")
        self.hands.go_on("Done")
        self.wait(350)
        self.come_off()
        self.six_questions("2.2")
        return replace(self.hands.counted)

    def bad_night(self) -> Counted:
        """Chlorine over the limit that comes right, a needle that swells, a drop of pressure, an early end."""
        hands = self.hands
        hands.go_on("Begin to")
        self.together("of these are good")
        hands.go_on("Enter the reading")
        hands.pads("0.2")
        hands.press("0.05 mg/L")
        hands.press("14 mS/cm")
        hands.touch(hands.main())
        hands.go_on("Enter: Weight before")
        hands.pads("71.9", "142", "81", "70")
        hands.go_on("As last time")
        self.place_needles_with_swelling()
        self.wait(10)
        self.reading("-140", "130", ("118", "70"))
        self.wait(50)
        hands.press("Blood pressure drop")
        self.pressure_drop()
        self.wait(20)
        hands.touch(self.page.locator("#dock").get_by_role("button", name="Finish", exact=True))
        hands.press("Low blood pressure")
        hands.go_on("Blood is back: end now")
        for name, minutes in zip(self.sites, (9, 7.2), strict=True):
            hands.go_on(f"{name}: needle is out now")
            self.wait(minutes)
            hands.go_on(f"{name}: bleeding has stopped")
        self.six_questions("0.8")
        return replace(self.hands.counted)

    def place_needles_with_swelling(self) -> None:
        hands = self.hands
        hands.go_on("Next: the access")
        self.together("of these are good")
        for site in (self.sites[0], "V low"):
            hands.touch(self.page.locator(".site-row", has_text=site))
        hands.go_on("To the needles")
        self.expect_screen("needles")
        failed = False
        while self.page.evaluate("document.documentElement.dataset.screen") == "needles":
            venous = self.page.get_by_text("The venous needle", exact=True).count()
            if venous and not failed:
                failed = True
                hands.press("Not so: one by one")
                hands.press("Yes")
                hands.press(HARD)
                hands.press("There is swelling: note it")
                hands.touch(self.page.locator("[data-k='other-site']"))
                hands.touch(self.page.locator(".site-row", has_text=self.sites[1]))
                hands.go_on("To the needles")
                self.expect_screen("needles")
            self.screen_of_steps()
        self.expect_screen("running")

    def pressure_drop(self) -> None:
        """Step by step, from the look at the needles to fluid removal on again."""
        hands = self.hands
        for words in ("There is no blood", "Fluid removal is off", "Done, next", "Enter the blood pressure"):
            hands.press(words)
        hands.pads("84", "46")
        hands.press("I gave saline")
        hands.pads("0.1")
        self.wait(5)
        for words in ("Go on now", "I cannot measure now", "I feel better", "I spoke with the unit"):
            hands.press(words)
        hands.press("Fluid removal is on again")
        hands.go_on("Back to the treatment")
