"""Trouble gone through step by step: low pressure, swelling, clots, leaks, alarms, power, water and chlorine."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from playwright.sync_api import Locator, expect

from sessions.models import AccessSite, Patient
from sessions.services.document import TreatmentDocument
from sessions.texts import flows
from sessions.texts.flows import FLOWS, OVER
from tests.browser.running_phone import MakePhone, Phone, at_bedside, prescribed, rope_ladder

__all__ = ["at_bedside"]

pytestmark = pytest.mark.django_db(transaction=True)

SIGNS = {".": "Decimal sign"}
UNIT_NUMBER, EMERGENCY_NUMBER = "tel:01632960100", "tel:112"


class Trouble(Phone):
    """A treatment that runs with two needles in, and the steps of what went wrong."""

    def begun(self, sites: list[Any], minutes: int = 95, **more: Any) -> Trouble:
        used = [
            {"site": site.pk, "use": site.use, "attempts": 1, "bleeding_minutes": None, "note": "", "flash": True}
            for site in (sites[0], sites[3])
        ]
        self.running(minutes, **({"planned_uf_l": 2.4, "sites": used} | more))
        return self

    def step(self) -> Locator:
        return self.page.locator(".step-words")

    def told(self) -> str:
        return self.step().inner_text()

    def pad(self, number: str) -> None:
        dialog = self.page.locator("dialog.pad")
        for sign in number:
            dialog.get_by_role("button", name=SIGNS.get(sign, sign), exact=True).click()
        dialog.get_by_role("button", name="Take it", exact=True).click()

    def answer(self, words: str) -> None:
        self.page.locator("#screen, #dock").get_by_role("button", name=words, exact=True).first.click()

    def event(self) -> Any:
        return self.doc()["events"][-1]

    def calls(self) -> set[str]:
        links = self.page.locator("a[href^='tel:']").all()
        return {str(link.get_attribute("href")) for link in links if link.is_visible()}


@pytest.fixture
def phone(at_bedside: MakePhone, ana: Patient) -> Trouble:
    prescribed(ana)
    sites = rope_ladder(ana)
    found = at_bedside(ana.account)
    return Trouble(found.watched).begun(sites)


def accepted(phone: Phone, patient: Patient) -> Any:
    """The document as it would be sent, judged by the server's own rules -> its validated data."""
    body = """const { ctx } = await import("/static/bedside/js/app.js"); return m.documentOf(ctx.night, "open");"""
    context = {"patient": patient, "now": datetime.now(UTC) + timedelta(minutes=1)}
    reader = TreatmentDocument(data=phone.run("draft", body), context=context)
    assert reader.is_valid(), reader.errors
    return reader.validated_data


def later(phone: Phone, minutes: int) -> None:
    """The phone's clock goes on."""
    phone.now += timedelta(minutes=minutes)
    stand = "async (iso) => { (await import('/static/bedside/js/app.js')).ctx.now = () => new Date(iso); }"
    phone.page.evaluate(stand, (phone.now + timedelta(seconds=20)).isoformat())


def at_now(phone: Phone) -> str:
    """The moment at which the phone's clock stands: a touch writes its second."""
    return (phone.now + timedelta(seconds=20)).isoformat().replace("+00:00", ".000Z")


# Low pressure --------------------------------------------------------------------------------------


def down_to_the_plan(phone: Trouble) -> None:
    """From the drop to the question how it goes on; the clock goes on by the way."""
    phone.tap("Blood pressure drop")
    phone.answer("There is no blood")
    later(phone, 1)
    phone.answer("Fluid removal is off")
    phone.answer("Done, next")
    phone.answer("Enter the blood pressure")
    phone.pad("84")
    phone.pad("46")
    phone.answer("I gave saline")
    phone.pad("0.1")
    later(phone, 5)
    phone.answer("Go on now")
    phone.answer("Enter the blood pressure")
    phone.pad("108")
    phone.pad("62")
    phone.answer("I feel better")
    expect(phone.page.locator("#screen")).to_contain_text("84/46 mmHg")  # what is to be said on the telephone
    expect(phone.page.locator("#screen")).to_contain_text("108/62 mmHg")
    phone.answer("I spoke with the unit")
    expect(phone.step()).to_have_text("How does it go on?")


