"""The access and the needles: sites on the drawn limb, the run sheet step by step, and needles that do not work."""

from __future__ import annotations

import math
import random
import re
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from playwright.sync_api import expect

from sessions.models import AccessSite, Patient
from sessions.services.document import TreatmentDocument
from tests.browser.conftest import BrowserPage
from tests.browser.running_phone import SMALLEST_PX, MakePhone, Phone, at_bedside, now_minute, prescribed, rope_ladder
from tests.factories import AccessFactory, SiteFactory

__all__ = ["at_bedside"]

pytestmark = pytest.mark.django_db(transaction=True)

GOOD_ACCESS = """async () => {
  const { ctx } = await import("/static/bedside/js/app.js");
  const items = ctx.kit.checklist.items.filter((item) => item.part === "access");
  ctx.change("looked", (night) => {
    const good = { passed: true, value: null, unit: "", note: "" };
    night.doc.checks = items.map(({ name, key, part }) => ({ name, key, part, ...good }));
  });
  return items.length;
}"""
FREELY, NOT_FREELY = "Easily: no swelling, no pain", "Hard to push, swelling or pain"
AHEAD = """async (seconds) => {
  const { ctx } = await import("/static/bedside/js/app.js");
  ctx.now = () => new Date(Date.now() + seconds * 1000);
}"""


@pytest.fixture
def sites(ana: Patient) -> list[AccessSite]:
    prescribed(ana)
    return rope_ladder(ana)


@pytest.fixture
def phone(at_bedside: MakePhone, ana: Patient, sites: list[AccessSite]) -> Phone:
    phone = at_bedside(ana.account)
    phone.ready()
    return phone


def looked(phone: Phone) -> None:
    assert phone.page.evaluate(GOOD_ACCESS) > 0


def choose(phone: Phone, *names: str) -> None:
    phone.go("access")
    for name in names:
        phone.page.locator(".site-row", has_text=name).click()


def circle(phone: Phone, site: AccessSite) -> Any:
    return phone.page.locator(f".limb-picture [data-site='{site.pk}'] .target")


def warned(phone: Phone) -> list[str]:
    return [words.removeprefix("Take care: ") for words in phone.page.locator("#screen .note.care p").all_inner_texts()]


# Sites ---------------------------------------------------------------------------------------------


def test_both_sites_are_chosen_by_touching_them_on_the_picture(phone: Phone, sites: list[AccessSite]) -> None:
    phone.go("access")
    expect(phone.page.get_by_role("button", name="Look, feel, listen")).to_be_visible()
    looked(phone)
    expect(phone.page.get_by_role("button", name="Choose both sites")).to_be_disabled()
    for site in (sites[1], sites[4]):
        box = circle(phone, site).bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= SMALLEST_PX
        circle(phone, site).click()
    assert [(row["site"], row["use"]) for row in phone.doc()["sites"]] == [
        (sites[1].pk, "arterial"),
        (sites[4].pk, "venous"),
    ]
    phone.tap("To the needles")
    expect(phone.page.get_by_role("heading", name="Step 1 of", exact=False)).to_be_visible()


def test_the_place_on_the_limb_itself_can_be_touched_too(phone: Phone, sites: list[AccessSite]) -> None:
    phone.go("access")
    dot = phone.page.locator(f"[data-site='{sites[0].pk}'] .dot").bounding_box()
    assert dot is not None
    phone.page.mouse.click(dot["x"] + dot["width"] / 2 - 14, dot["y"] + dot["height"] / 2 + 8)  # beside the dot
    assert [row["site"] for row in phone.doc()["sites"]] == [sites[0].pk]


def test_a_doubtful_choice_is_warned_of_and_not_forbidden(phone: Phone) -> None:
    looked(phone)
    choose(phone, "A high", "V low")
    assert sorted(warned(phone)) == [
        "A high is resting. The unit asked not to use it for now.",
        "V low was used at the last treatment.",
    ]
    expect(phone.page.locator("#undo")).to_contain_text("V low was used at the last treatment.")
    expect(phone.page.get_by_role("button", name="To the needles")).to_be_enabled()
    choose(phone, "A mid")  # the turn stays with the needle that was chosen last
    assert sorted(warned(phone)) == [
        "A high is resting. The unit asked not to use it for now.",
        "The unit lists A mid for blood out (artery).",
    ]


