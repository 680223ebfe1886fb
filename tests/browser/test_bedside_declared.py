"""The phone asks for what the unit declares: a number that no script has ever heard of has its row and its cell."""

from __future__ import annotations

import uuid

import pytest
from playwright.sync_api import expect

from dosing.services.night.computing import compute
from homedialysis.accounts.models import Unit
from sessions.facts.fields import AFTER, BEFORE, FLUID, READING, SITE, TREATMENT, Field
from sessions.models import AccessSite, Patient, TreatmentRecord
from sessions.services import kit
from tests.browser.conftest import PHONE, BrowserPage
from tests.browser.evening import Evening, begun, running
from tests.browser.running_phone import evening_before, now_minute, prescribed, rope_ladder
from tests.factories import record_night

pytestmark = pytest.mark.django_db(transaction=True)


def made_up(label: str, *, asked: int) -> Field:
    short = label.removeprefix("Blood ")
    return Field(label, "mmol/L", (1, 40), (3, 12), 0.1, short=short, decimals=1, asked=asked, drawn=True)


@pytest.fixture
def evening(browser_page: BrowserPage, unit: Unit, ana: Patient, monkeypatch: pytest.MonkeyPatch) -> Evening:
    """A phone whose unit declares a glucose in a reading, before, after, at a needle, and of the machine."""
    prescribed(ana)
    rope_ladder(ana)
    TreatmentRecord.objects.all().delete()
    for table, key, field in (
        (READING, "glucose_mmol_l", made_up("Blood glucose", asked=105)),
        (BEFORE, "pre_glucose_mmol_l", made_up("Blood glucose before", asked=80)),
        (AFTER, "post_glucose_mmol_l", made_up("Blood glucose after", asked=80)),
        (FLUID, "machine_glucose_mmol_l", made_up("Glucose of the bag", asked=999)),
        (SITE, "glucose_mmol_l", made_up("Blood glucose at the needle", asked=999)),
    ):
        monkeypatch.setitem(table, key, field)
        if table not in (READING, SITE):
            monkeypatch.setitem(TREATMENT, key, field)
    opened = Evening(browser_page(ana.account, size=PHONE))
    opened.open()
    return opened


@pytest.fixture
def sites(evening: Evening, ana: Patient) -> list[AccessSite]:
    return list(AccessSite.objects.filter(access__patient=ana).order_by("pk"))


def test_the_reading_asks_for_it_in_its_place_and_keeps_it(evening: Evening) -> None:
    begun(evening)
    evening.go("reading")
    rows = evening.page.locator("#screen .values > *").all_inner_texts()
    names = [row.split("\n")[0].strip() for row in rows]
    place = next(index for index, name in enumerate(names) if "glucose" in name)
    assert "Pulse" in names[place - 1]
    assert "Conductivity" in names[place + 1]


def test_weighing_and_finish_ask_for_it(evening: Evening) -> None:
    begun(evening)
    evening.go("weigh")
    evening.page.get_by_text("Standing, and temperature").click()
    expect(evening.screen()).to_contain_text("Blood glucose before")
    evening.go("finish")
    evening.tap("End now")
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


def test_the_needle_sheet_asks_for_it(evening: Evening, sites: list[AccessSite]) -> None:
    running(evening, sites)
    evening.go("needles")
    row = evening.page.locator("[data-k='sites[0].glucose_mmol_l']")
    for _ in range(20):
        if row.count():
            break
        evening.main().click()
    row.click()
    evening.pads("6.2")
    assert evening.doc()["sites"][0]["glucose_mmol_l"] == 6.2


def test_the_summary_tells_it_with_its_unit_and_digits(evening: Evening, sites: list[AccessSite]) -> None:
    running(evening, sites, pre_glucose_mmol_l=6, machine_glucose_mmol_l=7.3)
    evening.go("summary")
    rows = [row.replace("\n", " ") for row in evening.page.locator("#screen dl > div").all_inner_texts()]
    assert "Blood glucose before 6.0 mmol/L" in rows
    assert "Glucose of the bag 7.3 mmol/L" in rows
    assert not any(row.startswith("Blood glucose after") for row in rows), "what is not known, and may be, has no row"


def test_past_nights_and_the_course_over_time_tell_it(
    evening: Evening, ana: Patient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The column is not there in this database: its values are laid over the nights where the kit is made."""

    def values(asked: kit.KitRequest) -> dict[uuid.UUID, dict[str, float]]:
        return {night.pk: {"pre_glucose_mmol_l": 5.0 + index} for index, night in enumerate(asked.nights)}

    monkeypatch.setitem(kit._parts, "made up", values)
    with monkeypatch.context() as undeclared:
        for table in (READING, BEFORE, AFTER, FLUID, SITE, TREATMENT):
            for key in [key for key in table if "glucose" in key]:
                undeclared.delitem(table, key)
        for days in (5, 3):
            compute(record_night(ana, evening_before(days)), at=now_minute())
    evening.open()
    evening.go("trends")
    picture = evening.page.locator(".trend", has_text="glucose before (mmol/L)")
    expect(picture).to_contain_text("In 2 nights it was 5.0 to 6.0.")
    expect(picture.get_by_role("img")).to_be_visible()
    evening.go("nights")
    evening.page.locator(".bare button").first.click()
    expect(evening.screen()).to_contain_text("Blood glucose before")
    expect(evening.screen()).to_contain_text("5.0 mmol/L")
