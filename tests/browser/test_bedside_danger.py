"""“Something is wrong”: on every screen, without a network; the unit's card, a call; noted by its own touch."""

from __future__ import annotations

import logging
import statistics
from datetime import datetime, timedelta

import pytest
from playwright.sync_api import expect

from sessions.facts.choices import EventKind
from sessions.models import Patient
from sessions.texts.cards import BY_KIND, CARDS
from sessions.texts.flows import FLOWS
from tests.browser.running_phone import MakePhone, Phone, at_bedside, prescribed, rope_ladder

__all__ = ["at_bedside"]

pytestmark = pytest.mark.django_db(transaction=True)

logger = logging.getLogger(__name__)
SCREENS = (
    "tonight", "checks", "weigh", "access", "needles", "running", "reading", "event", "flow", "medicine", "finish",
    "summary", "nights", "trends", "settings", "queue", "more",
)  # fmt: skip
SLOWER = 4
AT_ONCE_MS = 100
OPEN_AND_PAINT = """async ([from, button, heading]) => {
  location.hash = from;
  await new Promise((go) => setTimeout(go, 400));
  const target = document.querySelector(button);
  const began = performance.now();
  target.click();
  const there = () => document.querySelector("#screen h1").textContent.startsWith(heading);
  while (!there()) await new Promise((go) => setTimeout(go, 0));
  await new Promise((painted) => requestAnimationFrame(() => setTimeout(painted, 0)));
  return performance.now() - began;
}"""


@pytest.fixture
def phone(at_bedside: MakePhone, ana: Patient) -> Phone:
    prescribed(ana)
    rope_ladder(ana)
    return at_bedside(ana.account)


def test_it_lies_in_the_same_place_on_every_screen(phone: Phone) -> None:
    phone.running()
    places = {}
    for name in SCREENS:
        phone.go(name)
        box = phone.page.locator("#wrong").bounding_box()
        assert box is not None, name
        assert box["height"] >= 56, name
        places[name] = (round(box["x"]), round(box["y"]))
    assert len(set(places.values())) == 1, places


def test_it_opens_within_a_tenth_of_a_second_offline_on_a_slow_phone(phone: Phone) -> None:
    """`pytest --log-cli-level=INFO` tells the times, from the touch to after the paint."""
    phone.running()
    phone.watched.context.set_offline(True)
    tools = phone.watched.context.new_cdp_session(phone.page)
    tools.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
    took: dict[str, list[float]] = {"list": [], "card": []}
    for _ in range(7):
        for from_screen in ("#/running", "#/reading"):
            given = [from_screen, "#wrong", "Something is wrong"]
            took["list"].append(phone.page.evaluate(OPEN_AND_PAINT, given))
            given = ["#/danger", "[data-k='needle_out']", "Needle out"]
            took["card"].append(phone.page.evaluate(OPEN_AND_PAINT, given))
    tools.send("Emulation.setCPUThrottlingRate", {"rate": 1})
    for name, times in took.items():
        told = (name, min(times), statistics.median(times), max(times), SLOWER)
        logger.info("%s: %.0f ms at best, median %.0f, longest %.0f, at %d times slower", *told)
        # The best of many is what the phone needs; the rest is what the machine does beside.
        assert min(times) < AT_ONCE_MS, took


LINES_IN_SIGHT = """(parts) => {
  const top = document.getElementById("head").getBoundingClientRect();
  const low = Math.min(innerHeight, document.getElementById("dock").getBoundingClientRect().top);
  const high = Math.max(0, getComputedStyle(document.getElementById("head")).position === "sticky" ? top.bottom : 0);
  const seen = new Set();
  for (const part of document.querySelectorAll(parts)) {
    const range = document.createRange();
    range.selectNodeContents(part);
    for (const { top, bottom, width } of range.getClientRects())
      if (width > 1 && top >= high - 1 && bottom <= low + 1) seen.add(Math.round(bottom / 8));
  }
  return seen.size;
}"""
ON_CARD = ".now-step, .then-step, .card-part, .signs"
VOICES = """(voices) => {
  window.said = window.said ?? [];
  const synth = {
    getVoices: () => voices, speak: (each) => window.said.push(each.text), cancel: () => {}, addEventListener: () => {},
  };
  Object.defineProperty(window, "speechSynthesis", { value: synth, configurable: true });
  window.SpeechSynthesisUtterance = function (text) { this.text = text; };
}"""
HAPPENED = "This happened: note it"
CARD_BUTTONS = ".alarms button:not([data-k='clotting'])"
"""Blood that clots has steps, and no card."""
NOT_SO = "It did not happen: take it back"


