"""Before the treatment: tonight, what changed, messages, checks, weight and plan; with a thumb and in words."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from playwright.sync_api import expect

from homedialysis.accounts.models import Unit, User
from homedialysis.accounts.services.opening import looked_at_next
from sessions.models import (
    Message,
    MessageSeen,
    Patient,
    Prescription,
    PrescriptionAcknowledgement,
    TaskDone,
)
from tests.browser.conftest import BrowserPage
from tests.browser.evening import BEGIN, Evening, begun, wait_for
from tests.browser.running_phone import evening_before, now_minute, prescribed
from tests.factories import LONG_AGO, CarePartnerFactory, MachineFactory, WaterTestFactory, record_night

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def order(ana: Patient) -> Prescription:
    """70 kg, 240 minutes, at most 300, 10 mL/kg/h."""
    return prescribed(ana)


@pytest.fixture
def evening(browser_page: BrowserPage, unit: Unit, ana: Patient, order: Prescription) -> Evening:
    return Evening(browser_page(ana.account, worker=False))


def changed(ana: Patient, order: Prescription, **changes: Any) -> Prescription:
    """A second version, in force since yesterday."""
    since = now_minute() - timedelta(days=1)
    Prescription.objects.filter(pk=order.pk).update(in_force=DateTimeTZRange(LONG_AGO, since))
    return prescribed(ana, version=2, in_force=DateTimeTZRange(since, None), **changes)


class TestTonight:
    def test_one_large_action_and_what_is_ordered(self, evening: Evening) -> None:
        page = evening.open()
        expect(page.get_by_role("heading", level=1)).to_have_text("Tonight")
        expect(evening.main()).to_have_text("Begin tonight's treatment")
        for words in ("70 kg", "4:00 h", "300 mL/min", "10 mL/kg/h"):
            expect(evening.screen()).to_contain_text(words)
        page.get_by_text("The whole prescription").click()
        expect(evening.screen()).to_contain_text("Fenrow 17")
        expect(evening.screen()).to_contain_text("Longest allowed5 h")

    def test_it_says_that_it_is_no_alarm_and_whom_to_call(self, evening: Evening) -> None:
        evening.open()
        expect(evening.screen()).to_contain_text("nobody watches it through the night")
        expect(evening.screen().get_by_role("link", name=re.compile("Call the unit"))).to_have_attribute(
            "href", "tel:01632960100"
        )
        expect(evening.screen().get_by_role("link", name=re.compile("Emergency call"))).to_have_attribute(
            "href", "tel:112"
        )

    def test_out_of_hours_it_says_that_nobody_looks(self, evening: Evening, unit: Unit) -> None:
        unit.opening_hours.all().delete()
        another_day = (now_minute().weekday() + 3) % 7
        unit.opening_hours.create(weekday=another_day, opens="08:00", closes="17:00")
        evening.open()
        said = looked_at_next(Unit.objects.current(), datetime.now(UTC))
        assert said.startswith("The unit is closed: nobody looks at this until ")
        expect(evening.screen()).to_contain_text(said)

    def test_in_hours_it_does_not_say_so(self, evening: Evening, unit: Unit) -> None:
        unit.opening_hours.all().delete()
        for weekday in range(7):
            unit.opening_hours.create(weekday=weekday, opens="00:00", closes="23:59:59")
        evening.open()
        expect(evening.screen()).to_contain_text("The unit is open until 23:59.")
        expect(evening.screen()).not_to_contain_text("The unit is closed")

    def test_without_a_prescription_it_sends_to_the_unit(self, evening: Evening, order: Prescription) -> None:
        Prescription.objects.filter(pk=order.pk).update(in_force=DateTimeTZRange(LONG_AGO, now_minute()))
        evening.open()
        expect(evening.screen()).to_contain_text("No prescription is in force. Ask the unit before you begin.")
        expect(evening.screen()).to_contain_text("nothing says how long, how fast")
        expect(evening.main()).to_contain_text("Call the unit")  # to begin is not what lies under the thumb
        evening.tap("Begin without a prescription", exact=False)
        expect(evening.page.get_by_role("heading", level=1)).to_have_text("Checks before")

    def test_a_night_that_was_begun_is_gone_on_with_where_it_was(self, evening: Evening) -> None:
        begun(evening)
        evening.go("weigh")
        evening.go("tonight")
        evening.touch_main("Go on")
        expect(evening.page.get_by_role("heading", level=1)).to_have_text("Weigh and plan")


class TestChanges:
    def test_they_come_before_the_checks_and_are_read_once(
        self, evening: Evening, ana: Patient, order: Prescription
    ) -> None:
        changed(ana, order, target_weight_kg=69.5)
        begun(evening)
        expect(evening.screen()).to_contain_text("Target weight, kgwas 70 → now 69.5")
        evening.touch_main("I have read this")
        expect(evening.page.get_by_role("heading", level=1)).to_have_text("Checks before")
        evening.go("tonight")
        expect(evening.page.get_by_text("The prescription changed")).to_have_count(0)
        assert wait_for(lambda: PrescriptionAcknowledgement.objects.filter(prescription__version=2).count() == 1)

    def test_without_a_network_it_is_kept_and_reaches_the_unit_later(
        self, evening: Evening, ana: Patient, order: Prescription
    ) -> None:
        changed(ana, order, minutes=270)
        evening.open()
        evening.offline()
        evening.touch_main(BEGIN)
        evening.touch_main("I have read this")
        expect(evening.page.locator("#head")).to_contain_text("waits to be sent")
        evening.go("changes")
        expect(evening.main()).to_have_text("Go on")
        assert not PrescriptionAcknowledgement.objects.exists()
        evening.offline(False)
        assert wait_for(lambda: PrescriptionAcknowledgement.objects.count() == 1)
        evening.kill()
        expect(evening.page.get_by_text("The prescription changed")).to_have_count(0)


def test_messages_are_read_once_and_the_unit_knows(evening: Evening, ana: Patient, nurse: User) -> None:
    Message.objects.create(
        patient=ana, words="Bloods on Friday.\n<b>Two</b> tubes.", sent_by=nurse, sent_at=now_minute()
    )
    page = evening.open()
    page.get_by_role("button", name="1 message from the unit").click()
    expect(evening.screen()).to_contain_text("<b>Two</b> tubes.")
    evening.touch_main("I have read this")
    expect(page.get_by_text("message from the unit")).to_have_count(0)
    assert wait_for(lambda: MessageSeen.objects.filter(by=ana.account).count() == 1)


class TestDue:
    def test_a_task_is_done_with_one_touch_and_reaches_the_unit_later(self, evening: Evening, ana: Patient) -> None:
        MachineFactory(patient=ana)
        page = evening.open()
        evening.offline()
        page.get_by_role("button", name=re.compile("thing(s are| is) due")).click()
        card = page.locator(".card", has_text="Disinfection")
        card.get_by_role("button").click()
        expect(card).to_contain_text("Noted. It goes to the unit when there is a network.")
        assert not TaskDone.objects.exists()
        evening.offline(False)
        assert wait_for(lambda: TaskDone.objects.filter(patient=ana, kind="disinfection").count() == 1)


class TestChecks:
    def test_a_good_one_takes_one_touch_and_the_next_one_comes(self, evening: Evening) -> None:
        begun(evening)
        expect(evening.page.locator(".step-words")).to_have_text("Hands and access arm washed")
        evening.touch_main("Good")
        expect(evening.page.locator(".step-words")).to_have_text("Total chlorine of the water")
        row = evening.doc()["checks"][0]
        assert (row["key"], row["passed"], row["overruled"], row["part"]) == ("hands", True, False, "setup")
        assert row["at"]
        evening.tap("Undo", exact=False)
        assert evening.doc()["checks"] == []

    def test_a_reading_over_its_limit_holds_the_flow(self, evening: Evening) -> None:
        begun(evening)
        evening.touch_main("Good")
        expect(evening.screen()).to_contain_text("at most 0.1 mg/L")
        evening.touch_main("Enter the reading")
        evening.pads("0.11")
        expect(evening.screen()).to_contain_text("Total chlorine of the water is not good. Reading: 0.11 mg/L.")
        expect(evening.screen()).to_contain_text("Do not connect.")
        expect(evening.main()).to_have_text("Measure again")
        assert evening.doc()["checks"][1]["passed"] is False
        evening.go("weigh")
        evening.main().click()
        evening.pads("72", "142", "81", "70", "0.3", "0.2")
        evening.touch_main("Back to the checks")
        expect(evening.page.get_by_role("heading", level=1)).to_have_text("Checks before")

    def test_chlorine_over_its_limit_is_lifted_by_a_second_value_alone_and_both_stay(self, evening: Evening) -> None:
        begun(evening)
        evening.go("checks/setup/chlorine")
        evening.touch_main("Enter the reading")
        evening.pads("0.2")
        expect(evening.screen()).to_contain_text("Nothing else lifts this")
        expect(evening.page.locator("[data-k='overrule']")).to_have_count(0)
        evening.go("needles")  # by whichever way somebody comes there
        expect(evening.screen()).to_contain_text("Total chlorine of the water is not good. Reading: 0.2 mg/L.")
        expect(evening.page.locator("#undo button")).to_have_count(0)  # what was found stays: nothing takes it back
        evening.touch_main("Back to the checks")
        evening.go("checks/setup/all")
        expect(evening.screen()).not_to_contain_text("All checks are answered")
        evening.go("checks/setup/chlorine")
        evening.touch_main("Measure again")
        evening.pads("0.15")
        evening.touch_main("Measure again")
        evening.pads("0.08")
        evening.go("checks/setup/chlorine")
        expect(evening.screen()).to_contain_text("Not good at first: Total chlorine of the water (0.2 mg/L)")
        kept = [(row["value"], row["passed"], row["overruled"]) for row in evening.doc()["checks"]]
        assert kept == [(0.2, False, False), (0.15, False, False), (0.08, True, False)]
        evening.go("needles")
        expect(evening.screen()).not_to_contain_text("is not good")

    @pytest.mark.parametrize("key", ["residue", "air_detector"])
    def test_nobody_goes_past_disinfectant_or_an_air_detector_that_failed(self, evening: Evening, key: str) -> None:
        begun(evening)
        evening.go(f"checks/setup/{key}")
        evening.tap("Not good, or not done")
        expect(evening.page.locator("[data-k='overrule']")).to_have_count(0)
        evening.touch_main("Tested again: good")
        assert [row["passed"] for row in evening.doc()["checks"]] == [False, True]

    def test_water_that_the_unit_knows_to_be_bad_is_told_before_anything_begins(
        self, evening: Evening, ana: Patient
    ) -> None:
        WaterTestFactory(patient=ana, kind="total_chlorine", value=0.3, place="first_carbon")
        evening.open()
        expect(evening.screen()).to_contain_text("The unit knows of water over the limit: Total chlorine 0.3 mg/L")
        expect(evening.main()).to_contain_text("Call the unit")
        evening.tap("Begin: the unit said I may", exact=False)
        expect(evening.page.get_by_role("heading", level=1)).to_have_text("Checks before")

    def test_the_limit_itself_is_good(self, evening: Evening) -> None:
        begun(evening)
        evening.touch_main("Good")
        evening.touch_main("Enter the reading")
        evening.pads("0.1")
        expect(evening.page.locator(".step-words")).to_have_text("Machine's own test passed")
        assert evening.doc()["checks"][1]["passed"] is True

    def test_overruled_only_with_a_reason(self, evening: Evening) -> None:
        begun(evening)
        evening.tap("Not good, or not done")
        evening.tap("Go on all the same", exact=False)
        own = evening.page.get_by_role("button", name="Go on with this reason")
        expect(own).to_be_disabled()
        evening.page.get_by_label("In your own words").fill("   ")
        expect(own).to_be_disabled()
        assert evening.doc()["checks"][0]["overruled"] is False
        evening.page.get_by_label("In your own words").fill("No soap tonight, used gel")
        own.click()
        expect(evening.page.locator(".step-words")).to_have_text("Total chlorine of the water")
        row = evening.doc()["checks"][0]
        assert (row["passed"], row["overruled"], row["reason"]) == (False, True, "No soap tonight, used gel")

    def test_put_right_it_is_good_and_nothing_is_overruled(self, evening: Evening) -> None:
        begun(evening)
        evening.tap("Not good, or not done")
        evening.touch_main("Good now")
        assert [(row["passed"], row["overruled"]) for row in evening.doc()["checks"]] == [(True, False)]

    def test_when_all_are_answered_the_weight_comes_next(self, evening: Evening) -> None:
        begun(evening)
        evening.pass_checks()
        expect(evening.screen()).to_contain_text("All checks are answered, as you saw them. Nobody else has looked.")
        evening.touch_main("Next: weigh")
        expect(evening.page.get_by_role("heading", level=1)).to_have_text("Weigh and plan")


class TestPlan:
    def test_under_the_limit_it_is_as_prescribed(self, evening: Evening) -> None:
        begun(evening).pass_checks()
        evening.weigh("72")
        expect(evening.page.locator(".plan")).to_contain_text("2.50 L")
        expect(evening.page.locator(".plan")).to_contain_text("8.9 mL/kg/h")
        expect(evening.page.locator(".plan")).to_contain_text("under your limit in the prescribed time")
        expect(evening.main()).to_contain_text("Take off 2.50 L in 4:00 h")  # in sight under the thumb
        evening.touch_main("Next: the access")
        expect(evening.page.get_by_role("heading", level=1)).to_have_text("Where the needles go")
        doc = evening.doc()
        assert (doc["planned_uf_l"], doc["planned_minutes"], doc["plan_choice"]) == (2.5, 240, "as_prescribed")
        assert (doc["planned_rinse_back_l"], doc["planned_intake_l"]) == (0.3, 0.2)

    def test_over_the_limit_a_choice_has_to_be_made(self, evening: Evening) -> None:
        begun(evening).pass_checks()
        evening.weigh("72.6")
        expect(evening.page.locator(".plan")).to_contain_text("3.10 L")
        expect(evening.page.locator(".plan")).to_contain_text("11.1 mL/kg/h")
        expect(evening.main()).to_be_disabled()
        choices = evening.page.locator(".plan .choice")
        expect(choices.nth(0)).to_contain_text("Longer tonight4:30 h · take off 3.10 L · 9.8 mL/kg/h")
        expect(choices.nth(1)).to_contain_text("Leave some for next time4:00 h · take off 2.80 L · 10.0 mL/kg/h")
        expect(choices.nth(1)).to_contain_text("leaves 0.30 L")
        choices.nth(0).click()
        evening.touch_main("Next: the access")
        doc = evening.doc()
        assert (doc["planned_uf_l"], doc["planned_minutes"], doc["plan_choice"]) == (3.1, 270, "longer")

    def test_what_was_chosen_follows_a_corrected_weight(self, evening: Evening) -> None:
        begun(evening).pass_checks()
        evening.weigh("72.6")
        evening.page.locator(".plan .choice").nth(1).click()
        evening.enter("pre_weight_kg", "72.8")
        evening.touch_main("Next: the access")
        doc = evening.doc()
        assert (doc["planned_uf_l"], doc["planned_minutes"], doc["plan_choice"]) == (2.8, 240, "leave_some")

    def test_over_the_limit_even_at_the_longest_it_says_call(self, evening: Evening) -> None:
        begun(evening).pass_checks()
        evening.weigh("74")
        note = evening.page.locator(".note", has_text="Ask the unit before you begin")
        expect(note).to_contain_text("Even the longest treatment allowed would pass the limit with all of it.")
        expect(note).to_contain_text("Call the unit first")
        expect(note.get_by_role("link", name=re.compile("Call the unit"))).to_be_visible()
        expect(evening.page.locator(".plan .choice").nth(0)).to_contain_text(
            "Longer, and leave some5:00 h · take off 3.50 L"
        )

    def test_what_the_unit_says_on_the_telephone_can_be_entered(self, evening: Evening) -> None:
        begun(evening).pass_checks()
        evening.weigh("74")
        evening.tap("Something else, as the unit told me", exact=False)
        evening.pads("3.2", "290")
        evening.touch_main("Next: the access")
        doc = evening.doc()
        assert (doc["planned_uf_l"], doc["planned_minutes"], doc["plan_choice"]) == (3.2, 290, "")

    def test_under_the_target_there_is_nothing_to_take_off(self, evening: Evening) -> None:
        begun(evening)
        evening.weigh("69")
        expect(evening.page.locator(".plan")).to_contain_text("under the target: nothing to take off. Ask the unit")

    def test_a_low_pressure_before_asks_for_a_call(self, evening: Evening) -> None:
        begun(evening)
        evening.go("weigh")
        evening.page.locator("[data-path='pre_systolic']").click()
        evening.pad("80")
        evening.tap("Yes, it is right")
        note = evening.page.locator(".note", has_text="Ask the unit before you begin")
        expect(note).to_contain_text("is 80: unusual")
        evening.enter("pre_weight_kg", "72")
        expect(evening.page.locator(".plan")).to_contain_text("under your limit in the prescribed time")
        expect(evening.page.locator(".plan .note.good")).to_have_count(0)
        assert evening.doc()["confirmed"] == ["pre_systolic"]

    def test_what_is_unusual_before_is_passed_over_with_a_reason_alone(self, evening: Evening) -> None:
        begun(evening).pass_checks()
        evening.weigh("72")
        evening.page.locator("[data-path='pre_systolic']").click()
        evening.pad("84")
        evening.tap("Yes, it is right")
        expect(evening.main()).to_contain_text("Call the unit")
        evening.tap("Go on all the same", exact=False)
        evening.tap("The unit said so on the telephone")
        evening.touch_main("Next: the access")
        [kept] = [row for row in evening.doc()["checks"] if row["key"] == "weighed"]
        assert (kept["passed"], kept["overruled"], kept["reason"]) == (False, True, "⟦unit_said_so⟧")

    def test_the_gain_is_told_against_the_last_night(self, evening: Evening, ana: Patient) -> None:
        record_night(ana, evening_before(2), post_weight_kg=69.8)
        begun(evening)
        evening.weigh("73")
        expect(evening.page.locator(".plan")).to_contain_text("Gained since last time: 3.2 kg, 4.6 %")
        expect(evening.page.locator(".note", has_text="Ask the unit before you begin")).to_contain_text(
            "You gained 3.2 kg"
        )


def test_a_care_partner_does_the_evening_in_the_patients_name(
    browser_page: BrowserPage, unit: Unit, ana: Patient, order: Prescription
) -> None:
    helper = CarePartnerFactory(patient=ana, user__name="Rui, who helps Ana").user
    evening = Evening(browser_page(helper, worker=False))
    begun(evening)
    expect(evening.page.locator("#head")).to_contain_text("Rui, who helps Ana for Ana Verdemar")
    evening.touch_main("Good")
    assert evening.night()["patient"] == str(ana.pk)


def touched(phone: Evening) -> None:
    """A touch on the main action where it lies: the driver's own click would first scroll the page."""
    box = phone.main().bounding_box()
    assert box is not None
    phone.page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)