def test_one_place_is_never_taken_for_both_needles(phone: Phone, sites: list[AccessSite]) -> None:
    looked(phone)
    choose(phone, "A mid", "V high")
    phone.page.locator(".turn.arterial").click()
    choose(phone, "V high")
    expect(phone.page.locator("#undo")).to_contain_text("V high is taken for the other needle")
    assert [row["site"] for row in phone.doc()["sites"]] == [sites[1].pk, sites[5].pk]
    # A record that came from elsewhere with one place for both goes no further either.
    both = "m.ctx.change('both', (night) => { for (const row of night.doc.sites) row.site = given; });"
    phone.run("app", both, sites[1].pk)
    expect(phone.page.get_by_role("button", name="Choose two different sites")).to_be_disabled()


def test_a_resting_site_is_told_by_word_and_by_pattern(phone: Phone, sites: list[AccessSite]) -> None:
    phone.go("access")
    hatched = phone.page.locator(".limb-picture .site:has(.hatch)")
    expect(hatched).to_have_count(1)
    assert hatched.get_attribute("data-site") == str(sites[2].pk)
    assert "resting" in phone.page.locator(".site-row", has_text="A high").inner_text()
    assert "used 2 days ago" in phone.page.locator(".site-row", has_text="A low").inner_text()
    longest = phone.page.locator(".site-row", has_text="longest rested").all_inner_texts()
    assert [words.splitlines()[1].strip() for words in longest] == ["A mid", "V high"]


def pure_site(index: int, use: str, last: str | None, resting: bool) -> dict[str, Any]:
    used = [last] if last else []
    return {"id": index, "name": f"S{index}", "use": use, "technique": "rope_ladder", "x": 0.5, "y": 0.5,
            "resting": resting, "rest_until": None, "last_used": used}  # fmt: skip


def longest_rested(sites: list[dict[str, Any]], today: date) -> int | None:
    """By sorting dates: the one free arterial site used longest ago, none where two are equal or only one is free."""
    free = [site for site in sites if site["use"] == "arterial" and not site["resting"]]
    lasts = sorted(site["last_used"][0] if site["last_used"] else "" for site in free)
    if len(free) < 2 or lasts[0] == lasts[1]:
        return None
    return next(site["id"] for site in free if (site["last_used"] or [""])[0] == lasts[0])


def test_rest_days_and_the_longest_rested_site_agree_with_the_calendar(phone: Phone) -> None:
    chance = random.Random(4)
    today = date(2026, 3, 30)  # the day after the clocks of Europe change
    cases = []
    for _ in range(200):
        count = chance.randrange(1, 7)
        lasts = [(today - timedelta(days=chance.randrange(0, 12))).isoformat() for _ in range(count)]
        lasts = [last if chance.random() < 0.85 else None for last in lasts]
        cases.append([pure_site(i, "arterial", last, chance.random() < 0.2) for i, last in enumerate(lasts)])
    body = """return given.cases.map((sites) => ({
      longest: m.longestRested(sites, "arterial", given.today),
      rested: sites.map((site) => m.stateOf(site, given.today).rested),
    }));"""
    found = phone.run("arm", body, {"cases": cases, "today": today.isoformat()})
    for sites, said in zip(cases, found, strict=True):
        assert said["longest"] == longest_rested(sites, today), sites
        days = [(today - date.fromisoformat(s["last_used"][0])).days if s["last_used"] else None for s in sites]
        assert said["rested"] == days
    assert 20 < sum(said["longest"] is not None for said in found) < 190  # both ways are walked


def test_the_numbered_circles_never_lie_on_each_other_or_off_the_picture(phone: Phone) -> None:
    chance = random.Random(11)
    cases = []
    for _ in range(200):
        uses = [chance.choice(("arterial", "venous")) for _ in range(chance.randrange(1, 13))]
        made = [pure_site(i, use, None, False) for i, use in enumerate(uses)]
        cases.append([site | {"x": chance.random(), "y": chance.choice((chance.random(), None))} for site in made])
    found = phone.run("arm", "return given.map((sites) => m.columns(sites).map(({ x, y }) => [x, y]));", cases)
    for places in found:
        assert all(28 <= x <= 292 and y >= 28 for x, y in places)
        apart = [math.dist(one, other) for i, one in enumerate(places) for other in places[:i]]
        assert all(distance >= 56 for distance in apart), places