def test_the_units_card_is_shown_with_a_call_and_only_its_own_touch_notes_it(phone: Phone) -> None:
    phone.running()
    phone.watched.context.set_offline(True)
    phone.page.locator("#wrong").click()
    cards = phone.run("app", "return m.ctx.kit.cards;")
    assert phone.page.locator(CARD_BUTTONS).all_inner_texts() == [card["title"] for card in cards]
    assert phone.doc()["events"] == []
    phone.tap("Needle out, or blood on the sheet")
    expect(phone.page.locator(".card-lines li")).to_have_text(cards[0]["now"])
    assert phone.page.locator("a[href^='tel:']").first.is_visible()
    addresses = {each.get_attribute("href") for each in phone.page.locator("a[href^='tel:']").all()}
    assert addresses == {"tel:112", "tel:01632960100"}
    phone.page.wait_for_timeout(200)
    assert phone.doc()["events"] == []  # read, and nothing more
    phone.tap(HAPPENED, exact=False)
    expect(phone.page.get_by_text("Noted in the record at", exact=False)).to_be_visible()
    [event] = phone.doc()["events"]
    assert event["kind"] == EventKind.NEEDLE_DISLODGED
    assert datetime.fromisoformat(event["at"]) - phone.now < timedelta(minutes=1)
    phone.go("danger")
    phone.tap("Needle out, or blood on the sheet")  # looked at again: what is noted stands there, not the touch for it
    expect(phone.page.get_by_text("Noted in the record at", exact=False)).to_be_visible()
    expect(phone.page.locator("[data-k='happened']")).to_have_count(0)
    assert len(phone.doc()["events"]) == 1
    phone.tap("Write what happened")
    phone.page.get_by_label("What happened, what was done").fill("Turned over in my sleep.")
    phone.page.get_by_label("What happened, what was done").blur()
    assert phone.doc()["events"][0]["note"] == "Turned over in my sleep."


def test_a_touch_by_mistake_is_undone(phone: Phone) -> None:
    phone.running()
    phone.go("danger", "air")
    phone.tap(HAPPENED, exact=False)
    expect(phone.page.locator("#undo")).to_contain_text("Noted")
    phone.tap("Undo", exact=False)
    phone.page.wait_for_timeout(200)
    assert phone.doc()["events"] == []
    expect(phone.page.locator(".card-lines li").first).to_be_visible()  # the card stays
    phone.tap(HAPPENED, exact=False)
    phone.go("running")
    phone.go("danger", "air")
    phone.tap(NOT_SO)  # also long after the undo bar is gone
    assert phone.doc()["events"] == []
    expect(phone.page.locator("[data-k='happened']")).to_be_visible()


def test_power_and_water_share_a_card_and_the_record_tells_them_apart(phone: Phone) -> None:
    phone.running()
    phone.go("danger", "power_water")
    expect(phone.page.get_by_text("This happened: note it")).to_have_count(0)
    phone.tap("Happened: Water failure")
    assert [event["kind"] for event in phone.doc()["events"]] == [EventKind.WATER_FAILURE]
    phone.tap("What to do now, step by step")
    expect(phone.page.locator(".step-words")).to_have_text("Is the water back?")


@pytest.mark.parametrize(
    ("kind", "noted", "first"),
    [
        ("needle_out", EventKind.NEEDLE_DISLODGED, "112"),
        ("air", EventKind.AIR, "112"),
        ("line_apart", EventKind.LINE_APART, "112"),
        ("blood_colour", EventKind.BLOOD_COLOUR, "112"),
        ("bleeding", EventKind.BLEEDING, "112"),
        ("no_answer", EventKind.NO_ANSWER, "112"),
        ("heart", EventKind.HEART, "112"),
        ("allergy", EventKind.ALLERGY, "112"),
        ("swelling", EventKind.INFILTRATION, "01632 960100"),
        ("fever", EventKind.FEVER_CHILLS, "01632 960100"),
        ("chlorine", EventKind.CHLORINE, "01632 960100"),
        ("machine_alarm", EventKind.MACHINE_ALARM, "01632 960100"),
    ],
)
def test_each_cause_has_its_event_and_its_call_under_the_thumb(
    phone: Phone, kind: str, noted: EventKind, first: str
) -> None:
    phone.running()
    phone.go("danger", kind)
    expect(phone.page.locator("#dock a").first).to_contain_text(first)
    phone.tap(HAPPENED, exact=False)
    expect(phone.page.get_by_text("Noted in the record at", exact=False)).to_be_visible()
    assert [event["kind"] for event in phone.doc()["events"]] == [noted]


