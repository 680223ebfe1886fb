"""A night from paper: one screen, in the order of the sheet, by the phone's own keyboard."""

from __future__ import annotations

import re
from collections.abc import Mapping

import pytest
from django.test import Client
from django.utils import timezone
from playwright.sync_api import expect

from homedialysis.accounts.models import Unit, User
from sessions.models import Patient, TreatmentRecord
from sessions.services.flow_sheet import sheet_of
from tests.browser.conftest import PHONE, BrowserPage
from tests.browser.evening import Evening
from tests.browser.running_phone import prescribed, rope_ladder

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def paper(browser_page: BrowserPage, unit: Unit, ana: Patient) -> Evening:
    prescribed(ana)
    rope_ladder(ana)
    TreatmentRecord.objects.all().delete()
    evening = Evening(browser_page(ana.account, size=PHONE, worker=False))
    evening.open()
    evening.go("paper")
    evening.touch_main("Begin a night from paper")
    return evening


def fill(evening: Evening, cells: Mapping[str, str]) -> None:
    for path, text in cells.items():
        evening.page.locator(f"input[data-path='{path}']").fill(text)


WHOLE = {
    "started_at": "2230", "ended_at": "02:30", "checks.chlorine.value": "0.05", "checks.conductivity.value": "14",
    "rinse_back_l": "0.3", "uf_removed_l": "2.6", "pre_weight_kg": "72.4", "pre_systolic": "150", "pre_diastolic": "84",
    "post_weight_kg": "69.8", "post_systolic": "130", "post_diastolic": "72", "sites[0].attempts": "1",
    "medicines[0].amount": "2000",
}  # fmt: skip
READINGS = [
    {"at": "2330", "qb_ml_min": "300", "arterial_mmhg": "-140", "venous_mmhg": "135", "uf_volume_l": "0,6"},
    {"at": "0015", "qb_ml_min": "300", "arterial_mmhg": "-145", "venous_mmhg": "138", "pulse": "70"},
]


def entered(evening: Evening) -> None:
    fill(evening, WHOLE)
    evening.page.locator("select[data-path='sites[0].site']").select_option(label="A low")
    evening.tap("All are ticked on the sheet")
    for index, row in enumerate(READINGS):
        if index:
            evening.tap("Add a line of readings")
        fill(evening, {f"readings[{index}].{name}": text for name, text in row.items()})


def test_a_whole_sheet_is_typed_on_one_screen_and_marked_as_paper(paper: Evening, ana: Patient, nurse: User) -> None:
    entered(paper)
    assert paper.overflows() == 0
    assert paper.too_small() == []
    paper.touch_main("Look it over")
    expect(paper.screen()).to_contain_text("Entered from paper")
    paper.touch_main("Hand over")
    expect(paper.screen()).to_contain_text("Handed over: the unit has it.")
    kept = TreatmentRecord.objects.get(patient=ana)
    assert (kept.source, kept.notes, kept.minutes) == ("paper", "", 240)
    assert (kept.pre_weight_kg, kept.post_weight_kg, kept.uf_removed_l) == (72.4, 69.8, 2.6)
    rows = list(kept.reading_set.values_list("arterial_mmhg", "venous_mmhg", "uf_volume_l", "pulse"))
    assert rows == [(-140, 135, 0.6, None), (-145, 138, None, 70)]
    minutes = [(row.at - kept.started_at).total_seconds() / 60 for row in kept.reading_set.all()]
    assert minutes == [60, 105]  # the second lies after midnight
    assert kept.siteused_set.get().attempts == 1
    assert (kept.medicine_set.get().name, kept.medicine_set.get().amount) == ("⟦heparin⟧", 2000)
    assert {check.passed for check in kept.answeredcheck_set.all()} == {True}
    client = Client()
    client.force_login(nurse)
    assert "entered from paper" in client.get(f"/nights/{kept.pk}/").content.decode()
    assert "Entered from paper" in client.get(f"/patients/{ana.pk}/?days=30").content.decode()
    paper.run("app", "await m.ctx.refresh();")
    paper.go("nights")
    expect(paper.screen()).to_contain_text("From paper")


