"""A finger on the glass: touches what a person would touch to record a whole night, and counts it."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from playwright.sync_api import Locator, Page, expect

SIGNS = {".": "Decimal sign", "-": "Plus or minus"}
NEAREST_STEPS = 3
"""So many touches of a step key at most; further away a number is typed."""
AWAY = """(element) => {
  const box = element.getBoundingClientRect();
  const inside = element.closest("dialog, #dock, #head, #bottom");
  const bottom = (!inside && document.getElementById("bottom")?.getBoundingClientRect().top) || window.innerHeight;
  const middle = (box.top + box.bottom) / 2;
  return (middle < 0 ? middle : middle > bottom ? middle - bottom : 0) / bottom;
}"""
"""How far the middle of something lies outside what can be seen, in heights of what can be seen."""


@dataclass
class Counted:
    """What was done: touches of buttons and fields, swipes to bring something into sight, keys of a pad or keyboard."""

    touches: int = 0
    swipes: int = 0
    keys: int = 0

    @property
    def contacts(self) -> int:
        return self.touches + self.swipes + self.keys


@dataclass
class Hands:
    """One free hand with a phone. `page` may be changed for another one when a page has died."""

    page: Page
    counted: Counted = field(default_factory=Counted)

    # What a finger does ------------------------------------------------------------------------------

    def touch(self, target: Locator) -> None:
        expect(target).to_be_visible()
        self.counted.swipes += math.ceil(abs(target.evaluate(AWAY)))
        self.counted.touches += 1
        self.at(target)

    def at(self, target: Locator) -> None:
        """The finger itself; what lies in the dock is touched where it lies, for the driver's own tap would scroll."""
        box = target.bounding_box() if target.evaluate("(it) => it.matches('#dock *:enabled')") else None
        if box is None:
            return target.tap()
        return self.page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)

    def key(self, target: Locator) -> None:
        self.counted.keys += 1
        target.tap()

    def button(self, name: str | re.Pattern[str]) -> Locator:
        return self.page.get_by_role("button", name=name, exact=isinstance(name, str)).first

    def press(self, name: str | re.Pattern[str]) -> None:
        self.touch(self.button(name))

    def main(self, words: str = "") -> Locator:
        """The main action under the thumb, once it says these words."""
        found = self.page.locator("#dock .arc .big").first
        expect(found).to_contain_text(words)
        return found

    def go_on(self, words: str) -> None:
        self.touch(self.main(words))

    def pads(self, *numbers: str) -> None:
        """Type on the pads that follow one another; "=" takes the last value. The last leaves none open."""
        for number in numbers:
            pad = self.page.locator("dialog.pad")
            expect(pad).to_have_count(1)
            if number == "=":
                self.touch(pad.get_by_role("button", name=re.compile("^Same as last")))
            for sign in number.replace("=", ""):
                self.key(pad.get_by_role("button", name=SIGNS.get(sign, sign), exact=True))
            before = pad.get_by_role("heading").inner_text()
            self.touch(pad.get_by_role("button", name="Take it", exact=True))
            if number is not numbers[-1]:
                expect(pad.get_by_role("heading")).not_to_have_text(before)
        expect(self.page.locator("dialog.pad")).to_have_count(0)

    def write(self, target: Locator, words: str) -> None:
        """Words by the phone's own keyboard, a key a letter."""
        self.touch(target)
        self.counted.keys += len(words)
        target.press_sequentially(words)
        target.blur()

    # A night, part by part ----------------------------------------------------------------------------

    def checks(self, measured: Mapping[str, str], failing: str = "", reason: str = "") -> None:
        """Every check before the treatment; the one called `failing` is not good and gone past with a reason."""
        self.main("Good")
        while "Next: weigh" not in self.main().inner_text():
            name = self.page.locator(".step-words").inner_text()
            if name in measured:
                self.go_on("Enter the reading")
                self.pads(measured[name])
            elif name == failing:
                self.overruled(reason)
            else:
                self.go_on("Good")
            expect(self.page.locator(".step-words", has_text=name)).to_have_count(0)

    def overruled(self, reason: str) -> None:
        self.press("Not good, or not done")
        self.press(re.compile("^Go on all the same"))
        self.write(self.page.get_by_label("In your own words"), reason)
        self.press("Go on with this reason")

    def weigh(self, numbers: Sequence[str], choice: str = "") -> None:
        """Weight, pressure, pulse, rinse-back, drinks; then a choice where the plan asks for one."""
        self.go_on("Next: weigh")
        self.go_on("Enter:")
        self.pads(*numbers)
        if choice:
            self.press(re.compile(f"^{choice}"))
        self.go_on("Next: the access")

    def access(self, *sites: str) -> None:
        """Look, feel, listen; then the sites for blood out and blood back."""
        self.go_on("Look, feel, listen")
        for _ in range(3):
            self.go_on("Good")
        self.go_on("Go on")
        for site in sites:
            self.touch(self.page.locator(".site-row", has_text=site))
        self.go_on("To the needles")

    def step(self, answer: str = "") -> None:
        """One step of the run sheet: its large touch, or an answer that leads on."""
        before = self.page.locator("h1").inner_text()
        if answer:
            self.touch(self.page.locator("#screen").get_by_role("button", name=answer, exact=True))
        else:
            self.go_on("Done, next")
        expect(self.page.locator("h1")).not_to_have_text(before)

    def value(self, label: str, number: float, step: float) -> None:
        """A row of a reading: same as last, some steps away, or typed, whichever is least."""
        row = self.page.get_by_role("group", name=label, exact=True)
        same = row.get_by_role("button", name=re.compile(r": (same as last|as prescribed), "))
        last = number_in(same.inner_text()) if same.count() else None
        steps = None if last is None else round((number - last) / step, 6)
        if steps == 0:
            self.touch(same)
        elif steps is not None and steps.is_integer() and abs(steps) <= NEAREST_STEPS:
            for _ in range(int(abs(steps))):
                self.touch(row.get_by_role("button", name=f"{label}: step {'up' if steps > 0 else 'down'}", exact=True))
        else:
            self.touch(row.get_by_role("button", name=re.compile("(type a number|enter)$")).last)
            self.pads(f"{number:g}")
        expect(row.get_by_role("button", name=re.compile(", change$"))).to_contain_text(shown(number))

    def plain_steps(self, count: int) -> None:
        for _ in range(count):
            self.step()

    def plain_steps_off(self, count: int) -> None:
        """The steps that end a treatment, each by its large touch."""
        for _ in range(count):
            words = self.page.locator(".step-words").inner_text()
            self.go_on("Done, next")
            expect(self.page.locator(".step-words", has_text=words)).to_have_count(0)

    def needle(self, attempts: str, pain: str, *kind: str) -> None:
        """Tourniquet on, one of a kind in, tourniquet off, taped and taped again; then how it was."""
        self.step()
        for words in kind:
            self.press(words)
        self.plain_steps(5)
        for answer in ("Yes", "Easily: no swelling, no pain", attempts, pain):
            self.step(answer)

    def after_checks(self, count: int = 3) -> None:
        self.go_on("Next: checks after")
        for _ in range(count):
            self.go_on("Good")
        self.go_on("Go on")


def number_in(text: str) -> float:
    """The number of a key such as "= −145 mmHg"."""
    found = re.search(r"[-−]?\d[\d.]*", text)
    assert found, text
    return float(found[0].replace("−", "-"))


def shown(number: float) -> str:
    """A number as the phone writes it in English."""
    return f"{number:g}".replace("-", "−")


def limits_of(page: Page) -> Any:
    """Label, unit and step of each number, as the unit sent them."""
    script = "async () => (await import('/static/bedside/js/app.js')).ctx.kit.limits"
    return page.evaluate(script)
