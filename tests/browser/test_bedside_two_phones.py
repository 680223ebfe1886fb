"""Two phones, two people, one night: nothing of either is lost, and only one field with two answers is asked about."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from playwright.sync_api import expect

from homedialysis.accounts.models import User
from sessions.models import Patient, Prescription, TreatmentRecord
from tests.browser.conftest import BrowserPage
from tests.browser.evening import wait_for
from tests.browser.running_phone import now_minute
from tests.browser.shell import MODULES, Shell

pytestmark = pytest.mark.django_db(transaction=True)
HEPARIN = "{ name: 'heparin', unit: 'IU', amount: 1500, note: '' }"


@pytest.fixture
def phones(
    browser_page: BrowserPage, ana: Patient, partner: User, anas_prescription: Prescription
) -> Callable[[], tuple[Shell, Shell]]:
    """Ana's phone with a treatment that runs for an hour, and Rui's, on which the same is opened."""

    def both() -> tuple[Shell, Shell]:
        hers = Shell(browser_page(ana.account, worker=False)).ready()
        begun = hers.begin(started_at=(now_minute() - timedelta(hours=1)).isoformat())
        hers.run("ctx.night.stage = 'running'; await ctx.save(); await ctx.push();")
        his = Shell(browser_page(partner, worker=False)).ready()
        his.run("ctx.open(given); ctx.go('running');", begun)
        his.heading("Treatment is running")
        hers.go("running")
        return hers, his

    return both


def add(shell: Shell, rows: str, row: str) -> None:
    body = f"""const draft = await import('{MODULES}/draft.js');
      ctx.change('Noted', (night) => draft.addRow(night, '{rows}', {row}));"""
    shell.run(body)


def hear(shell: Shell) -> None:
    """What the phone does by itself every twenty seconds."""
    shell.run(f"const outbox = await import('{MODULES}/outbox.js'); await ctx.push(); await outbox.listen(ctx.night);")


def write(shell: Shell, **values: Any) -> None:
    shell.run("ctx.change('Written', (night) => Object.assign(night.doc, given));", values)


def test_heparin_given_by_one_is_on_the_others_screen_with_who_gave_it(
    phones: Callable[[], tuple[Shell, Shell]],
) -> None:
    hers, his = phones()
    add(his, "medicines", HEPARIN)
    his.run("await ctx.push();")
    row = hers.page.locator("#screen .big", has_text="heparin")
    expect(row).to_contain_text("1500 IU", timeout=30_000)
    expect(row).to_contain_text("written by Rui, who helps Ana")


def test_rows_of_both_stand_in_the_record_and_on_both_phones(phones: Callable[[], tuple[Shell, Shell]]) -> None:
    hers, his = phones()
    add(hers, "readings", "{ venous_mmhg: 140 }")
    add(hers, "events", "{ kind: 'cramp', note: '', systolic: null, diastolic: null, saline_l: null }")
    add(his, "readings", "{ venous_mmhg: 120 }")
    add(his, "medicines", HEPARIN)
    for phone in (hers, his, hers, his):
        hear(phone)
    record = TreatmentRecord.objects.get()
    assert sorted(row.venous_mmhg for row in record.reading_set.all()) == [120, 140]
    assert [row.kind for row in record.event_set.all()] == ["cramp"]
    assert [row.amount for row in record.medicine_set.all()] == [1500]
    for phone in (hers, his):
        doc = phone.night()["doc"]
        assert [len(doc[name]) for name in ("readings", "events", "medicines")] == [2, 1, 1]
        assert phone.night()["questions"] == []


def test_a_phone_that_was_long_away_takes_nothing_back(phones: Callable[[], tuple[Shell, Shell]]) -> None:
    hers, his = phones()
    his.run(f"await import('{MODULES}/draft.js');")
    his.offline()
    add(his, "events", "{ kind: 'dizzy', note: 'he saw it', systolic: null, diastolic: null, saline_l: null }")
    for _ in range(3):
        add(hers, "readings", "{ venous_mmhg: 150 }")
    hear(hers)
    his.offline(False)
    his.run("await ctx.push();")
    assert wait_for(lambda: TreatmentRecord.objects.get().event_set.exists())
    record = TreatmentRecord.objects.get()
    assert (record.reading_set.count(), record.event_set.get().note) == (3, "he saw it")
    assert len(his.night()["doc"]["readings"]) == 3


def test_one_field_with_two_answers_is_asked_in_words_and_mine_drops_nothing_of_his(
    phones: Callable[[], tuple[Shell, Shell]],
) -> None:
    hers, his = phones()
    write(his, pre_weight_kg=73.1)
    add(his, "medicines", HEPARIN)
    hear(his)
    write(hers, pre_weight_kg=72.4)
    hers.run("await ctx.push();")
    expect(hers.page.locator("a.notice", has_text="Two phones wrote different answers")).to_be_visible()
    hers.go("queue")
    expect(hers.page.locator("#screen")).not_to_contain_text("The unit has everything")
    hers.press("Answer 1 question")
    hers.heading("Two phones, two answers")
    card = hers.page.locator("section.card", has_text="Weight before")
    expect(card).to_contain_text("On this phone")
    expect(card).to_contain_text("Rui, who helps Ana, ")
    wide = hers.page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    assert wide <= 0, "readable at 360 px"
    card.get_by_role("button", name="72.4 kg").click()
    expect(hers.page.locator("#screen")).to_contain_text("both phones say the same")
    hers.run("await ctx.push();")
    record = TreatmentRecord.objects.get()
    assert (record.pre_weight_kg, record.medicine_set.get().amount) == (72.4, 1500)
    hers.press("Undo: Answered: Weight before")
    expect(hers.page.locator("section.card", has_text="Weight before")).to_be_visible()
    hear(his)
    assert his.night()["doc"]["pre_weight_kg"] in (72.4, 73.1)


def test_ended_and_handed_over_by_one_is_so_for_the_other(phones: Callable[[], tuple[Shell, Shell]]) -> None:
    hers, his = phones()
    write(his, ended_at=now_minute().isoformat())
    hear(his)
    hear(hers)
    expect(hers.page.locator("#screen")).to_contain_text("The treatment has ended at")
    expect(hers.page.locator("#dock .arc")).to_contain_text("Finish")
    his.run("await ctx.handOver();")
    hear(hers)
    expect(hers.page.locator("#screen")).to_contain_text("handed over by Rui, who helps Ana")
    assert hers.night()["stage"] == "handed"
    hers.go("queue")
    expect(hers.page.locator("#screen")).to_contain_text("The unit has everything that was entered on this phone.")
