"""A night on the phone: entered, refused, confirmed, interrupted, handed over, and on the server once."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from playwright.sync_api import Route, expect

from sessions.models import AccessSite, Patient, Prescription, TreatmentRecord
from tests.browser.bedside import STARTED, Bedside
from tests.browser.conftest import BrowserPage

pytestmark = pytest.mark.django_db(transaction=True)
API = "**/api/v1/treatments/**"


@pytest.fixture
def bedside(browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription) -> Bedside:
    hands = Bedside(browser_page(ana.account))
    hands.begin()
    return hands


def only_record() -> TreatmentRecord:
    return TreatmentRecord.objects.get()


def test_a_whole_night_reaches_the_unit_as_it_was_entered(
    browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription, anas_sites: list[AccessSite]
) -> None:
    hands = Bedside(browser_page(ana.account))
    hands.begin()
    hands.before()
    hands.page.get_by_role("group", name="Total chlorine of the water").get_by_label("All right").check()
    hands.write("check-2-value", "0,05")
    hands.page.locator("#sites-arterial-site").select_option(str(anas_sites[0].pk))
    hands.write("sites-arterial-attempts", "1")
    hands.started()
    hands.reading(STARTED + timedelta(hours=2), venous_mmhg="150", arterial_mmhg="-140", qb_ml_min="300")
    hands.reading(STARTED + timedelta(hours=1), venous_mmhg="140", systolic="128", diastolic="74")
    hands.page.get_by_role("button", name="Cramp").click()
    hands.write("event-at", (STARTED + timedelta(hours=3)).strftime("%Y-%m-%dT%H:%M"))
    hands.write("event-note", "left calf")
    hands.page.get_by_role("button", name="Keep this entry").click()
    hands.page.get_by_role("button", name="Add a medicine").click()
    hands.write("medicine-name", "Heparin")
    hands.write("medicine-amount", "2000")
    hands.page.locator("#medicine-unit").select_option("units")
    hands.write("medicine-at", STARTED.strftime("%Y-%m-%dT%H:%M"))
    hands.page.get_by_role("button", name="Keep this medicine").click()
    hands.after()
    hands.write("sites-arterial-bleeding_minutes", "8")
    hands.write("notes", "slept well")
    hands.hand_over()
    hands.expect_handed_over()

    record = only_record()
    assert hands.page.get_by_role("link", name="See this night").get_attribute("href") == f"/nights/{record.pk}/"
    assert (record.patient, record.state, record.started_at) == (ana, "finished", STARTED)
    assert (record.minutes, record.pre_weight_kg, record.post_weight_kg) == (240, 72.5, 70.2)
    assert (record.pre_systolic, record.uf_removed_l, record.notes) == (142, 2.6, "slept well")
    readings = record.document["readings"]
    assert [reading["venous_mmhg"] for reading in readings] == [140, 150]
    assert (readings[0]["systolic"], readings[1]["arterial_mmhg"]) == (128, -140)
    assert [(event["kind"], event["note"]) for event in record.document["events"]] == [("cramp", "left calf")]
    medicine = record.document["medicines"][0]
    assert (medicine["name"], medicine["amount"], medicine["unit"]) == ("Heparin", 2000, "units")
    check = record.document["checks"][0]
    assert (check["name"], check["passed"], check["value"]) == ("Total chlorine of the water", True, 0.05)
    site = record.document["sites"][0]
    assert (site["site"], site["use"], site["bleeding_minutes"]) == (anas_sites[0].pk, "arterial", 8)
    assert record.marks == []
    assert hands.drafts() == 0


def test_an_impossible_number_is_refused_at_its_field_and_never_sent(bedside: Bedside) -> None:
    bedside.whole_night()
    bedside.part("Before")
    bedside.write("pre_weight_kg", "725")
    said = bedside.note_of("pre_weight_kg")
    assert said == "Weight before must be between 20 and 300 kg; 725 was given."
    expect(bedside.page.locator("#pre_weight_kg")).to_have_attribute("aria-invalid", "true")
    bedside.hand_over()
    expect(bedside.page.locator("#open-questions")).to_contain_text(said)
    assert TreatmentRecord.objects.filter(state="finished").count() == 0
    bedside.page.locator("#open-questions a").click()
    expect(bedside.page.locator("#pre_weight_kg")).to_be_focused()
    bedside.write("pre_weight_kg", "72.5")
    bedside.hand_over()
    bedside.expect_handed_over()
    assert only_record().pre_weight_kg == 72.5


def test_a_word_is_no_number(bedside: Bedside) -> None:
    bedside.write("pre_weight_kg", "7o")
    assert "“7o” is no number" in bedside.note_of("pre_weight_kg")


def test_an_unusual_number_is_asked_about_once_more_and_goes_as_confirmed(bedside: Bedside) -> None:
    bedside.whole_night()
    bedside.part("Before")
    bedside.write("pre_weight_kg", "165")
    assert "165 kg is unusual" in bedside.note_of("pre_weight_kg")
    bedside.hand_over()
    expect(bedside.page.locator("#open-questions")).to_contain_text("165 kg is unusual")
    bedside.page.locator("#open-questions a").click()
    bedside.page.get_by_role("button", name="Yes, it is right").click()
    assert bedside.note_of("pre_weight_kg") == ""
    bedside.hand_over()
    bedside.expect_handed_over()
    assert [(mark["field"], mark["given"], mark["confirmed"]) for mark in only_record().marks] == [
        ("pre_weight_kg", 165, True)
    ]


def test_an_unusual_reading_is_confirmed_under_its_place_in_order_of_time(bedside: Bedside) -> None:
    bedside.whole_night()
    late = STARTED + timedelta(hours=3)
    bedside.reading(late, venous_mmhg="282", systolic="80", diastolic="50")
    expect(bedside.page.locator("#reading-venous_mmhg-note")).to_contain_text("282 mmHg is unusual")
    bedside.page.get_by_role("button", name="Right as it is: keep it").click()
    bedside.reading(late - timedelta(hours=1), venous_mmhg="150")
    bedside.hand_over()
    bedside.expect_handed_over()
    assert {(mark["field"], mark["confirmed"]) for mark in only_record().marks} == {
        ("readings[2].venous_mmhg", True),
        ("readings[2].systolic", True),
    }


def test_an_impossible_reading_is_not_kept(bedside: Bedside) -> None:
    bedside.started()
    bedside.reading(STARTED + timedelta(hours=1), venous_mmhg="9999")
    assert bedside.note_of("reading-venous_mmhg") == (
        "Venous pressure must be between -100 and 500 mmHg; 9999 was given."
    )
    expect(bedside.page.locator("[data-rows=readings] li")).to_have_count(0)


def test_a_reading_is_changed_removed_and_brought_back(bedside: Bedside) -> None:
    bedside.whole_night()
    bedside.part("During")
    rows = bedside.page.locator("[data-rows=readings] li")
    rows.get_by_role("button", name="Change").click()
    bedside.write("reading-venous_mmhg", "145")
    bedside.page.get_by_role("button", name="Keep this reading").click()
    expect(rows).to_contain_text("venous 145 mmHg")
    rows.get_by_role("button", name="Change").click()
    bedside.page.locator("[data-row-form=readings]").get_by_role("button", name="Remove it").click()
    expect(rows).to_have_count(0)
    bedside.page.get_by_role("button", name="Undo").click()
    expect(rows).to_contain_text("venous 145 mmHg")


def test_a_reload_in_the_middle_finds_the_night_where_it_was(bedside: Bedside) -> None:
    bedside.whole_night()
    bedside.part("During")
    bedside.page.get_by_role("button", name="Add a medicine").click()
    bedside.write("medicine-name", "Hepa")
    bedside.part("Before")
    bedside.write("pre_weight_kg", "725")
    bedside.page.reload()
    expect(bedside.page.locator("#pre_weight_kg")).to_have_value("725")
    expect(bedside.page.locator("#pre_weight_kg")).to_have_attribute("aria-invalid", "true")
    expect(bedside.page.locator("#uf_removed_l")).to_have_value("2.6")
    bedside.part("During")
    expect(bedside.page.locator("[data-rows=readings] li")).to_contain_text("venous 140 mmHg")
    expect(bedside.page.locator("#medicine-name")).to_have_value("Hepa")
    assert bedside.drafts() == 1


def test_with_the_network_cut_the_night_waits_and_is_sent_once_when_it_is_back(bedside: Bedside) -> None:
    bedside.whole_night()
    bedside.watched.context.set_offline(True)
    bedside.hand_over()
    expect(bedside.page.get_by_text("1 record waiting on this phone")).to_be_visible()
    assert TreatmentRecord.objects.count() == 0
    bedside.watched.context.set_offline(False)
    bedside.expect_handed_over()
    bedside.watched.open("/record/")
    bedside.watched.open("/tonight/")
    expect(bedside.page.get_by_role("link", name="Begin tonight's record")).to_be_visible()
    record = only_record()
    assert (record.state, record.revision, record.pre_weight_kg) == ("finished", 1, 72.5)
    assert bedside.drafts() == 0


def test_a_waiting_night_is_sent_from_another_page_after_the_phone_was_off(bedside: Bedside) -> None:
    bedside.whole_night()
    bedside.page.route(API, lambda route: route.abort())
    bedside.hand_over()
    expect(bedside.page.get_by_text("1 record waiting on this phone")).to_be_visible()
    bedside.watched.open("/nights/")
    expect(bedside.page.get_by_text("1 record waiting on this phone.")).to_be_visible()
    bedside.page.unroute(API)
    bedside.page.get_by_role("button", name="Send now").click()
    expect(bedside.page.get_by_text("1 handed over to the unit.")).to_be_visible()
    expect(bedside.page.get_by_text("waiting on this phone")).to_be_hidden()
    assert only_record().state == "finished"


def store_but_lose_the_answer(route: Route) -> None:
    route.fetch()
    route.abort()


def test_an_answer_lost_on_the_way_makes_no_second_record_and_no_false_conflict(bedside: Bedside) -> None:
    bedside.whole_night()
    bedside.page.route(API, store_but_lose_the_answer)
    bedside.hand_over()
    expect(bedside.page.get_by_text("1 record waiting on this phone")).to_be_visible()
    assert only_record().revision == 1
    bedside.page.unroute(API)
    bedside.page.get_by_role("button", name="Send now").click()
    bedside.expect_handed_over()
    assert only_record().revision == 1


def test_a_lost_answer_followed_by_more_writing_is_no_conflict_with_oneself(bedside: Bedside) -> None:
    bedside.before()
    bedside.started()
    bedside.page.route(API, store_but_lose_the_answer)
    leave_the_page_for_a_moment(bedside)
    expect(bedside.page.locator("#state-words")).to_contain_text("Kept on this phone")
    bedside.page.wait_for_timeout(500)
    assert only_record().state == "open"
    bedside.page.unroute(API)
    bedside.after()
    bedside.hand_over()
    bedside.expect_handed_over()
    assert (only_record().state, only_record().revision) == ("finished", 2)


def test_several_begun_records_are_offered_to_choose_from(bedside: Bedside) -> None:
    bedside.before(weight="72.5")
    bedside.started(STARTED - timedelta(days=1))
    bedside.watched.open("/record/?choose=1")
    bedside.page.get_by_role("button", name="Begin a new record").click()
    bedside.before(weight="73.1")
    bedside.watched.open("/record/")
    expect(bedside.page.get_by_role("heading", name="Which record?")).to_be_visible()
    expect(bedside.page.locator("#open-records a")).to_have_count(2)
    bedside.page.get_by_role("link", name="Record without a start").click()
    expect(bedside.page.locator("#pre_weight_kg")).to_have_value("73.1")


def test_storage_that_refuses_is_told_plainly(bedside: Bedside) -> None:
    full = "throw new DOMException('full', 'QuotaExceededError')"
    bedside.page.evaluate(f"() => {{ IDBObjectStore.prototype.put = () => {{ {full}; }}; }}")
    bedside.write("pre_weight_kg", "72.5")
    expect(bedside.page.locator("#state-words")).to_contain_text("Not kept")
    assert any("Keeping the draft failed" in fault for fault in bedside.watched.faults)
    bedside.watched.faults.clear()


def test_an_open_record_is_brought_to_the_unit_quietly_and_followed_by_later_changes(bedside: Bedside) -> None:
    bedside.before()
    bedside.started()
    leave_the_page_for_a_moment(bedside)
    expect(bedside.page.locator("#state-words")).to_contain_text("At the unit")
    assert (only_record().state, only_record().pre_weight_kg) == ("open", 72.5)
    bedside.after()
    expect(bedside.page.locator("#state-words")).to_contain_text("Kept on this phone")
    bedside.hand_over()
    bedside.expect_handed_over()
    assert (only_record().state, only_record().revision) == ("finished", 2)


def leave_the_page_for_a_moment(bedside: Bedside) -> None:
    """What the browser tells a page when its window is put away."""
    bedside.page.evaluate(
        """() => {
          Object.defineProperty(document, "hidden", { value: true, configurable: true });
          document.dispatchEvent(new Event("visibilitychange"));
          delete document.hidden;
        }"""
    )


def changed_elsewhere(bedside: Bedside, ana: Patient) -> None:
    """The record reaches the unit, another device changes it, and this phone hands over."""
    from sessions.services.recording import record_treatment

    bedside.whole_night()
    leave_the_page_for_a_moment(bedside)
    expect(bedside.page.locator("#state-words")).to_contain_text("At the unit")
    record = only_record()
    assert ana.account is not None
    record_treatment(
        record_id=record.pk,
        patient=ana,
        document=record.document | {"notes": "from the tablet"},
        by=ana.account,
        at=STARTED + timedelta(hours=5),
        expected_revision=record.revision,
    )
    bedside.after(weight="70.4")
    bedside.hand_over()
    expect(bedside.page.get_by_role("heading", name="This record was changed elsewhere")).to_be_visible()


def test_a_record_changed_elsewhere_is_told_and_the_own_version_can_stand(bedside: Bedside, ana: Patient) -> None:
    changed_elsewhere(bedside, ana)
    assert only_record().notes == "from the tablet"
    bedside.page.get_by_role("button", name="Go on with mine").click()
    bedside.hand_over()
    bedside.expect_handed_over()
    assert (only_record().post_weight_kg, only_record().notes, only_record().revision) == (70.4, "", 3)


def test_a_record_changed_elsewhere_is_told_and_the_units_version_can_be_loaded(bedside: Bedside, ana: Patient) -> None:
    changed_elsewhere(bedside, ana)
    bedside.page.get_by_role("button", name="Load the unit's version").click()
    expect(bedside.page.locator("#notes")).to_have_value("from the tablet")
    bedside.hand_over()
    bedside.expect_handed_over()
    assert (only_record().notes, only_record().revision) == ("from the tablet", 3)


def test_what_the_unit_refuses_stands_at_its_field_and_the_night_stays(bedside: Bedside) -> None:
    bedside.whole_night()
    bedside.part("Before")
    bedside.write("pre_diastolic", "105")
    bedside.write("pre_systolic", "100")
    bedside.hand_over()
    expect(bedside.page.locator("#pre_diastolic-note")).to_contain_text("must be below the systolic 100 mmHg")
    assert TreatmentRecord.objects.count() == 0
    bedside.page.locator("#open-questions a").first.click()
    bedside.write("pre_diastolic", "75")
    bedside.hand_over()
    bedside.expect_handed_over()
    assert only_record().pre_diastolic == 75


def test_signed_out_at_the_hand_over_nothing_is_lost(bedside: Bedside, ana: Patient) -> None:
    bedside.whole_night()
    bedside.watched.context.clear_cookies()
    bedside.hand_over()
    again = bedside.page.get_by_role("link", name="Sign in again")
    expect(again).to_be_visible()
    assert TreatmentRecord.objects.count() == 0
    bedside.watched.sign_in(ana.account)
    bedside.page.reload()
    bedside.expect_handed_over()
    assert only_record().state == "finished"


def test_another_person_on_the_same_phone_sees_nothing_of_a_draft(bedside: Bedside, ben: Patient, ana: Patient) -> None:
    bedside.whole_night()
    bedside.watched.sign_in(ben.account)
    bedside.page.reload()
    expect(bedside.page.get_by_role("heading", name="This record is not on this phone")).to_be_visible()
    bedside.watched.open("/tonight/")
    expect(bedside.page.locator("#drafts")).to_be_hidden()
    bedside.watched.sign_in(ana.account)
    bedside.watched.open("/tonight/")
    expect(bedside.page.get_by_role("link", name="Go on with the night")).to_be_visible()


def test_a_finished_night_can_be_corrected_and_keeps_what_the_page_has_no_field_for(
    browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription
) -> None:
    from tests.factories import record_night

    other_check: dict[str, Any] = {"name": "Own check", "passed": True, "value": None, "unit": "", "note": ""}
    record = record_night(ana, STARTED, checks=[other_check])
    hands = Bedside(browser_page(ana.account))
    hands.begin(f"/record/?id={record.pk}")
    expect(hands.page.get_by_text("You are correcting a record")).to_be_visible()
    hands.part("After")
    hands.write("post_weight_kg", "70.9")
    hands.hand_over()
    hands.expect_handed_over()
    record.refresh_from_db()
    assert (record.post_weight_kg, record.revision, record.document["checks"]) == (70.9, 2, [other_check])


def test_without_scripts_the_page_points_to_the_paper_sheet(
    chromium: Any, live_server: Any, ana_client: Any, anas_prescription: Prescription
) -> None:
    context = chromium.new_context(java_script_enabled=False)
    session = ana_client.cookies["sessionid"].value
    context.add_cookies([{"name": "sessionid", "value": session, "url": live_server.url}])
    page = context.new_page()
    page.goto(f"{live_server.url}/record/")
    expect(page.get_by_text("The record has not opened.")).to_be_visible(timeout=10_000)
    expect(page.locator("#record")).to_be_hidden()
    context.close()


def test_with_scripts_the_page_does_not_speak_of_paper(bedside: Bedside) -> None:
    bedside.page.wait_for_timeout(4000)  # longer than it takes the words to appear by themselves
    expect(bedside.page.get_by_text("The record has not opened.")).to_be_hidden()