def test_without_a_night_the_card_is_shown_all_the_same_and_a_record_offered(phone: Phone) -> None:
    phone.watched.open("/tonight/")
    expect(phone.page.get_by_role("heading", name="Tonight", exact=True)).to_be_visible()
    expect(phone.page.get_by_text("Ana Verdemar").first).to_be_visible()
    assert phone.run("app", "return m.ctx.jotted();") == []  # the module is fetched before the network goes
    phone.watched.context.set_offline(True)
    phone.page.locator("#wrong").click()
    phone.tap("Allergic reaction")
    expect(phone.page.locator(".card-lines li").first).to_be_visible()
    assert phone.run("app", "return m.ctx.jotted();") == []
    for taken_back in ("Undo", NOT_SO):
        phone.tap(HAPPENED, exact=False)
        expect(phone.page.get_by_text("It goes into the record that is begun next.", exact=False)).to_be_visible()
        phone.tap(taken_back, exact=False)
        assert phone.run("app", "return m.ctx.jotted();") == []
    phone.tap(HAPPENED, exact=False)
    phone.go("tonight")  # whoever begins a treatment reads what goes into its record
    expect(
        phone.page.get_by_text(": Allergic reaction. It goes into the record that is begun next.", exact=False)
    ).to_be_visible()
    phone.go("danger", "allergy")
    assert phone.night() is None
    phone.tap("Begin a record with it now")
    assert [event["kind"] for event in phone.doc()["events"]] == [EventKind.ALLERGY]
    expect(phone.page.get_by_text("Noted in the record at", exact=False)).to_be_visible()


def test_a_locked_phone_shows_the_cards_and_keeps_the_note_for_the_record(phone: Phone) -> None:
    phone.running()
    phone.run("vault", "await m.setPin('2580');")
    phone.run("app", "await m.ctx.lock();")
    expect(phone.page.locator("#wrong")).to_be_visible()
    phone.page.locator("#wrong").click()
    phone.tap("Air in the line")
    expect(phone.page.locator("#dock a[href='tel:112']")).to_be_visible()
    phone.tap(HAPPENED, exact=False)
    assert phone.night() is None
    phone.run("vault", "await m.unlock('2580');")
    phone.run("app", "await m.ctx.enter();")
    assert [event["kind"] for event in phone.doc()["events"]] == [EventKind.AIR]


def test_a_phone_without_the_units_cards_has_those_of_the_program(phone: Phone) -> None:
    phone.running()
    phone.run("app", "m.ctx.kit.cards = []; m.ctx.kit.unit = null;")
    phone.watched.context.set_offline(True)
    phone.go("danger")
    expect(phone.page.locator(CARD_BUTTONS)).to_have_count(len(CARDS))
    expect(phone.page.get_by_text("Call your local emergency number.", exact=False)).to_be_visible()
    for card in CARDS:
        phone.go("danger", card.kind)
        expect(phone.page.locator("h1")).to_have_text(str(card.title))
        expect(phone.page.locator(".card-lines li")).to_have_text([str(line) for line in card.now])
        expect(phone.page.get_by_text("Your unit has not checked this text.")).to_be_visible()
    phone.go("danger", "air")
    phone.tap(HAPPENED, exact=False)
    assert [event["kind"] for event in phone.doc()["events"]] == [EventKind.AIR]


def test_one_step_at_a_time_in_large_letters(phone: Phone) -> None:
    phone.running()
    phone.watched.context.set_offline(True)
    phone.go("danger", "air")
    air = BY_KIND["air"]
    step = phone.page.locator(".now-step")
    for number, words in enumerate(air.now, 1):
        expect(step).to_have_text(f"{number} of {len(air.now)} {words}")
        if number < len(air.now):
            phone.tap("Next step")
    expect(phone.page.get_by_role("button", name="Next step")).to_have_count(0)
    phone.tap("Step before")
    expect(step).to_contain_text(str(air.now[-2]))
    phone.go("running")
    phone.go("danger", "air")  # the same card, gone to again
    expect(step).to_have_text(f"1 of {len(air.now)} {air.now[0]}")
    phone.go("danger", "faint")
    expect(step).to_contain_text("1 of")
    phone.tap("The person does not answer")  # the card to open instead or next
    expect(phone.page.locator("h1")).to_have_text("The person does not answer")
    assert phone.doc()["events"] == []