ARROWS = """() => [...document.querySelectorAll(".vessel.vein ~ .arrow")].map((arrow) => {
  const tip = new DOMPoint(4, 0).matrixTransform(arrow.getScreenCTM());
  const tail = new DOMPoint(-7, 0).matrixTransform(arrow.getScreenCTM());
  return tip.y - tail.y;
})"""


@pytest.mark.parametrize(("side", "flow"), [("left", "up"), ("right", "up"), ("right", "down")])
def test_the_limb_is_mirrored_and_arrows_show_where_the_blood_runs(
    at_bedside: MakePhone, ana: Patient, side: str, flow: str
) -> None:
    access = AccessFactory(patient=ana, side=side, flow=flow, limb="upper_arm")
    site = SiteFactory(access=access, name="B1", use="venous", x=0.25, y=0.4, technique="buttonhole")
    phone = at_bedside(ana.account)
    phone.ready()
    phone.go("access")
    heads = phone.page.evaluate(ARROWS)
    assert len(heads) == 3
    assert all((down > 0) == (flow == "down") for down in heads)
    limb = phone.page.locator(".limb-picture .limb").evaluate("(limb) => limb.getCTM().a < 0")
    assert limb is (side == "right")
    picture = phone.page.locator(".limb-picture").bounding_box()
    dot = phone.page.locator(f"[data-site='{site.pk}'] .dot").bounding_box()
    assert picture is not None
    assert dot is not None
    # The place is kept as people saw it on the picture: the mirror leaves it where it is.
    assert dot["x"] + dot["width"] / 2 - picture["x"] == pytest.approx(0.25 * picture["width"], abs=1)


# The run sheet -------------------------------------------------------------------------------------


def asks(phone: Phone) -> str:
    return str(phone.page.evaluate("document.documentElement.dataset.asks"))


def expect_asked(phone: Phone, wanted: str) -> None:
    phone.page.wait_for_function("(wanted) => document.documentElement.dataset.asks === wanted", arg=wanted)


def main_button(phone: Phone) -> Any:
    return phone.page.locator("#dock .arc button").first


def to_ask(phone: Phone, wanted: str) -> None:
    """Forward by the large touch until a step asks this."""
    for _ in range(40):
        if asks(phone) == wanted:
            return
        main_button(phone).click()
    raise AssertionError(f"no step asks {wanted}")


def answer(phone: Phone) -> None:
    """What a person does on a step: answers it where it asks, else the large touch."""
    wanted = asks(phone)
    if wanted == "needle":
        phone.tap("Sharp")
        phone.tap("25 mm")
    if wanted == "set_machine" and phone.doc()["planned_uf_l"] is None:
        phone.tap("Go on without noting it")
        return
    freely = FREELY if phone.page.get_by_role("button", name=FREELY, exact=True).count() else "Easily"
    by_touch = {"flash": "Yes", "flush": freely, "attempts": "2", "pain": "3"}
    phone.tap(by_touch[wanted]) if wanted in by_touch else main_button(phone).click()


def walk(phone: Phone) -> None:
    phone.go("needles")
    while not phone.page.get_by_role("button", name="Treatment is running", exact=True).count():
        answer(phone)


def accepted(phone: Phone, patient: Patient) -> Any:
    """The document as it would be sent, judged by the server's own rules -> its validated data."""
    body = """const { ctx } = await import("/static/bedside/js/app.js"); return m.documentOf(ctx.night, "open");"""
    sent = phone.run("draft", body)
    reader = TreatmentDocument(data=sent, context={"patient": patient, "now": datetime.now(UTC)})
    assert reader.is_valid(), reader.errors
    return reader.validated_data