def test_a_low_pressure_is_gone_through_to_its_end_and_the_record_has_its_times(phone: Trouble, ana: Patient) -> None:
    began = at_now(phone)
    down_to_the_plan(phone)
    later(phone, 2)
    phone.answer("Fluid removal is on again")
    event = phone.event()
    assert (event["kind"], event["at"]) == ("hypotension", began)
    minutes = [(datetime.fromisoformat(event[name]) - datetime.fromisoformat(began)) for name in
               ("paused_at", "resumed_at", "ended_at")]  # fmt: skip
    assert minutes == [timedelta(minutes=1), timedelta(minutes=8), timedelta(minutes=8)]
    assert (event["outcome"], event["called"], event["systolic"], event["diastolic"]) == ("went_on", "unit", 84, 46)
    assert event["saline_l"] == 0.1
    [reading] = phone.doc()["readings"]
    assert (reading["systolic"], reading["diastolic"]) == (108, 62)
    stamped = [row["key"] for row in phone.doc()["steps"]]
    assert stamped == [
        f"hypotension_{key}"
        for key in ("look", "uf_off", "flat", "pressure", "saline", "wait", "again", "better", "call", "plan")
    ]
    kept = accepted(phone, ana)["events"][0]
    assert kept["paused_at"] < kept["resumed_at"]
    screen = phone.page.locator("#screen")
    expect(screen).to_contain_text("on again")
    expect(screen).to_contain_text("the treatment went on, the unit was called")
    phone.go("event", "0")
    dock = phone.page.locator("#dock").bounding_box()
    for words in ("Off since: ", "On again: ", "End: "):
        box = phone.page.get_by_role("button", name=re.compile(f"^{words}")).bounding_box()
        assert dock is not None
        assert box is not None
        assert box["y"] + box["height"] <= dock["y"], f"{words} lies under the dock"
    phone.go(*("flow", "hypotension", event["id"]))
    phone.answer("Back to the treatment")
    expect(screen).to_contain_text("Treatment is running")
    phone.page.get_by_role("button", name=re.compile("Low blood pressure")).click()
    phone.answer("dizzy")
    assert phone.event()["note"] == "⟦felt⟧: ⟦dizzy⟧."


def test_nobody_is_asked_whether_a_low_pressure_is_right_and_it_stays_marked(phone: Trouble, ana: Patient) -> None:
    down_to_the_plan(phone)
    assert "events[0].systolic" not in phone.doc()["confirmed"]  # 84 is unusual: the unit sees that nobody was asked
    body = """const { ctx } = await import("/static/bedside/js/app.js"); return m.unusual(ctx.night, ctx.kit, null);"""
    found = phone.run("sum_up", body)
    assert "Systolic pressure: 84 mmHg" in found
    [told] = [words for words in found if words.startswith("Low blood pressure, ")]
    assert ", fluid removal off " in told


def test_the_rest_of_the_fluid_is_worked_out_and_over_the_limit_the_unit_is_asked(phone: Trouble) -> None:
    down_to_the_plan(phone)
    screen = phone.page.locator("#screen")
    expect(screen).to_contain_text("How much is off is not known: read it from the machine.")
    phone.answer("Read the fluid off from the machine")
    phone.pad("0.8")
    # 1.6 L in the 139 minutes that are left are 691 mL/h, at 70 kg 9.9 mL/kg/h: by hand
    expect(screen).to_contain_text("691 mL/h, 9.9 mL/kg/h")
    expect(screen).to_contain_text("That is within your limit of 10 mL/kg/h.")
    later(phone, 40)
    phone.answer("Read the fluid off from the machine")
    phone.pad("0.8")
    # 1.6 L in 99 minutes: 970 mL/h, 13.9 mL/kg/h; at 10 mL/kg/h 1.155 L come off, and 0.45 L stay
    expect(screen).to_contain_text("970 mL/h, 13.9 mL/kg/h")
    expect(screen).to_contain_text("above your limit of 10 mL/kg/h. Do not set it so fast: ask the unit.")
    expect(screen).to_contain_text("At the limit 1.15 L would come off in this time, and 0.45 L would stay")