def test_the_cells_stand_in_the_order_of_the_printed_sheet(paper: Evening, ana: Patient) -> None:
    printed = sheet_of(ana, at=timezone.now(), blank=False)
    paths = paper.page.locator("#screen [data-path]").evaluate_all("(all) => all.map((each) => each.dataset.path)")
    first = [re.sub(r"\W.*", "", path) for path in paths]
    parts = [part for index, part in enumerate(first) if part not in first[:index]]
    plan = [
        "planned_uf_l", "set_uf_l", "rinse_back_l", "intake_l", "uf_removed_l", "blood_processed_l", "machine_ktv",
        "blood_lost_ml",
    ]  # fmt: skip
    assert [each for each in parts if each in ("started_at", "sites", "checks", "readings", "medicines", *plan)] == [
        "started_at", "sites", "checks", *plan, "readings", "medicines",
    ]  # fmt: skip
    assert len(printed["plan"]) == len(plan) + 3  # the blood, the look of the dialyser, the disinfection are touched
    columns = [path for path in paths if path.startswith("readings[0].")]
    assert len(columns) == len(printed["reading_columns"]) + 1  # blood pressure has two numbers


def test_what_cannot_be_is_told_beside_its_cell_kept_and_holds_the_hand_over(paper: Evening) -> None:
    fill(paper, {"started_at": "2230", "ended_at": "0230", "pre_weight_kg": "7.2", "readings[0].venous_mmhg": "300"})
    paper.page.locator("input[data-path='readings[0].qb_ml_min']").press("Enter")
    expect(paper.page.locator("[id='cell-pre_weight_kg-said']")).to_contain_text("must be between")
    assert paper.doc()["pre_weight_kg"] is None
    paper.touch_main("Look it over")
    expect(paper.screen()).to_contain_text("must be between")
    expect(paper.screen()).to_contain_text("The time of this line is missing.")
    expect(paper.main()).to_be_disabled()
    paper.kill()
    paper.go("paper")
    expect(paper.page.locator("input[data-path='pre_weight_kg']")).to_have_value("7.2")


def test_an_unusual_number_is_asked_about_and_confirmed_where_it_stands(paper: Evening) -> None:
    fill(paper, {"started_at": "2230", "ended_at": "0230", "pre_systolic": "205", "pre_diastolic": "90"})
    paper.page.locator("input[data-path='pre_pulse']").focus()
    paper.tap("Yes, it is right")
    assert paper.doc()["confirmed"] == ["pre_systolic"]
    fill(paper, {"pre_systolic": "206"})
    assert paper.doc()["confirmed"] == []
    fill(paper, {"pre_weight_kg": "72.4", "post_weight_kg": "69.8", "uf_removed_l": "0.26", "ended_at": "1230"})
    paper.page.locator("input[data-path='pre_pulse']").focus()
    expect(paper.screen()).to_contain_text("0.26 L taken off, but the weights make 2.6 L. Is it right?")
    expect(paper.screen()).to_contain_text("14:00 h long, 4:00 h are prescribed. Is it right?")
    fill(paper, {"uf_removed_l": "2.6", "ended_at": "0230"})
    paper.touch_main("Look it over")
    expect(paper.main()).to_be_disabled()  # what nobody looked at twice is asked here once more
    paper.tap("Yes, it is right")
    expect(paper.main()).to_be_enabled()
    assert paper.doc()["confirmed"] == ["pre_systolic"]


def test_the_day_is_chosen_by_touch_and_the_times_follow(paper: Evening) -> None:
    fill(paper, {"started_at": "2230", "ended_at": "0230"})
    before = paper.doc()["started_at"]
    paper.tap("A day earlier")
    doc = paper.doc()
    assert before[:10] > doc["started_at"][:10]
    assert before[11:] == doc["started_at"][11:]


def test_a_line_that_was_removed_comes_back(paper: Evening) -> None:
    fill(paper, {"started_at": "2230", "readings[0].at": "2330", "readings[0].pulse": "70"})
    paper.tap("Remove this line")
    assert paper.doc()["readings"] == []
    paper.tap("Undo", exact=False)
    assert [row["pulse"] for row in paper.doc()["readings"]] == [70]


def test_tonight_can_be_begun_while_a_sheet_is_being_typed_in(paper: Evening) -> None:
    fill(paper, {"started_at": "2230"})
    paper.go("tonight")
    expect(paper.main()).to_have_text("Begin tonight's treatment")
    expect(paper.screen()).to_contain_text("Not handed over yet")
    paper.run("app", "m.ctx.jot({ kind: 'air' });")
    assert paper.doc()["events"] == []