def test_with_letters_twice_as_large_three_lines_are_in_sight(phone: Phone) -> None:
    phone.running()
    phone.page.evaluate("document.documentElement.style.fontSize = '200%'")
    seen = {}
    on_its_side = f"#screen h1, {ON_CARD}"  # what it is, what to do now and what comes then: no more goes there
    for width, height, parts in ((360, 740, ON_CARD), (320, 568, ON_CARD), (740, 360, on_its_side)):
        phone.page.set_viewport_size({"width": width, "height": height})
        for card in CARDS:
            if card.for_whom != "catheter":
                phone.go("danger", card.kind)
                seen[width, card.kind] = phone.page.evaluate(LINES_IN_SIGHT, parts)
    assert {place: lines for place, lines in seen.items() if lines < 3} == {}


def test_it_is_read_aloud_by_a_voice_of_the_phone_alone(phone: Phone) -> None:
    phone.running()
    phone.go("danger", "air")
    expect(phone.page.get_by_role("button", name="Read aloud")).to_have_count(0)  # no voice on this machine
    phone.page.evaluate(VOICES, [{"lang": "en-GB", "localService": False}, {"lang": "fr-FR", "localService": True}])
    phone.go("danger", "faint")
    expect(phone.page.get_by_role("button", name="Read aloud")).to_have_count(0)
    phone.page.evaluate(VOICES, [{"lang": "en-GB", "localService": True}])
    phone.go("danger", "air")
    phone.tap("Read aloud")
    phone.tap("Next step")
    assert phone.page.evaluate("window.said") == [str(line) for line in BY_KIND["air"].now[:2]]
    phone.tap("Stop reading aloud")
    phone.tap("Next step")
    assert len(phone.page.evaluate("window.said")) == 2


def test_what_is_felt_before_the_treatment_runs_is_noted_with_its_pressure(phone: Phone) -> None:
    phone.ready()
    phone.go("checks")
    phone.page.locator("#wrong").click()
    phone.page.locator("[data-k='to-event']").click()
    phone.page.locator("[data-k='hypotension']").click()
    expect(phone.page.locator("html[data-screen='event']")).to_have_count(1)  # its steps are those of one that runs
    phone.tap("Enter the blood pressure")
    for number in ("84", "46"):
        for key in (*number, "Take it"):
            phone.page.locator("dialog.pad").get_by_role("button", name=key, exact=True).click()
    expect(phone.page.locator("[data-k='measure']")).to_contain_text("84/46 mmHg")
    expect(phone.page.locator("#screen")).to_contain_text("84 mmHg is below 90 mmHg")
    [event] = phone.doc()["events"]
    assert (event["kind"], event["systolic"], event["diastolic"]) == ("hypotension", 84, 46)
    phone.tap("Done")
    expect(phone.page.locator("html[data-screen='danger']")).to_have_count(1)


def test_the_steps_of_trouble_are_read_aloud_as_they_come(phone: Phone) -> None:
    phone.running()
    phone.page.evaluate(VOICES, [{"lang": "en-GB", "localService": True}])
    phone.go("event")
    phone.page.locator("[data-k='water_failure']").click()
    phone.tap("Read aloud")
    phone.page.locator("[data-k='water_off']").click()
    steps = [f"{step.words} {step.hint}".rstrip() for step in FLOWS[EventKind.WATER_FAILURE][:2]]
    assert phone.page.evaluate("window.said") == steps
    phone.page.evaluate("history.back()")
    expect(phone.page.locator("[data-k='water_off']")).to_be_visible()
    assert phone.page.evaluate("window.said") == [*steps, steps[0]]
    phone.tap("Write a note, change the time")
    phone.page.evaluate("history.back()")
    expect(phone.page.get_by_role("button", name="Read aloud", exact=True)).to_be_visible()


def test_what_to_say_has_the_address_that_the_owner_wrote(phone: Phone) -> None:
    phone.running()
    phone.go("danger", "air")
    expect(phone.page.locator(".say")).to_contain_text("The address is: …")
    phone.tap("Write down address and door")
    phone.page.get_by_label("Address, with floor and what to ring").fill("4 Mill Lane, second floor")
    phone.page.get_by_label("How the door opens, and who has a key").fill("Key with Mrs Dunn")
    phone.page.wait_for_timeout(200)
    phone.run("vault", "await m.setPin('2580');")
    phone.run("app", "await m.ctx.lock();")
    phone.go("danger", "air")
    expect(phone.page.locator(".say")).to_contain_text("The address is: 4 Mill Lane, second floor")
    expect(phone.page.locator(".say")).to_contain_text("The door: Key with Mrs Dunn")
    phone.run("vault", "await m.wipe();")
    assert phone.run("vault", "return m.getOpen('home');") is None


UNCHECKED = "Your unit has not checked this text."