def test_fluid_by_the_clock_stands_still_while_removal_is_off(phone: Trouble) -> None:
    before = phone.run("course", BY_CLOCK)
    down_to_the_plan(phone)
    phone.answer("It goes on with fluid removal off")
    phone.answer("Back to the treatment")
    later(phone, 30)
    assert phone.run("course", BY_CLOCK) == pytest.approx(before + 2.4 * 1 / 240)  # one minute, then off
    expect(phone.page.locator("#screen")).to_contain_text("Fluid removal is off since")
    phone.answer("Fluid removal is on again")
    later(phone, 24)
    assert phone.run("course", BY_CLOCK) == pytest.approx(before + 2.4 * 25 / 240)


BY_CLOCK = """const { ctx } = await import("/static/bedside/js/app.js");
  return m.fluidSoFar(ctx.night, ctx.kit, ctx.now()).byClock;"""


def test_not_better_leads_to_the_emergency_number_and_that_it_was_called_is_kept(phone: Trouble) -> None:
    phone.tap("Blood pressure drop")
    phone.answer("There is no blood")
    phone.answer("I cannot turn it off")
    expect(phone.step()).to_have_text("Call the emergency number now.")
    expect(phone.page.locator("#screen a.danger")).to_have_attribute("href", EMERGENCY_NUMBER)
    phone.answer("I have not reached the emergency number yet")
    expect(phone.step()).to_have_text("Call the emergency number now.")
    assert phone.event()["called"] == ""
    phone.answer("I called the emergency number")
    phone.answer("The blood was not given back")
    event = phone.event()
    assert (event["called"], event["outcome"]) == ("emergency", "ended")
    expect(phone.page.locator("#dock")).to_contain_text("To the end of the treatment")


def test_blood_seen_opens_the_card_of_a_needle_that_came_out(phone: Trouble) -> None:
    phone.tap("Blood pressure drop")
    phone.answer("There is blood")
    expect(phone.page.locator("h1")).to_have_text(re.compile("Needle out"))
    phone.go("running")
    phone.answer("Go on with the steps")
    expect(phone.step()).to_have_text("Turn the fluid removal (UF) off.")


def test_the_wait_reminds_and_offers_the_next_step(phone: Trouble) -> None:
    phone.page.evaluate("window.shakes = 0; Navigator.prototype.vibrate = () => { window.shakes += 1; return true; };")
    phone.tap("Blood pressure drop")
    phone.answer("There is no blood")
    phone.answer("Fluid removal is off")
    phone.answer("Done, next")
    phone.answer("I cannot measure now")
    phone.answer("I gave no saline")
    expect(phone.page.locator(".countdown")).to_have_text("5:00")
    phone.run("flow_state", LONG_AGO)
    phone.page.evaluate("async () => (await import('/static/bedside/js/app.js')).ctx.redraw()")
    expect(phone.page.locator(".countdown")).to_have_text("Measure the pressure again now")


LONG_AGO = """const { ctx } = await import("/static/bedside/js/app.js");
  const event = ctx.night.doc.events[0];
  m.setStand(ctx.night, event, { step: "wait", since: new Date(ctx.now() - 301_000).toISOString(), past: [] });"""


def test_one_step_back_and_undo_lead_back_and_the_drop_can_be_taken_back(phone: Trouble) -> None:
    phone.tap("Blood pressure drop")
    phone.answer("There is no blood")
    phone.answer("Fluid removal is off")
    phone.page.locator("[data-k='step-back']").click()
    expect(phone.step()).to_have_text("Turn the fluid removal (UF) off.")
    phone.answer("I cannot turn it off")
    phone.page.locator("#undo").get_by_role("button").click()
    expect(phone.step()).to_have_text("Turn the fluid removal (UF) off.")
    phone.answer("Fluid removal is off")
    down_from_flat(phone)
    phone.answer("It did not happen: take it back")
    assert phone.doc()["events"] == []
    expect(phone.page.locator("#screen")).not_to_contain_text("Go on with the steps")


def down_from_flat(phone: Trouble) -> None:
    for words in ("Done, next", "I cannot measure now", "I gave no saline", "Go on now", "I cannot measure now"):
        phone.answer(words)
    for words in ("I feel better", "I spoke with the unit", "It goes on with fluid removal off"):
        phone.answer(words)


def test_steps_that_nobody_signed_say_so(phone: Trouble) -> None:
    phone.tap("Blood pressure drop")
    expect(phone.page.locator("#screen .unchecked")).to_have_text("Your unit has not checked this text.")