def test_the_whole_sheet_stamps_each_step_and_fills_both_needles(
    phone: Phone, ana: Patient, sites: list[AccessSite]
) -> None:
    looked(phone)
    phone.run("app", "m.ctx.change('plan', (night) => { night.doc.planned_uf_l = 2.4; });")
    choose(phone, "A mid", "V high")
    phone.go("needles")
    while asks(phone) != "set_machine":
        answer(phone)
    phone.tap("Another dialysate temperature is set")
    pad = phone.page.locator("dialog.pad")
    expect(pad).to_contain_text("prescribed 36.5 °C")
    for key in ("3", "5", "Decimal sign", "8", "Take it"):
        pad.get_by_role("button", name=key, exact=True).click()
    expect(phone.page.locator("#screen dl")).to_contain_text("Dialysate temperature, set35.8 °C")
    walk(phone)
    phone.tap("Treatment is running")
    expect(phone.page.get_by_role("heading", name="Treatment is running")).to_be_visible()
    expect(phone.page.locator("#screen")).to_contain_text("Dialysate temperature, set35.8 °C, prescribed 36.5 °C")
    kit_steps = phone.run("app", "return m.ctx.kit.run_sheet.steps;")
    document = phone.doc()
    begin = [step["key"] for step in kit_steps if step["part"] != "end"]
    assert [step["key"] for step in document["steps"]] == [*begin, "running"]
    times = [step["at"] for step in document["steps"]]
    assert times == sorted(times)
    assert [(row["site"], row["use"]) for row in document["sites"]] == [
        (sites[1].pk, "arterial"), (sites[5].pk, "venous"),
    ]  # fmt: skip
    for row in document["sites"]:
        told = {key: row[key] for key in ("gauge", "needle", "length_mm", "attempts", "pain", "flash", "flushed")}
        assert told == {"gauge": 15, "needle": "sharp", "length_mm": 25, "attempts": 2, "pain": 3, "flash": True,
                        "flushed": True}  # fmt: skip
    assert any(step["words"].endswith("step by step: 300 mL/min") for step in document["steps"])
    assert any(step["words"].endswith(": 2000 units") for step in document["steps"])
    assert any(step["words"].endswith(": ⟦set_to|what=2.4 L, 35.8 °C, 500 units/h⟧") for step in document["steps"])
    given = [(row["name"], row["amount"], row["unit"]) for row in document["medicines"]]
    assert given == [("⟦heparin⟧", 2000, "⟦units⟧"), ("⟦heparin_rate⟧", 500, "⟦units_h⟧")]
    assert (document["set_uf_l"], document["set_temperature_c"]) == (2.4, 35.8)
    assert any(step["words"].endswith(": 15 G, ⟦sharp⟧, 25 mm") for step in document["steps"])
    kept = accepted(phone, ana)
    assert kept["started_at"] is not None
    assert phone.night()["stage"] == "running"
    phone.tap("Undo", exact=False)
    assert phone.doc()["started_at"] is None


@pytest.mark.parametrize(("hand", "x"), [("right", 270), ("left", 90)])
def test_a_touch_anywhere_in_the_thumbs_half_goes_on(
    browser_page: BrowserPage, at_bedside: MakePhone, ana: Patient, sites: list[AccessSite], hand: str, x: int
) -> None:
    phone = at_bedside(ana.account)
    look = f'{{"hand": "{hand}", "theme": "light", "text": "1", "language": "", "lockAfter": 0}}'
    phone.watched.context.add_init_script(f"localStorage.setItem('bedside.look', '{look}')")
    phone.ready()
    phone.go("needles")
    for step, y in ((2, 405), (3, 480), (4, 560)):
        phone.page.touchscreen.tap(x, y)
        expect(phone.page.get_by_role("heading", name=f"Step {step} of", exact=False)).to_be_visible()
    phone.tap("One step back")
    expect(phone.page.get_by_role("heading", name="Step 3 of", exact=False)).to_be_visible()


def to_countdown(phone: Phone) -> None:
    phone.go("needles")
    for _ in range(20):
        if phone.page.locator(".countdown").count():
            return
        main_button(phone).click()
    raise AssertionError("no step counts down")


def test_a_needle_that_fails_with_no_other_place_left_leads_to_the_unit_and_to_an_end(
    phone: Phone, ana: Patient, sites: list[AccessSite]
) -> None:
    looked(phone)
    choose(phone, "A mid", "V high")
    two = "m.ctx.kit.access.sites = m.ctx.kit.access.sites.filter((site) => given.includes(site.id));"
    phone.run("app", two, [sites[1].pk, sites[5].pk])
    phone.go("needles")
    to_ask(phone, "flush")
    phone.tap(NOT_FREELY)
    phone.tap("There is swelling: note it")
    expect(phone.page.get_by_role("button", name="Take another site")).to_have_count(0)
    phone.tap("No other place is left for a needle")
    expect(phone.page.locator("h1")).to_have_text("No other place is left for a needle")
    expect(phone.page.locator("#dock .arc a")).to_have_attribute("href", "tel:01632960100")
    phone.tap("There is a place after all")
    phone.tap("What to do without another place")
    phone.page.evaluate(AHEAD, 180)
    phone.tap("End: needles out")
    expect(phone.page.locator("h1")).to_have_text("Finish")
    doc = phone.doc()
    assert doc["started_at"] < doc["ended_at"]
    assert (doc["events"][0]["note"], doc["events"][0]["outcome"]) == ("A mid ⟦no_other_place⟧", "ended")
    assert (doc["early_reason"], doc["blood_return"], doc["steps"][-1]["words"]) == ("needle", "", "⟦no_other_place⟧")
    body = """const { ctx } = await import("/static/bedside/js/app.js"); return m.documentOf(ctx.night, "finished");"""
    ahead = datetime.now(UTC) + timedelta(minutes=5)
    reader = TreatmentDocument(data=phone.run("draft", body), context={"patient": ana, "now": ahead})
    assert reader.is_valid(), reader.errors