class TestInShort:
    @pytest.fixture
    def short(self, evening: Evening, ana: Patient) -> Evening:
        Patient.objects.filter(pk=ana.pk).update(short_sheets=True)
        return evening

    def test_checks_are_named_answered_in_one_touch_and_what_is_measured_is_touched(self, short: Evening) -> None:
        begun(short)
        items = short.run("app", "return m.ctx.kit.checklist.items;")
        looked_at = [each["name"] for each in items if each["part"] == "setup" and not each["asks_value"]]
        assert short.page.locator(".checklist .label").all_inner_texts() == looked_at
        assert short.doc()["checks"] == []
        while "of these are good" in short.main().inner_text():
            short.main().click()  # the first touches may only bring the end of the list into sight
        expect(short.page.locator(".step-words")).to_have_text("Total chlorine of the water")
        short.tap("0.05 mg/L")
        short.tap("14 mS/cm")
        expect(short.page.get_by_role("heading", level=1)).to_have_text("Weigh and plan")
        rows = short.doc()["checks"]
        assert {row["name"] for row in rows} == {each["name"] for each in items if each["part"] == "setup"}
        assert all(row["passed"] for row in rows)
        assert {row["value"] for row in rows} == {None, 0.05, 14}

    def test_one_that_is_not_good_holds_as_ever(self, short: Evening) -> None:
        begun(short)
        short.tap("Machine's own test passed")
        short.tap("Not good, or not done")
        expect(short.screen()).to_contain_text("Machine's own test passed is not good.")
        short.go("checks", "setup")
        assert "Machine's own test passed" not in short.page.locator(".checklist .label").all_inner_texts()
        while "of these are good" in short.main().inner_text():
            short.main().click()
        short.tap("0.05 mg/L")
        short.tap("14 mS/cm")
        expect(short.page.locator(".step-words")).to_have_text("Machine's own test passed")

    def test_no_touch_answers_for_a_list_whose_end_was_not_seen(self, short: Evening) -> None:
        begun(short)
        short.page.set_viewport_size({"width": 320, "height": 480})
        short.page.wait_for_timeout(300)  # until the window has its new size
        touched(short)
        assert short.doc()["checks"] == []
        for _ in range(4):
            if "of these are good" in short.main().inner_text():
                touched(short)
        assert len(short.doc()["checks"]) == 8


def test_what_goes_in_is_taken_as_last_time_in_one_touch_that_names_it(evening: Evening, ana: Patient) -> None:
    record_night(ana, evening_before(2), planned_rinse_back_l=0.35, planned_intake_l=0.15)
    begun(evening).pass_checks()
    evening.go("weigh")
    evening.touch_main("Enter: Weight before")
    evening.pads("72", "142", "81", "70")
    expect(evening.main()).to_contain_text("rinse-back 0.35 L, drinks 0.15 L")
    assert evening.doc()["planned_rinse_back_l"] is None
    evening.touch_main("As last time")
    doc = evening.doc()
    assert (doc["planned_rinse_back_l"], doc["planned_intake_l"]) == (0.35, 0.15)
    expect(evening.main()).to_contain_text("Take off 2.50 L in 4:00 h")


def test_the_undo_bar_leaves_and_the_way_back_stays_under_more(evening: Evening) -> None:
    begun(evening)
    evening.touch_main("Good")
    expect(evening.page.locator("#undo")).to_contain_text("Undo")
    expect(evening.page.locator("#undo")).to_be_empty(timeout=12_000)
    evening.go("more")
    expect(evening.page.get_by_role("button", name="Undo:", exact=False)).to_be_visible()