# A reading that is low -----------------------------------------------------------------------------


def enter(phone: Trouble, row: str, text: str) -> None:
    name = re.compile(rf"^{re.escape(row)}: (enter|type a number)$")
    phone.page.get_by_role("button", name=name).first.click()
    phone.pad(text)


def test_a_reading_of_78_asks_nothing_and_offers_what_to_do_now(phone: Trouble) -> None:
    phone.go("reading")
    enter(phone, "Systolic pressure", "78")
    expect(phone.page.locator("dialog.pad")).to_have_count(0)  # no question
    main = phone.page.locator("#dock .arc .big")
    expect(main).to_have_text("Low pressure: what to do now")
    enter(phone, "Diastolic pressure", "95")
    refused = phone.page.locator("dialog.pad .problem")
    expect(refused).to_have_text("Diastolic pressure must be below the systolic 78 mmHg; 95 was given.")
    phone.pad("44")
    [reading] = phone.doc()["readings"]
    main.click()
    event = phone.event()
    assert (event["kind"], event["at"]) == ("hypotension", reading["at"])
    phone.answer("There is no blood")
    phone.answer("Fluid removal is off")
    phone.answer("Done, next")
    expect(phone.page.locator("#screen")).to_contain_text("78/44 mmHg. 78 mmHg is below 90 mmHg: a low blood pressure.")
    phone.answer("Done, next")
    assert phone.event()["systolic"] is None  # the reading has it: one pressure is kept once
    phone.go("reading", "0")
    expect(main).to_have_text("Low pressure: what to do now")  # its way is not at its end


def test_the_limit_is_the_units_and_stricter_after_a_high_pressure(phone: Trouble) -> None:
    body = """const { ctx } = await import("/static/bedside/js/app.js");
      return [null, 159, 160].map((pre) => {
        ctx.night.doc.pre_systolic = pre;
        return m.lowLimit(ctx);
      });"""
    assert phone.run("flow_state", body) == [90, 90, 100]


# Swelling -----------------------------------------------------------------------------------------

PUT_IN = """m.ctx.change("Test", (night) => {
    const old = night.doc.sites.findLast((row) => row.use === "arterial");
    const other = m.ctx.kit.access.sites.find((site) => site.use === "arterial" && site.id !== old.site);
    night.doc.sites.push({ ...old, site: other.id, note: "", at: m.ctx.now().toISOString() });
  });"""


def put_in_anew(phone: Trouble) -> list[str]:
    """Go through the sheet of the new needle to its end -> the words of its steps."""
    told = []
    for _ in range(40):
        if phone.page.locator("h1").inner_text() == "All steps done":
            return told
        told.append(phone.told())
        before = phone.page.locator("h1").inner_text()
        choice = phone.page.locator("#screen [data-k='yes'], #screen [data-k='attempts-1'], #screen [data-k='pain-2']")
        target = choice.first if choice.count() else phone.page.locator("#dock .arc .big")
        target.click()
        expect(phone.page.locator("h1")).not_to_have_text(before)
    raise AssertionError("the sheet does not end")