def test_what_nobody_has_signed_says_so_small_and_hides_nothing(phone: Phone) -> None:
    phone.running()
    for screen in (("danger", "faint"), ("checks", "setup", "hands"), ("checks", "setup", "all")):
        phone.go(*screen)
        expect(phone.page.get_by_text(UNCHECKED)).to_be_visible()
    phone.run(
        "app",
        """
      for (const card of m.ctx.kit.cards) card.checked = true;
      m.ctx.kit.checklist.checked = true;
    """,
    )
    for screen in (("danger", "faint"), ("checks", "setup", "hands")):
        phone.go("running")
        phone.go(*screen)
        expect(phone.page.get_by_text(UNCHECKED)).to_have_count(0)


def test_a_needle_that_came_out_stays_in_sight_and_its_end_gives_no_blood_back(phone: Phone) -> None:
    phone.running()
    phone.go("danger", "needle_out")
    phone.tap(HAPPENED, exact=False)
    screen = phone.page.locator("#screen")
    phone.go("helper")
    expect(screen).to_contain_text("Needle came out since")
    phone.go("running")
    expect(screen).to_contain_text("Needle came out since")
    phone.tap("Go on with the steps")
    expect(phone.page.locator(".now-step")).to_contain_text(f"1 of 4 {BY_KIND['needle_out'].now[0]}")
    phone.go("finish")
    expect(screen).to_contain_text("Do not give the blood back.")
    expect(phone.page.locator(".step-words")).to_have_text("Stop the pump, clamp both lines and both sides of you")
    for _ in range(3):
        expect(screen).not_to_contain_text("Give the blood back until")
        expect(phone.page.locator(".step-words")).to_be_in_viewport(ratio=1)
        phone.tap("Done, next")
    phone.tap("End now")
    assert phone.doc()["blood_return"] == "none"
    assert phone.doc()["steps"][-1]["words"] == "⟦ended_without⟧"
    assert phone.page.evaluate("scrollY") == 0


def test_a_needle_that_is_called_over_is_told_no_more(phone: Phone) -> None:
    phone.running(events=[])
    phone.go("danger", "needle_out")
    phone.tap(HAPPENED, exact=False)
    phone.go("running")
    phone.tap("It is over")
    screen = phone.page.locator("#screen")
    expect(screen).to_contain_text("Has the unit said that you may go on?")
    expect(screen.locator("a[href^='tel:']")).to_have_count(2)
    assert phone.doc()["events"][0]["outcome"] == ""  # one touch says nothing yet
    phone.tap("The unit said: go on")
    expect(phone.page.locator("#screen")).not_to_contain_text("not at its end")
    [event] = phone.doc()["events"]
    assert (event["outcome"], event["called"], event["ended_at"] >= event["at"]) == ("went_on", "unit", True)
    phone.go("finish")
    expect(phone.page.locator("#screen")).not_to_contain_text("Do not give the blood back.")
    phone.go("helper")
    expect(phone.page.locator("#screen")).to_contain_text("the treatment went on")


def test_a_clotted_line_is_found_there_and_the_units_number_stands_at_the_top(phone: Phone) -> None:
    phone.running(events=[])
    phone.go("danger")
    call = phone.page.locator("#screen a[href^='tel:']")
    expect(call).to_have_count(1)
    expect(call).to_be_in_viewport(ratio=1)
    phone.page.locator("[data-k='clotting']").click()
    expect(phone.page.locator(".step-words")).to_have_text("Stop the blood pump. Clamp both lines.")
    for words in ("Done, next", "Done, next", "I did not reach the unit"):
        phone.tap(words)
    [event] = phone.doc()["events"]
    assert (event["kind"], event["called"], event["outcome"]) == (EventKind.CLOTTING, "not_reached", "")
    phone.go("running")  # nothing was ended, and nothing says so
    expect(phone.page.locator("#screen")).to_contain_text("not at its end")
    expect(phone.page.locator("#screen")).not_to_contain_text("the treatment was ended")


def test_what_else_is_told_stands_below_the_steps(phone: Phone) -> None:
    phone.running()
    phone.run("app", "m.ctx.night.trouble = { status: 400, said: 'No.', tries: 1, since: '', at: '', next: null };")
    for place in (("danger", "needle_out"), ("running",)):
        phone.go(*place)
        order = phone.page.locator("#screen > *").evaluate_all("(all) => all.map((each) => each.className)")
        assert "notice care" in order
        first = next(index for index, names in enumerate(order) if names in ("steps", "live"))
        assert (order.index("notice care") > first) == (place[0] == "danger"), order
