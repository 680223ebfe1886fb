"""A treatment gone through for practice: marked on every screen, never sent, thrown away at the end."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from playwright.sync_api import Request, expect

from sessions.models import Patient, Training, TreatmentRecord
from tests.browser.conftest import BrowserPage
from tests.browser.evening import Evening, wait_for
from tests.browser.running_phone import now_minute, prescribed, rope_ladder

pytestmark = pytest.mark.django_db(transaction=True)
SCREENS = (
    "tonight", "checks", "weigh", "access", "needles", "running", "reading", "event", "medicine", "finish", "summary",
    "more", "settings", "danger", "danger/needle_out", "storage", "queue", "helper", "surroundings", "trends",
    "nottonight", "messages", "changes", "due", "surroundings/count",
)  # fmt: skip
AT_THE_BLOOD = """const { ctx } = await import("/static/bedside/js/app.js");
  m.setStand(ctx.night, ctx.night.doc.events.at(-1), { step: "blood", since: ctx.now().toISOString(), past: ["look"] });
  ctx.redraw();"""
COVERED_CALLS = """() => [...document.querySelectorAll("#screen .calls a")]
  .map((each) => each.getBoundingClientRect().bottom - document.querySelector("#dock").getBoundingClientRect().top)
  .filter((below) => below > 0)"""
TO_UNIT = {"nottonight", "messages", "changes", "due", "surroundings", "surroundings/count"}
"""Screens that tell the unit something beside the record."""
SAYS_SO = {"settings", "queue"}
"""Screens of which a part is not practice, or another than else."""
MARK = "Practice. Nothing is sent; a call is a real call."


@pytest.fixture
def phone(browser_page: BrowserPage, ana: Patient) -> Evening:
    """In training: a prescription and an access, no treatment yet but the two of the unit."""
    prescribed(ana)
    rope_ladder(ana)
    return Evening(browser_page(ana.account, worker=False))


def begun(phone: Evening) -> Evening:
    phone.open()
    phone.go("more")
    phone.page.locator("[data-k='practise']").click()
    expect(phone.page.locator("html[data-screen='checks']")).to_have_count(1)
    return phone


def numbers_stay_in_sight_in_a_low_window(phone: Evening) -> None:
    """On the step with the most answers neither the dock nor the mark hides a number, and the mark is still there."""
    usual = phone.page.viewport_size
    assert usual is not None
    phone.page.set_viewport_size({"width": 320, "height": 568})
    phone.run("flow_state", AT_THE_BLOOD)
    expect(phone.page.locator(".step-words")).to_have_text("What became of the blood in the lines?")
    expect(phone.page.locator("#screen .calls a")).to_have_count(2)
    assert phone.page.evaluate(COVERED_CALLS) == []
    expect(phone.page.locator("#screen .practice")).to_have_text(MARK)
    phone.page.set_viewport_size(usual)
    expect(phone.page.locator("#dock .practice")).to_have_text(MARK)


def test_a_whole_practice_is_marked_everywhere_never_sent_and_thrown_away(phone: Evening, ana: Patient) -> None:
    before = TreatmentRecord.with_mistaken.count()
    sent: list[str] = []

    def note(request: Request) -> None:
        if request.method != "GET" and re.search("/treatments/|/language/", request.url):
            sent.append(request.url)

    phone.page.on("request", note)
    begun(phone)
    phone.pass_checks()
    phone.weigh()
    start, end = now_minute() - timedelta(minutes=240), now_minute()
    body = """const { ctx } = m;
      ctx.change("Begun", (night) => { night.doc.started_at = given; night.stage = "running"; });
      await ctx.push();"""
    phone.run("app", body, start.isoformat())
    phone.go("reading")
    phone.page.get_by_role("button", name="Systolic pressure: type a number").or_(
        phone.page.get_by_role("button", name="Systolic pressure: enter")
    ).first.click()
    phone.pads("84")
    phone.tap("Low pressure: what to do now")
    expect(phone.page.locator("html[data-screen='flow']")).to_have_count(1)
    expect(phone.page.locator("#dock .practice")).to_have_text(MARK)
    numbers_stay_in_sight_in_a_low_window(phone)
    phone.run(
        "app", "m.ctx.night.doc.ended_at = given; m.ctx.night.stage = 'after'; await m.ctx.save();", end.isoformat()
    )
    for place in SCREENS:
        phone.go(*place.split("/"))
        expect(phone.page.locator("#dock .practice")).to_have_text(MARK)
        assert phone.page.title().startswith("Practice – ")
        told = phone.screen().get_by_text("You are practising", exact=False)
        expect(told).to_have_count(1 if place in TO_UNIT | SAYS_SO else 0)
    phone.go("settings")
    for language in ("Español", "English"):
        phone.tap(language)
        expect(phone.page.locator("html")).to_have_attribute("lang", {"Español": "es", "English": "en"}[language])
    phone.kill()
    expect(phone.page.locator("#dock .practice")).to_have_text(MARK)
    phone.run("app", "await m.ctx.push();")
    phone.go("summary")
    expect(phone.page.get_by_role("button", name="Hand over to the unit")).to_have_count(0)
    phone.page.locator("[data-k='practised']").click()
    expect(phone.screen()).to_contain_text("Nothing else of it is told.")
    assert wait_for(lambda: Training.objects.filter(patient=ana).exists())
    assert Training.objects.get(patient=ana).topic == Training.PRACTICE
    phone.touch_main("End of the practice: throw it away")
    expect(phone.page.locator("html[data-screen='tonight']")).to_have_count(1)
    expect(phone.page.locator("#dock .practice")).to_have_count(0)
    assert sent == []
    assert TreatmentRecord.with_mistaken.count() == before
    assert phone.run("vault", "return (await m.all('nights')).length;") == 0


def test_it_is_thrown_away_from_home_and_comes_back_by_undo(phone: Evening) -> None:
    begun(phone)
    phone.go("tonight")
    expect(phone.screen()).to_contain_text("A practice is under way. It is no treatment")
    expect(phone.page.get_by_role("button", name="Begun by mistake")).to_have_count(0)
    phone.page.locator("[data-k='throw-away']").click()
    expect(phone.main()).to_contain_text("Begin")
    phone.tap("Undo", exact=False)
    expect(phone.main()).to_contain_text("Go on practising")


def test_what_really_happened_does_not_go_into_a_practice(phone: Evening) -> None:
    phone.open()
    phone.run("app", "m.ctx.jot({ kind: 'cramp' });")
    begun(phone)
    assert phone.doc()["events"] == []
    phone.go("tonight")
    phone.page.locator("[data-k='throw-away']").click()
    phone.run("app", "m.ctx.begin();")
    assert [event["kind"] for event in phone.doc()["events"]] == ["cramp"]