def test_a_swelling_during_the_treatment_leads_to_a_new_needle_cleaned_from_the_start(
    phone: Trouble, ana: Patient
) -> None:
    old, new = (AccessSite.objects.get(access__patient=ana, name=name) for name in ("V low", "V mid"))
    phone.go("event")
    phone.tap("Swelling at a needle")
    expect(phone.page.locator("[data-k='at_venous']")).to_contain_text("V low")
    phone.page.locator("[data-k='at_venous']").click()
    for words in ("Done, next", "Done, next", "None of these", "The unit said: a new needle"):
        phone.answer(words)
    expect(phone.page.locator("#screen")).to_contain_text("Given up")
    phone.go("running")
    expect(phone.page.locator("h1")).to_have_text("The blood pump is stopped")
    phone.answer("Go on with the steps")
    phone.answer("Choose the new place")
    old_place, new_place = (phone.page.locator(".site-row", has_text=name) for name in ("V low", "V mid"))
    expect(old_place).to_contain_text("given up this time")
    old_place.click()
    assert [row["site"] for row in phone.doc()["sites"] if row["use"] == "venous"] == [old.pk]
    new_place.click()
    phone.go("access")  # as after look, feel, listen: the next touch is not for the needle that is in
    expect(phone.page.locator("[data-k='turn-venous']")).to_have_attribute("aria-pressed", "true")
    expect(phone.page.get_by_text("A low was used at the last treatment.")).to_have_count(0)
    phone.go("needles")
    told = put_in_anew(phone)
    assert told[0] == "Clean the skin at the venous place"
    assert not [words for words in told if "arterial needle" in words or "arterial place" in words]
    phone.kill()
    phone.page.locator("#dock .arc .big", has_text="Back to what to do").click()
    phone.answer("The new needle is in")
    later(phone, 6)
    phone.answer("It is not swollen, and the pump runs again")
    event = phone.event()
    assert (event["use"], event["outcome"], event["called"]) == ("venous", "went_on", "unit")
    assert event["paused_at"] < event["resumed_at"]
    rows = {row["site"]: row for row in phone.doc()["sites"] if row["use"] == "venous"}
    assert "⟦given_up⟧" in rows[old.pk]["note"]
    assert (rows[new.pk]["note"], rows[new.pk]["at"] is not None) == ("", True)
    accepted(phone, ana)


TWO_PLACES = """const { ctx } = await import("/static/bedside/js/app.js");
  const held = ctx.night.doc.sites.map((row) => row.site);
  ctx.kit.access.sites = ctx.kit.access.sites.filter((site) => held.includes(site.id));"""


def test_a_swelling_without_another_place_is_ended_by_the_unit_and_the_record_says_so(
    phone: Trouble, ana: Patient
) -> None:
    phone.run("app", TWO_PLACES)
    phone.go("event")
    phone.tap("Swelling at a needle")
    phone.page.locator("[data-k='at_venous']").click()
    for words in ("Done, next", "Done, next", "None of these", "The unit said: a new needle"):
        phone.answer(words)
    expect(phone.page.locator("#screen")).to_contain_text("Every place on this phone was tried")
    expect(phone.page.get_by_role("button", name="Choose the new place")).to_have_count(0)
    phone.answer("No other place is left for a needle")
    expect(phone.step()).to_contain_text("no other place is left")
    assert phone.calls() >= {UNIT_NUMBER, EMERGENCY_NUMBER}
    expect(phone.page.locator("a.danger[href^='tel:']")).to_have_attribute("href", UNIT_NUMBER)
    for words in ("I did not reach the unit", "The blood was not given back"):
        phone.answer(words)
    phone.go("running")
    heading, screen = phone.page.locator("h1"), phone.page.locator("#screen")
    expect(heading).to_have_text("The treatment is over")
    expect(screen).to_contain_text("Swelling at a needle. Blood in the lines: Not given back.")
    expect(screen).not_to_contain_text("h running")
    phone.answer("To the end of the treatment")
    later(phone, 20)
    while phone.step().count():
        expect(phone.step()).not_to_contain_text("Give the blood back")
        phone.answer("Done, next")
    phone.answer("End now")
    doc = phone.doc()
    assert doc["ended_at"][:16] == doc["events"][-1]["ended_at"][:16], "not when the phone came to it"
    assert doc["events"][-1]["note"] == "⟦no_other_place⟧"
    assert (doc["early_reason"], doc["blood_return"]) == ("needle", "none")
    accepted(phone, ana)


def test_what_was_noted_before_it_ran_is_ended_and_can_be_handed_over(phone: Trouble, ana: Patient) -> None:
    phone.run("app", "m.ctx.begin(); m.ctx.jot({ kind: 'cramp' });")
    phone.go("mistake")
    phone.tap("To the end of the treatment")
    expect(phone.page.locator("#screen")).to_contain_text("It never ran.")
    phone.page.locator("[data-k='end-now'], [data-k='bar/End now']").first.click()
    doc = phone.doc()
    assert doc["started_at"] < doc["ended_at"]
    assert (doc["blood_return"], doc["steps"][-1]["words"]) == ("", "⟦ended_before⟧")
    phone.go("summary")
    expect(phone.page.get_by_role("button", name="Hand over to the unit")).to_be_enabled()
    accepted(phone, ana)


