"""What a patient does on the record page, in words."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from playwright.sync_api import Page, expect

from tests.browser.conftest import Watched

LISBON = ZoneInfo("Europe/Lisbon")
STARTED = (datetime.now(UTC) - timedelta(days=1)).replace(hour=21, minute=30, second=0, microsecond=0)
"""When the made-up nights begin: not long ago, as the server sees it."""


def wall(moment: datetime) -> str:
    """A moment as the patient's clock shows it, in the form of a field for date and time."""
    return moment.astimezone(LISBON).strftime("%Y-%m-%dT%H:%M")


class Bedside:
    """The record page in the hands of a patient."""

    def __init__(self, watched: Watched) -> None:
        self.watched = watched
        self.page: Page = watched.page

    def begin(self, address: str = "/record/") -> None:
        self.watched.open(address)
        expect(self.page.locator("#record")).to_be_visible()

    def part(self, name: str) -> None:
        self.page.get_by_role("navigation", name="Parts of the record").get_by_text(name, exact=True).click()
        expect(self.page.get_by_role("heading", name=name, exact=True)).to_be_visible()

    def write(self, field: str, text: str) -> None:
        """Type into a field and leave it, as a person does."""
        entry = self.page.locator(f"[id='{field}']")
        entry.fill(text)
        entry.blur()

    def note_of(self, field: str) -> str:
        """What stands under a field."""
        return self.page.locator(f"[id='{field}-note']").inner_text()

    def before(self, weight: str = "72,5") -> None:
        self.part("Before")
        self.write("pre_weight_kg", weight)
        self.write("pre_systolic", "142")
        self.write("pre_diastolic", "81")

    def started(self, at: datetime = STARTED) -> None:
        self.part("During")
        self.write("started_at", wall(at))

    def reading(self, at: datetime, **numbers: str) -> None:
        self.part("During")
        self.page.get_by_role("button", name="Add a reading").click()
        self.write("reading-at", wall(at))
        for name, text in numbers.items():
            self.write(f"reading-{name}", text)
        self.page.get_by_role("button", name="Keep this reading").click()

    def after(self, *, minutes: int = 240, weight: str = "70.2") -> None:
        self.part("After")
        self.write("ended_at", wall(STARTED + timedelta(minutes=minutes)))
        self.write("post_weight_kg", weight)
        self.write("uf_removed_l", "2.6")

    def whole_night(self) -> None:
        """The least that can be handed over with sense."""
        self.before()
        self.started()
        self.reading(STARTED + timedelta(hours=1), venous_mmhg="140", qb_ml_min="300")
        self.after()

    def hand_over(self) -> None:
        self.part("Hand over")
        self.page.get_by_role("button", name="Hand over to the unit").click()

    def expect_handed_over(self) -> None:
        expect(self.page.get_by_role("heading", name="Handed over", exact=True)).to_be_visible()

    def drafts(self) -> int:
        """How many drafts the phone holds."""
        count: int = self.page.evaluate(
            """async () => {
              const store = await new Promise((resolve) => {
                const request = indexedDB.open("homedialysis", 1);
                request.onsuccess = () => resolve(request.result);
              });
              const request = store.transaction("drafts").objectStore("drafts").count();
              await new Promise((resolve) => { request.onsuccess = resolve; });
              store.close();
              return request.result;
            }"""
        )
        return count