def test_the_contact_time_counts_on_through_a_killed_page(phone: Phone) -> None:
    to_countdown(phone)
    expect(phone.page.locator(".countdown")).to_have_text("0:30")
    expect(phone.page.get_by_role("button", name="Go on sooner")).to_be_visible()
    phone.page.wait_for_timeout(1200)
    phone.kill()
    left = phone.page.locator(".countdown").inner_text()
    assert "0:20" <= left <= "0:29"
    phone.page.evaluate(AHEAD, 31)
    expect(phone.page.locator(".countdown")).to_have_text("Time is over")
    expect(phone.page.get_by_role("button", name="Done, next")).to_be_visible()
    phone.tap("Done, next")
    assert "⟦" not in phone.doc()["steps"][-1]["words"]


def test_going_on_sooner_is_noted_and_can_be_undone(phone: Phone) -> None:
    to_countdown(phone)
    before = len(phone.doc()["steps"])
    phone.page.evaluate(AHEAD, 12)
    phone.tap("Go on sooner")
    words = phone.doc()["steps"][-1]["words"]
    assert words in {f"Let it act and dry: ⟦sooner|n={seconds}|all=30⟧" for seconds in (11, 12, 13, 14)}
    phone.tap("Undo", exact=False)
    assert len(phone.doc()["steps"]) == before
    expect(phone.page.locator(".countdown")).to_be_visible()


def test_a_step_left_without_an_answer_says_so(phone: Phone) -> None:
    looked(phone)
    choose(phone, "A mid", "V high")
    phone.go("needles")
    to_ask(phone, "flash")
    phone.tap("Go on without an answer")
    assert phone.doc()["steps"][-1]["words"].endswith(": ⟦no_answer⟧")
    phone.run("app", "m.ctx.change('end', (night) => { night.plan.sheet = { ...night.plan.sheet, at: 99 }; });")
    heading = phone.page.locator("h1")
    expect(heading).to_have_text(re.compile(r"^\d+ steps are open$"))
    before = int(heading.inner_text().split()[0])
    phone.page.locator("[data-k^='open-']").first.click()  # the blood that nobody said came back
    expect_asked(phone, "flash")
    phone.tap("Yes")
    expect(heading).to_have_text(f"{before - 1} steps are open")
    phone.tap("Undo", exact=False)
    assert phone.doc()["sites"][0]["flash"] is None