def test_a_hand_that_is_cold_or_white_leads_to_the_emergency_number(phone: Trouble) -> None:
    phone.go("event")
    phone.tap("Swelling at a needle")
    phone.page.locator("[data-k='at_arterial']").click()
    for words in ("Done, next", "Done, next", "At least one of these"):
        phone.answer(words)
    expect(phone.page.locator("#screen a.danger")).to_have_attribute("href", EMERGENCY_NUMBER)
    phone.answer("I called the emergency number")
    phone.answer("A part of it was given back")
    doc = phone.doc()
    assert (doc["blood_return"], doc["early_reason"], doc["events"][0]["called"]) == ("part", "needle", "emergency")


# Every way -----------------------------------------------------------------------------------------


ABOVE = "(calls) => Boolean(calls.compareDocumentPosition(document.querySelector('#screen .list')) & 4)"


def way(kind: str, ends: bool) -> list[tuple[flows.FlowStep, flows.Reply | None]]:
    """Steps and answers from the first to the end: the first answer that is no danger, or each that ends it."""
    steps = [step for step in FLOWS[kind] if step.for_whom != "catheter"]
    at, walked = 0, []
    while True:
        step = steps[at]
        asked = step.answers and (ends or step.asks != "place")  # a place is taken, not answered, where it goes on
        answer = min(step.answers, key=lambda each: _against(each, ends)) if asked else None
        walked.append((step, answer))
        then = answer.then if answer else ""
        if then == OVER:
            return walked
        keys = [each.key for each in steps]
        at = keys.index(then) if then in keys else at + 1


def _against(answer: flows.Reply, ends: bool) -> int:
    """What speaks against an answer on the way to this end; 0 for nothing."""
    if ends:
        leads = "ended" in answer.does or answer.then in ("help", "blood")
        return 0 if leads else 4 if "went_on" in answer.does else 3 if "card:" in answer.then else 1 + answer.danger
    return 2 if "ended" in answer.does or answer.then == "blood" else int(answer.danger)


@pytest.mark.parametrize("ends", [False, True], ids=["goes on", "ends"])
@pytest.mark.parametrize("kind", list(FLOWS))
def test_each_way_stands_on_large_steps_with_both_numbers_and_survives_a_killed_page(
    at_bedside: MakePhone, ana: Patient, kind: str, ends: bool
) -> None:
    prescribed(ana)
    sites = rope_ladder(ana)
    phone = Trouble(at_bedside(ana.account, worker=not ends).watched).begun(sites)
    if not ends:
        phone.page.evaluate("() => navigator.serviceWorker.ready")
        phone.kill()
    phone.run("draft", "return null;")  # looked into at the end, without a network
    phone.watched.context.set_offline(True)
    phone.go("event")
    phone.page.locator(f"[data-k='{kind}']").click()
    for step, answer in way(kind, ends):
        if not ends:
            phone.kill()
        expect(phone.step()).to_have_text(str(step.words))
        assert phone.calls() >= {UNIT_NUMBER, EMERGENCY_NUMBER}
        if step.key == "help" or step.key.startswith(
            "call"
        ):  # the numbers of a call stand above what is answered of it
            above = phone.page.locator("#screen .calls").evaluate(ABOVE)
            assert above, step.key
        assert phone.too_small() == []
        assert phone.overflows() <= 0
        take(phone, step, answer)
    event = phone.event()
    assert event["outcome"] == ("ended" if ends else "went_on")
    measured = phone.page.locator("#screen .notice", has_text="Measured at")
    assert measured.count() == 0  # nothing was measured in it
    assert event["ended_at"] >= event["at"]
    kept = [row["key"] for row in phone.doc()["steps"]]
    assert kept == [flows.key_of(kind, step.key) for step, _answer in way(kind, ends)]
    accepted(phone, ana)


def take(phone: Trouble, step: flows.FlowStep, answer: flows.Reply | None) -> None:
    """Touch what a person would touch on a step."""
    if answer:
        phone.page.locator(f"[data-k='{answer.code}']").click()
    elif step.asks == "place":
        phone.run("app", PUT_IN)
        phone.answer("The new needle is in")
    elif step.asks in ("pressure", "again"):
        phone.answer("I cannot measure now")
    elif step.asks == "wait":
        phone.answer("Go on now")
    else:
        phone.answer("Done, next")
