"""The phone's own way back closes what lies over a screen, and nothing else: nothing that was typed is lost."""

from __future__ import annotations

from datetime import timedelta

import pytest
from playwright.sync_api import expect

from sessions.models import Patient
from tests.browser.conftest import BrowserPage
from tests.browser.evening import Evening
from tests.browser.running_phone import now_minute, prescribed

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def phone(browser_page: BrowserPage, ana: Patient) -> Evening:
    prescribed(ana)
    evening = Evening(browser_page(ana.account, worker=False))
    evening.ready(started_at=(now_minute() - timedelta(minutes=30)).isoformat())
    return evening


def back(phone: Evening) -> None:
    """The way back of the phone, as a finger on the rim of the screen gives it."""
    phone.page.evaluate("history.back()")


def at(phone: Evening, screen: str) -> None:
    expect(phone.page.locator(f"html[data-screen='{screen}']")).to_have_count(1)


class TestAPad:
    def test_it_is_closed_and_what_was_typed_stands_in_it_again(self, phone: Evening) -> None:
        phone.go("running")
        phone.go("weigh")
        phone.page.locator("[data-path='pre_weight_kg']").click()
        pad = phone.page.get_by_role("dialog")
        for key in "72":
            pad.get_by_role("button", name=key, exact=True).click()
        back(phone)
        expect(pad).to_have_count(0)
        at(phone, "weigh")
        assert phone.doc()["pre_weight_kg"] is None, "what was not taken is not in the record"
        phone.page.locator("[data-path='pre_weight_kg']").click()
        expect(pad.get_by_role("status")).to_have_text("72")
        expect(pad.get_by_role("alert")).to_have_text("Typed before, and not taken yet.")
        pad.get_by_role("button", name="Take it", exact=True).click()
        assert phone.doc()["pre_weight_kg"] == 72
        back(phone)
        at(phone, "running")

    def test_the_first_screen_of_all_is_not_left(self, phone: Evening) -> None:
        phone.page.goto("about:blank")
        phone.watched.open("/tonight/#/weigh")
        phone.page.locator("[data-path='pre_weight_kg']").click()
        back(phone)
        expect(phone.page.get_by_role("dialog")).to_have_count(0)
        at(phone, "weigh")

    def test_a_pad_after_a_pad_and_another_screen_after_it(self, phone: Evening) -> None:
        phone.go("running")
        phone.go("weigh")
        phone.page.locator("[data-path='pre_weight_kg']").click()
        phone.pads("72")
        phone.page.locator("[data-path='pre_pulse']").click()
        back(phone)
        expect(phone.page.get_by_role("dialog")).to_have_count(0)
        at(phone, "weigh")
        phone.page.locator("[data-path='pre_pulse']").click()
        phone.pads("70")
        phone.go("more")
        back(phone)
        at(phone, "weigh")
        back(phone)
        at(phone, "running")

    def test_the_screen_under_it_can_be_gone_to_from_the_next(self, phone: Evening) -> None:
        """After a pad the next check took the place of this one; its address again is a step forward."""
        phone.go("checks/setup/chlorine")
        phone.touch_main("Enter the reading")
        phone.pads("0.05")
        expect(phone.page.locator(".step-words")).not_to_contain_text("chlorine")
        phone.go("checks/setup/chlorine")
        expect(phone.page.locator(".step-words")).to_contain_text("chlorine")

    def test_another_screen_leaves_no_pad_over_it(self, phone: Evening) -> None:
        phone.go("weigh")
        phone.page.locator("[data-path='pre_weight_kg']").click()
        phone.go("running")
        expect(phone.page.get_by_role("dialog")).to_have_count(0)


class TestAPanel:
    def test_a_reason_that_was_begun_is_still_there(self, phone: Evening) -> None:
        phone.go("running")
        phone.go("checks/setup/hands")
        phone.tap("Not good, or not done")
        phone.page.locator("[data-k='overrule']").click()
        phone.page.get_by_label("In your own words").fill("the nurse said")
        back(phone)
        expect(phone.page.get_by_label("In your own words")).to_have_count(0)
        at(phone, "checks")
        phone.page.locator("[data-k='overrule']").click()
        expect(phone.page.get_by_label("In your own words")).to_have_value("the nurse said")
        phone.tap("Go on with this reason")
        assert phone.doc()["checks"][-1]["reason"] == "the nurse said"
        hands = phone.page.get_by_text("the nurse said")
        expect(hands).to_have_count(0)
        back(phone)  # to the check before, which was answered on this visit
        expect(hands).to_be_visible()
        at(phone, "checks")
        back(phone)
        at(phone, "running")

    def test_a_time_that_is_being_moved(self, phone: Evening) -> None:
        phone.go("tonight")
        phone.go("running")
        phone.page.get_by_text("Correct the start").click()
        phone.page.locator("[data-k='start-open']").click()
        back(phone)
        expect(phone.page.locator("[data-k='start-open']")).to_have_count(1)
        at(phone, "running")
        back(phone)
        at(phone, "tonight")


