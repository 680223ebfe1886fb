"""A quiet night with six readings as a hand goes through it in the app, each part counted for itself."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable

from playwright.sync_api import Page
from tqdm import tqdm

from tests.browser.hands import Hands

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


class Routine:
    """The parts of a quiet night, each counted for itself."""

    def __init__(self, page: Page, steps: dict[str, float], labels: dict[str, str]) -> None:
        self.hands = Hands(page)
        self.steps, self.labels = steps, labels

    def wait(self, minutes: float) -> None:
        self.hands.page.clock.fast_forward(int(minutes * 60_000))

    def checks(self) -> None:
        self.hands.go_on("Begin to")
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
        hands.needle("1", "2", "Sharp", "25 mm")
        hands.needle("1", "3")
        hands.plain_steps(6)
        hands.go_on("Given: ")
        hands.go_on("Set on the machine: ")
        hands.plain_steps(3)
        hands.go_on("Treatment is running")

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
        hands.plain_steps_off(6)
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
        hands.press(re.compile("^Used as usual"))
        hands.go_on("That is all")
        hands.after_checks()
        hands.go_on("Next: look it over")
        hands.go_on("Hand over to the unit")

    def parts(self) -> list[Callable[[], None]]:
        return [self.checks, self.weighing, self.sites, self.needles, self.readings, self.finishing]

    def run(self) -> dict[str, int]:
        """Contacts of each part."""
        found = {}
        for part in tqdm(self.parts(), desc="a night in the app", file=sys.stderr):
            before = self.hands.counted.contacts
            part()
            found[part.__name__] = self.hands.counted.contacts - before
        return found