def test_a_needle_that_fails_is_tried_again_or_put_into_another_site(
    phone: Phone, ana: Patient, sites: list[AccessSite]
) -> None:
    looked(phone)
    choose(phone, "A mid", "V high")
    phone.go("needles")
    to_ask(phone, "flash")
    phone.tap("No")
    expect(phone.page.get_by_text("The needle is not right.", exact=False)).to_be_visible()
    expect(phone.page.locator("a[href^='tel:']").first).to_be_visible()
    phone.tap("Take another site")
    given_up = phone.page.locator(".site-row", has_text="given up this time")
    expect(given_up).to_contain_text("A mid")
    expect(given_up).to_have_attribute("aria-pressed", "false")
    phone.page.go_back()
    phone.tap("Another attempt at the same site")
    expect_asked(phone, "needle")
    [first, _] = phone.doc()["sites"]
    assert (first["attempts"], first["flash"]) == (2, None)
    to_ask(phone, "flash")
    phone.tap("Yes")
    phone.tap(NOT_FREELY)
    phone.tap("There is swelling: note it")
    [swelling] = phone.doc()["events"]
    assert (swelling["kind"], swelling["note"]) == ("infiltration", "A mid")
    expect(phone.page.locator("#screen")).to_contain_text("Do not put in another needle before the unit has said so.")
    expect(phone.page.locator("[data-k='again'], [data-k='all-the-same']")).to_have_count(0)
    expect(phone.page.locator("#dock .arc a")).to_have_attribute("href", "tel:01632960100")
    expect(phone.page.locator("[data-k='other-site']")).to_contain_text("Only after the unit has said so")
    phone.page.locator("[data-k='other-site']").click()
    swollen = phone.page.locator(".site-row", has_text="A mid")
    expect(swollen).to_contain_text("given up this time")
    expect(swollen).to_have_attribute("aria-pressed", "false")
    phone.page.locator(".site-row", has_text="A low").click()
    phone.tap("To the needles")
    expect(phone.page.locator(".step-words")).to_have_text("Clean the skin at the arterial place")
    to_ask(phone, "needle")
    answer(phone)
    rows = [(row["site"], row["use"], row["note"], row["flushed"]) for row in phone.doc()["sites"]]
    assert rows == [
        (sites[1].pk, "arterial", "⟦given_up⟧", False),
        (sites[5].pk, "venous", "", None),
        (sites[0].pk, "arterial", "", None),
    ]
    phone.run("app", "m.ctx.change('start', (night) => { night.doc.started_at = given; });", now_minute().isoformat())
    assert len(accepted(phone, ana)["sites"]) == 3


def test_a_catheter_is_walked_without_needles(at_bedside: MakePhone, ana: Patient) -> None:
    prescribed(ana, needle_gauge=None)
    access = AccessFactory(patient=ana, kind="catheter", side="right", place="neck", limb="neck_chest")
    for name, use, x in (("Red lumen", "arterial", 0.42), ("Blue lumen", "venous", 0.55)):
        SiteFactory(access=access, name=name, use=use, x=x, y=0.55, technique="catheter")
    phone = at_bedside(ana.account)
    phone.ready()
    looked(phone)
    phone.go("access")
    expect(phone.page.get_by_role("heading", level=1)).to_have_text("The catheter")
    phone.tap("To the steps")  # each side can only be the one: nobody is asked for it
    to_ask(phone, "flash")
    phone.tap("No")
    expect(phone.page.get_by_text("Never push.", exact=False)).to_be_visible()
    expect(phone.page.get_by_role("button", name="Take another site")).to_have_count(0)
    phone.tap("Try again")
    told = []
    while not phone.page.get_by_role("button", name="Treatment is running", exact=True).count():
        told.append(phone.page.locator("main").inner_text())
        answer(phone)
    told.append(phone.page.locator("main").inner_text())
    phone.go("access")
    told.append(phone.page.locator("main").inner_text())
    assert [words for words in told if "needle" in words.lower()] == []
    assert "needle" not in {step["asks"] for step in phone.run("app", "return m.ctx.kit.run_sheet.steps;")}
    rows = [(row["flash"], row["flushed"], row["gauge"]) for row in phone.doc()["sites"]]
    assert rows == [(True, True, None), (True, True, None)]


def test_without_a_sheet_or_sites_of_the_unit_the_night_still_goes_on(phone: Phone) -> None:
    phone.run("app", "m.ctx.kit.run_sheet = null; m.ctx.kit.access = null;")
    phone.go("access")
    expect(phone.page.get_by_text("The unit has put no sites", exact=False)).to_be_visible()
    phone.go("needles")
    expect(phone.page.get_by_role("heading", name="All steps done")).to_be_visible()
    phone.tap("Treatment is running")
    assert phone.doc()["started_at"] is not None
    assert phone.doc()["sites"] == []


# Order, and in short ------------------------------------------------------------------------------------


def test_which_needle_goes_in_first_is_the_patients(phone: Phone) -> None:
    looked(phone)
    choose(phone, "A mid", "V high")
    phone.go("needles")
    while not phone.page.get_by_role("button", name="Rather the venous needle first").count():
        main_button(phone).click()
    expect(phone.page.locator(".step-words")).to_have_text("Tourniquet on, above the arterial place")
    phone.tap("Rather the venous needle first")
    expect(phone.page.locator(".step-words")).to_have_text("Tourniquet on, above the venous place")
    walk(phone)
    asked = [step["key"] for step in phone.doc()["steps"] if step["key"].startswith("needle_")]
    assert asked == ["needle_venous", "needle_arterial"]