class TestSteps:
    def test_each_step_of_a_card_then_the_cards_then_the_screen_before(self, phone: Evening) -> None:
        phone.go("running")
        phone.go("danger")
        phone.page.locator(".alarms .big").first.click()
        step = phone.page.locator(".step-count")
        phone.tap("Next step")
        phone.tap("Next step")
        expect(step).to_contain_text("3 of")
        for count in ("2 of", "1 of"):
            back(phone)
            expect(step).to_contain_text(count)
        back(phone)
        expect(phone.page.locator("h1")).to_have_text("Something is wrong")
        back(phone)
        at(phone, "running")

    def test_each_step_of_trouble_and_what_was_answered_stays(self, phone: Evening) -> None:
        phone.go("running")
        phone.go("helper")
        back(phone)
        at(phone, "running")
        phone.tap("Blood pressure drop")
        at(phone, "flow")
        phone.tap("There is no blood")
        words = phone.page.locator(".step-words")
        expect(words).to_contain_text("Look at the catheter")
        back(phone)
        expect(words).to_contain_text("Look at the needles")
        assert [row["key"] for row in phone.doc()["steps"]] == ["hypotension_look"], "what was done stays written"
        phone.tap("There is no blood")
        phone.page.locator("[data-k='step-back']").click()
        expect(words).to_contain_text("Look at the needles")
        back(phone)
        expect(words).to_have_count(0)

    def test_each_step_of_an_end_and_what_was_done_stays_written(self, phone: Evening) -> None:
        phone.go("running")
        phone.go("finish")
        words = phone.page.locator(".step-words")
        first = words.inner_text()
        phone.touch_main("Done, next")
        expect(words).not_to_have_text(first)
        second = words.inner_text()
        phone.touch_main("Done, next")
        expect(words).not_to_have_text(second)
        third = words.inner_text()
        for text in (second, first):
            back(phone)
            expect(words).to_have_text(text)
        assert [row["key"] for row in phone.doc()["steps"]] == ["off_ready", "off_uf"], "done stays done"
        for text in (second, third):
            phone.touch_main("Done, next")
            expect(words).to_have_text(text)
        phone.page.locator("[data-k='step-back']").click()
        expect(words).to_have_text(second)
        phone.page.locator("[data-k='end-now']").click()
        expect(words).to_have_count(0)
        back(phone)
        at(phone, "running")
        expect(phone.page.locator("h1")).to_have_text("The treatment has ended")

    def test_each_check_that_was_answered_on_this_visit(self, phone: Evening) -> None:
        phone.go("running")
        phone.go("checks/setup/hands")
        words = phone.page.locator(".step-words")
        hands = words.inner_text()
        phone.touch_main("Good")
        expect(words).not_to_have_text(hands)
        back(phone)
        expect(words).to_have_text(hands)
        assert [row["passed"] for row in phone.doc()["checks"]] == [True]
        back(phone)
        at(phone, "running")


COVERED = """() => {
  const bar = document.getElementById("undo").getBoundingClientRect();
  const lies = (box) => box.width && box.left < bar.right && box.right > bar.left && box.top < bar.bottom - 1
    && box.bottom > bar.top + 1;
  return [...document.querySelectorAll("a, button, input, textarea, summary, select")]
    .filter((each) => !each.closest("#undo") && each.checkVisibility() && lies(each.getBoundingClientRect()))
    .map((each) => each.textContent);
}"""
"""What can be touched and lies where the undo bar is."""


@pytest.mark.parametrize("size", [(360, 740), (320, 568)])
def test_nothing_that_can_be_touched_lies_under_the_undo_bar_and_nothing_moves(
    phone: Evening, size: tuple[int, int]
) -> None:
    phone.page.set_viewport_size({"width": size[0], "height": size[1]})
    phone.go("weigh")
    row = phone.page.locator("[data-path='pre_pulse']")
    before = row.bounding_box()
    phone.enter("pre_weight_kg", "72")
    expect(phone.page.locator("#undo button")).to_be_visible()
    assert phone.page.evaluate(COVERED) == []
    assert row.bounding_box() == before
    assert phone.page.evaluate("document.getElementById('undo').offsetHeight") > 50, "the bar is there"
    expect(phone.page.locator("#head .state")).to_be_hidden()
    phone.page.locator("#undo button").click()
    assert phone.doc()["pre_weight_kg"] is None
