"""Water, supplies and machine on the phone: noted without a network, found again after the page died, sent once."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from sessions.models import Patient, Prescription, SupplyCount, SupplyItem, TaskDone, WaterTest
from tests.browser.conftest import BrowserPage
from tests.browser.evening import Evening
from tests.browser.judging import expect_accessible, expect_no_sideways_scroll, too_small
from tests.factories import MachineFactory, SupplyCountFactory, SupplyItemFactory

pytestmark = pytest.mark.django_db(transaction=True)

PLACES = ("surroundings", "surroundings/water", "surroundings/water/total_chlorine", "surroundings/count", "due")
BEDSIDE = 56
"""[px] What is touched at the bedside."""


@pytest.fixture
def home(ana: Patient, anas_prescription: Prescription) -> list[SupplyItem]:
    """Ana's machines, whose first culture is overdue, and two things to count."""
    for kind in ("dialysis", "water"):
        MachineFactory(patient=ana, kind=kind, since=timezone.localdate() - timedelta(days=9))
    items = [SupplyItemFactory(name="Dialysers"), SupplyItemFactory(name="Line sets", unit_word="sets")]
    SupplyCountFactory(patient=ana, item=items[0], counted_at=timezone.now() - timedelta(days=20), count=24)
    return items


@pytest.fixture
def phone(browser_page: BrowserPage, ana: Patient, home: list[SupplyItem]) -> Evening:
    evening = Evening(browser_page(ana.account, worker=False))
    evening.open()
    return evening


def touch(phone: Evening, key: str) -> None:
    phone.page.locator(f"#screen [data-k='{key}']").click()


def choose(phone: Evening, label: str) -> None:
    phone.screen().get_by_role("button", name=label, exact=True).click()


def sent(phone: Evening, words: str) -> None:
    """Wait until it was told that it is noted, and nothing waits on the phone any more."""
    expect(phone.page.locator("#undo")).to_contain_text(words)
    emptied(phone)


def emptied(phone: Evening) -> None:
    script = "async () => (await import('/static/bedside/js/outbox.js')).list().length"
    for _ in range(100):
        if phone.page.evaluate(script) == 0:
            return
        phone.page.wait_for_timeout(100)
    raise AssertionError("something still waits on the phone")


def test_a_culture_is_noted_from_what_is_due(phone: Evening, ana: Patient) -> None:
    phone.offline()
    phone.go("due")
    touch(phone, "bacteria-bacteria")
    expect(phone.screen().locator("h1")).to_have_text("Water test")
    touch(phone, "value")
    phone.pads("12")
    touch(phone, "days")
    phone.pads("7")
    phone.touch_main("Note the result")
    expect(phone.page.locator("#undo")).to_contain_text("Bacterial culture: result noted")
    phone.go("due")
    expect(phone.screen()).to_contain_text("Noted. It goes to the unit when there is a network.")
    assert not WaterTest.objects.exists()
    phone.offline(False)
    emptied(phone)
    test = WaterTest.objects.get()
    assert (test.patient, test.kind, test.value, test.place) == (ana, "bacteria", 12, "product")
    assert timedelta(days=7) <= timezone.now() - test.sampled_at < timedelta(days=7, minutes=10)


def test_a_strip_that_shows_nothing_is_below_what_it_detects(phone: Evening) -> None:
    phone.go("surroundings/water")
    choose(phone, "Total chlorine")
    expect(phone.screen()).to_contain_text("Do not connect while it is over the limit")
    touch(phone, "value")
    phone.pads("0.05")
    choose(phone, "less than that: nothing detected")
    phone.touch_main("Note the result")
    sent(phone, "Total chlorine: result noted")
    test = WaterTest.objects.get()
    assert (test.kind, test.value, test.below_detection, test.place) == ("total_chlorine", 0.05, True, "first_carbon")


def test_no_result_is_not_noted_and_an_impossible_one_is_refused_at_once(phone: Evening) -> None:
    phone.go("surroundings/water")
    choose(phone, "Endotoxin")
    phone.touch_main("Note the result")
    expect(phone.page.locator("#undo")).to_contain_text("Enter the result first.")
    touch(phone, "value")
    phone.pad("1001")
    expect(phone.page.locator("dialog.pad .problem")).to_contain_text("between 0 and 1000 EU/mL; 1001 was given")
    assert not WaterTest.objects.exists()


def test_a_half_done_count_is_found_again_and_sent_once(phone: Evening, home: list[SupplyItem]) -> None:
    phone.go("surroundings/count")
    expect(phone.screen()).to_contain_text("There should be 24 pieces")
    touch(phone, f"item-{home[0].pk}")
    phone.pads("18")
    expect(phone.screen().get_by_role("button", name="18 pieces")).to_be_visible()
    phone.page.reload()
    phone.go("surroundings/count")
    expect(phone.screen().get_by_role("button", name="18 pieces")).to_be_visible()
    touch(phone, f"item-{home[1].pk}")
    phone.pads("6")
    phone.page.locator("#undo").get_by_role("button").click()
    expect(phone.screen()).not_to_contain_text("6 sets")
    phone.touch_main("Note the count")
    sent(phone, "Supplies counted")
    counted = SupplyCount.objects.exclude(count=24)
    assert [(count.item, count.count) for count in counted] == [(home[0], 18)]
    phone.go("surroundings/count")
    expect(phone.screen()).not_to_contain_text("18 pieces")


def test_a_task_noted_by_mistake_is_undone_while_it_waits(phone: Evening) -> None:
    phone.offline()
    phone.go("surroundings")
    touch(phone, "disinfection")
    phone.page.locator("#undo").get_by_role("button").click()
    touch(phone, "service")
    expect(phone.page.locator("#undo")).to_contain_text("Service of the machine: done")
    phone.offline(False)
    emptied(phone)
    assert [done.kind for done in TaskDone.objects.all()] == ["service"]


@pytest.mark.parametrize(
    ("theme", "hand", "letters"), [("light", "right", "100%"), ("dark", "left", "100%"), ("night", "left", "200%")]
)
def test_its_screens_fit_the_phone_and_everybody(
    browser_page: BrowserPage, ana: Patient, home: Any, theme: str, hand: str, letters: str
) -> None:
    phone = Evening(browser_page(ana.account, bypass_csp=True, worker=False))
    look = json.dumps({"theme": theme, "hand": hand, "text": "1", "language": "", "lockAfter": 0})
    phone.watched.context.add_init_script(f"localStorage.setItem('bedside.look', '{look}')")
    phone.open()
    phone.page.evaluate("(size) => { document.documentElement.style.fontSize = size; }", letters)
    for place in PLACES:
        phone.go(place)
        expect(phone.screen().locator("h1")).to_be_visible()
        expect_no_sideways_scroll(phone.page)
        assert (place, too_small(phone.page, BEDSIDE)) == (place, [])
        expect_accessible(phone.page)