def test_nothing_is_asked_of_a_needle_before_it_is_taped(phone: Phone) -> None:
    steps = phone.run("app", "return m.ctx.kit.run_sheet.steps;")
    keys = [step["key"] for step in steps]
    for use in ("arterial", "venous"):
        asked = [keys.index(f"{ask}_{use}") for ask in ("flash", "flush", "attempts", "pain")]
        assert keys.index(f"needle_{use}") < keys.index(f"tape_{use}") < keys.index(f"tapes_{use}") < min(asked)


def test_in_short_every_step_is_named_and_stamped_and_nothing_is_marked_beforehand(
    at_bedside: MakePhone, ana: Patient, sites: list[AccessSite]
) -> None:
    Patient.objects.filter(pk=ana.pk).update(short_sheets=True)
    phone = at_bedside(ana.account)
    phone.ready(planned_uf_l=2.4)
    looked(phone)
    choose(phone, "A mid", "V high")
    phone.go("needles")
    expect(phone.page.get_by_role("heading", name="Steps 1 to 5 of", exact=False)).to_be_visible()
    steps = phone.run("app", "return m.ctx.kit.run_sheet.steps;")
    begin = [step for step in steps if step["part"] != "end"]
    seen, touches = [], 0
    questions = {"flash", "flush", "attempts", "pain"}
    while phone.page.evaluate("document.documentElement.dataset.screen") == "needles":
        seen += phone.page.locator(".together b, .step-words").all_inner_texts()
        assert not phone.page.locator("#screen [type=checkbox]").count()
        wanted = asks(phone)
        if wanted == "flash":
            phone.tap("As it should be", exact=False)
        elif wanted == "pain":
            phone.tap("3")
        else:
            main_button(phone).click()
        touches += 1
    assert {str(step["words"]) for step in begin if step["asks"] not in questions} <= set(seen)
    document = phone.doc()
    assert [step["key"] for step in document["steps"]] == [*(step["key"] for step in begin), "running"]
    for row in document["sites"]:
        assert (row["flash"], row["flushed"], row["attempts"], row["pain"]) == (True, True, 1, 3)
        assert row["at"] is not None
    assert touches <= 14
    accepted(phone, ana)


def test_the_patient_may_see_each_step_by_itself_all_the_same(
    at_bedside: MakePhone, ana: Patient, sites: list[AccessSite]
) -> None:
    Patient.objects.filter(pk=ana.pk).update(short_sheets=True)
    phone = at_bedside(ana.account)
    phone.ready()
    phone.go("needles")
    phone.tap("Show each by itself")
    expect(phone.page.get_by_role("heading", name="Step 1 of", exact=False)).to_be_visible()
    phone.tap("Show in short")
    expect(phone.page.get_by_role("heading", name="Steps 1 to 5 of", exact=False)).to_be_visible()


def test_a_needle_that_is_not_as_it_should_be_is_asked_one_by_one(
    at_bedside: MakePhone, ana: Patient, sites: list[AccessSite]
) -> None:
    Patient.objects.filter(pk=ana.pk).update(short_sheets=True)
    phone = at_bedside(ana.account)
    phone.ready()
    looked(phone)
    choose(phone, "A mid", "V high")
    phone.go("needles")
    to_ask(phone, "flash")
    phone.tap("Not so: one by one")
    phone.tap("Yes")
    phone.tap(NOT_FREELY)
    expect(phone.page.get_by_text("Do not use this needle.", exact=False)).to_be_visible()
    assert phone.doc()["sites"][0]["flushed"] is False


def test_a_needle_is_put_in_anew_while_the_treatment_runs_from_the_cleaning_on(
    phone: Phone, ana: Patient, sites: list[AccessSite]
) -> None:
    looked(phone)
    choose(phone, "A mid", "V high")
    walk(phone)
    phone.tap("Treatment is running")
    phone.go("access", "venous")
    phone.page.locator(".site-row", has_text="V mid").click()
    phone.tap("To the needles")
    words = phone.page.locator(".step-words")
    expect(words).to_have_text("Clean the skin at the venous place")
    seen = []
    while not phone.page.get_by_role("button", name="Back to the treatment", exact=True).count():
        seen.append(words.inner_text())
        answer(phone)
    assert "Put the venous needle in" in seen
    assert not [step for step in seen if "arterial needle" in step or "heparin bolus" in step]
    phone.tap("Back to the treatment")
    expect(phone.page.get_by_role("heading", name="Treatment is running")).to_be_visible()
