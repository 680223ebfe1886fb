"""The phone asks for what the unit declares: a number that no script has ever heard of has its row and its cell."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from homedialysis.accounts.models import Unit
from sessions.facts.fields import AFTER, BEFORE, FLUID, READING, TREATMENT, Field
from sessions.models import Patient, TreatmentRecord
from tests.browser.conftest import PHONE, BrowserPage
from tests.browser.evening import Evening
from tests.browser.running_phone import prescribed, rope_ladder

pytestmark = pytest.mark.django_db(transaction=True)


def made_up(label: str, *, asked: int) -> Field:
    return Field(label, "mmol/L", (1, 40), (3, 12), 0.1, short=label.removeprefix("Blood "), asked=asked)


@pytest.fixture
def evening(browser_page: BrowserPage, unit: Unit, ana: Patient, monkeypatch: pytest.MonkeyPatch) -> Evening:
    """A phone whose unit declares a glucose in a reading, before, after, and among what the machine shows."""
    prescribed(ana)
    rope_ladder(ana)
    TreatmentRecord.objects.all().delete()
    for table, key, field in (
        (READING, "glucose_mmol_l", made_up("Blood glucose", asked=105)),
        (BEFORE, "pre_glucose_mmol_l", made_up("Blood glucose before", asked=80)),
        (AFTER, "post_glucose_mmol_l", made_up("Blood glucose after", asked=80)),
        (FLUID, "machine_glucose_mmol_l", made_up("Glucose of the bag", asked=999)),
    ):
        monkeypatch.setitem(table, key, field)
        if table is not READING:
            monkeypatch.setitem(TREATMENT, key, field)
    opened = Evening(browser_page(ana.account, size=PHONE))
    opened.open()
    return opened


def test_the_reading_asks_for_it_in_its_place_and_keeps_it(evening: Evening) -> None:
    evening.touch_main("Begin tonight's treatment")
    evening.go("reading")
    rows = evening.page.locator("#screen .values > *").all_inner_texts()
    names = [row.split("\n")[0].strip() for row in rows]
    place = next(index for index, name in enumerate(names) if "glucose" in name)
    assert "Pulse" in names[place - 1]
    assert "Conductivity" in names[place + 1]


def test_weighing_and_finish_ask_for_it(evening: Evening) -> None:
    evening.touch_main("Begin tonight's treatment")
    evening.go("weigh")
    evening.page.get_by_text("Standing, and temperature").click()
    expect(evening.screen()).to_contain_text("Blood glucose before")
    evening.go("finish")
    expect(evening.screen()).to_contain_text("Blood glucose after")
    expect(evening.screen()).to_contain_text("Glucose of the bag")


def test_the_paper_page_has_a_cell_for_it_that_is_judged_and_kept(evening: Evening) -> None:
    evening.go("paper")
    evening.touch_main("Begin a night from paper")
    page = evening.page
    for path in ("pre_glucose_mmol_l", "post_glucose_mmol_l", "readings[0].glucose_mmol_l"):
        expect(page.locator(f"input[data-path='{path}']")).to_be_visible()
    cell = page.locator("input[data-path='readings[0].glucose_mmol_l']")
    cell.fill("99")
    cell.press("Enter")
    expect(page.locator("[id='cell-readings[0].glucose_mmol_l-said']")).to_contain_text(
        "Blood glucose must be between 1 and 40 mmol/L"
    )
    page.locator("input[data-path='started_at']").fill("2230")
    page.locator("input[data-path='readings[0].at']").fill("2330")
    cell.fill("6,2")
    assert evening.doc()["readings"][0]["glucose_mmol_l"] == 6.2
