"""The end of a treatment and after it: finish, hand over, the answer, past nights, trends, paper, own data."""

from __future__ import annotations

import json
import re
from datetime import timedelta

import pytest
from playwright.sync_api import expect

from dosing.services.night.computing import compute
from homedialysis.accounts.models import Unit, User
from sessions.models import AccessSite, Message, Patient, Prescription, TreatmentRecord
from sessions.models.treatment import AnsweredCheck
from tests.browser.conftest import BrowserPage
from tests.browser.evening import Evening, running
from tests.browser.judging import expect_accessible
from tests.browser.running_phone import evening_before, now_minute, prescribed, rope_ladder
from tests.factories import record_night

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def order(ana: Patient) -> Prescription:
    """70 kg, 240 minutes, at most 300, 10 mL/kg/h."""
    return prescribed(ana)


@pytest.fixture
def evening(browser_page: BrowserPage, unit: Unit, ana: Patient, order: Prescription) -> Evening:
    return Evening(browser_page(ana.account, worker=False))


@pytest.fixture
def sites(ana: Patient) -> list[AccessSite]:
    return rope_ladder(ana)


def off_steps(evening: Evening) -> list[str]:
    """The words of the steps that end a treatment."""
    steps = evening.run("app", "return m.ctx.kit.run_sheet.steps;")
    return [step["words"] for step in steps if step["part"] == "end"]


def held(evening: Evening, times: int) -> None:
    """The phone's clock, moved by so many times 65 seconds: as long as a site is pressed at the least."""
    evening.run("app", "m.ctx.now = () => new Date(Date.now() + given);", times * 65_000)


class TestFinish:
    def test_a_double_touch_writes_no_half_minute_and_the_watch_stays_in_sight(
        self, evening: Evening, sites: list[AccessSite]
    ) -> None:
        running(evening, sites)
        evening.go("finish")
        evening.tap("Blood is back: end now")
        box = evening.main().bounding_box()
        assert box is not None
        for _ in range(2):
            evening.page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        evening.page.wait_for_timeout(100)
        assert [row["bleeding_minutes"] for row in evening.doc()["sites"]] == [None, None]
        expect(evening.main()).to_be_disabled()
        expect(evening.main()).to_contain_text("A low: press on")
        evening.tap("Needle is out now")  # the other one
        for down in (0, 400, 4000):
            evening.page.mouse.wheel(0, down)
            watch = evening.page.locator(".watch").first.bounding_box()
            assert watch is not None
            assert 0 < watch["y"] < 300
        held(evening, 1)
        expect(evening.main()).to_contain_text("A low: bleeding has stopped")

    def test_a_needle_given_up_before_the_start_is_not_taken_out_again(
        self, evening: Evening, sites: list[AccessSite]
    ) -> None:
        running(evening, sites)
        given_up = {"site": sites[4].pk, "use": "venous", "note": "⟦given_up⟧", "bleeding_minutes": None}
        evening.run("app", "m.ctx.change('up', (night) => night.doc.sites.push(given));", given_up)
        evening.go("finish")
        evening.tap("Blood is back: end now")
        expect(evening.page.locator("#screen .card h3")).to_have_text(["A low", "V low"])

    def test_early_and_why_and_blood_that_was_not_given_back_are_asked(
        self, evening: Evening, sites: list[AccessSite], ana: Patient
    ) -> None:
        running(evening, sites, planned_minutes=300)
        evening.go("finish")
        words = evening.screen().text_content() or ""
        assert words.count("Why it ends early") == 1
        assert words.index("Blood is back: end now") > words.index("Blood not all given back, or blood lost")
        evening.tap("Clotted")
        evening.page.get_by_text("Blood not all given back, or blood lost").click()
        evening.tap("Not given back")
        evening.enter("blood_lost_ml", "250")
        evening.tap("End now")
        doc = evening.doc()
        assert (doc["early_reason"], doc["blood_return"], doc["blood_lost_ml"]) == ("clotted", "none", 250)

    def test_the_main_action_leads_through_it(self, evening: Evening, sites: list[AccessSite], ana: Patient) -> None:
        running(evening, sites, planned_uf_l=2.5, readings=[{"at": now_minute().isoformat(), "uf_volume_l": 0.4}])
        evening.go("finish")
        for words in off_steps(evening):
            expect(evening.page.locator(".step-words")).to_have_text(words)
            evening.touch_main("Done, next")
        evening.touch_main("Blood is back: end now")
        evening.touch_main("A low: needle is out now")
        expect(evening.page.locator(".watch")).to_be_visible()
        held(evening, 1)
        evening.touch_main("A low: bleeding has stopped")
        evening.touch_main("V low: needle is out now")
        held(evening, 2)
        evening.touch_main("V low: bleeding has stopped")
        evening.touch_main("Enter: Weight after")
        evening.pads("69.9", "126", "74", "72", "118", "72")
        evening.touch_main("Enter: Fluid removed")
        pad = evening.page.locator("dialog.pad")
        expect(pad).to_contain_text("Planned: 2.50 L in 4:00 h")
        expect(pad.get_by_role("button", name="Same as last", exact=False)).to_have_count(0)
        evening.pads("2.5", "68")
        evening.touch_main("Enter: Rinse-back")
        evening.pads("0.3", "0.1")
        evening.touch_main("Next: dialyser and machine")
        evening.tap("Clear")
        evening.touch_main("That is all")
        evening.touch_main("Next: checks after")
        for _ in range(3):
            evening.touch_main("Good")
        evening.touch_main("Go on")
        evening.touch_main("Next: look it over")
        expect(evening.page.get_by_role("heading", level=1)).to_have_text("Look it over")
        expect(evening.screen()).to_contain_text("69.9 kg")
        evening.touch_main("Hand over to the unit")
        expect(evening.screen()).to_contain_text("Handed over: the unit has it.")
        kept = TreatmentRecord.objects.get(patient=ana, pk=evening.page.url.rsplit("/", 1)[1])
        assert (kept.state, kept.post_weight_kg, kept.uf_removed_l) == ("finished", 69.9, 2.5)
        assert (kept.dialyser_look, kept.disinfected, kept.plan_choice) == ("clear", True, "as_prescribed")
        assert [use.bleeding_minutes for use in kept.siteused_set.all()] == [1.5, 1.5]
        assert (kept.blood_return, kept.early_reason) == ("whole", "")
        assert AnsweredCheck.objects.filter(record=kept, part="after", passed=True).count() == 3

    def test_the_watch_of_a_site_outlives_a_killed_page(self, evening: Evening, sites: list[AccessSite]) -> None:
        running(evening, sites)
        evening.go("finish")
        evening.tap("Blood is back: end now")
        evening.touch_main("A low: needle is out now")
        moved = """async () => {
          const { ctx } = await import('/static/bedside/js/app.js');
          const key = Object.keys(ctx.night.stamps).find((name) => name.startsWith('needle_out'));
          ctx.night.stamps[key] = new Date(Date.now() - 250_000).toISOString();
          await ctx.save();
        }"""
        evening.page.evaluate(moved)
        evening.kill()
        evening.go("finish")
        expect(evening.page.locator(".watch")).to_have_text(re.compile(r"4:1\d"))
        evening.touch_main("A low: bleeding has stopped")
        assert evening.doc()["sites"][0]["bleeding_minutes"] == 4.5

    def test_pressure_that_falls_on_standing_is_told(self, evening: Evening, sites: list[AccessSite]) -> None:
        values = {
            "post_systolic": 126,
            "post_diastolic": 74,
            "post_standing_systolic": 106,
            "post_standing_diastolic": 70,
        }
        running(evening, sites, ended_at=now_minute().isoformat(), **values)
        evening.go("finish")
        expect(evening.screen()).to_contain_text("The pressure falls on standing up. Sit down again; get up slowly.")


class TestSummary:
    def test_what_is_unusual_is_marked_and_what_is_missing_is_said(
        self, evening: Evening, sites: list[AccessSite]
    ) -> None:
        at = (now_minute() - timedelta(minutes=100)).isoformat()
        odd = {
            "ended_at": now_minute().isoformat(),
            "post_weight_kg": 70.9,
            "uf_removed_l": 3.4,
            "readings": [{"at": at, "venous_mmhg": 280}],
            "events": [{"at": at, "kind": "cramp", "note": ""}],
            "checks": [
                {"name": "Chlorine", "key": "chlorine", "passed": False, "overruled": True, "reason": "unit said"}
            ],
        }
        running(evening, sites, **odd)
        evening.go("summary")
        marked = evening.page.locator(".note.care", has_text="Unusual")
        for words in (
            "Cramp",
            "Check overruled: Chlorine (unit said)",
            "Venous pressure: 280 mmHg",
            "UF rate 12.0 mL/kg/h, over the limit of 10",
        ):
            expect(marked).to_contain_text(words)
        missing = evening.page.locator(".note.plain", has_text="Not known")
        for words in ("Systolic pressure after", "Bleeding minutes", "Look of the dialyser"):
            expect(missing).to_contain_text(words)
        expect(missing).not_to_contain_text("Readings")

    def test_without_an_end_nothing_is_handed_over(self, evening: Evening, sites: list[AccessSite]) -> None:
        running(evening, sites)
        evening.go("summary")
        expect(evening.main()).to_be_disabled()
        expect(evening.screen()).to_contain_text("The end of the treatment is missing.")

    def test_a_weight_that_does_not_fit_the_fluid_is_told(self, evening: Evening, sites: list[AccessSite]) -> None:
        values = {"post_weight_kg": 70.9, "uf_removed_l": 2.5, "rinse_back_l": 0.3, "intake_l": 0.2}
        running(evening, sites, ended_at=now_minute().isoformat(), **values)
        evening.go("summary")
        expect(evening.screen()).to_contain_text("0.9 kg away from what the fluid says: 70.0 kg")


class TestAnswer:
    def test_offline_it_says_what_is_known_and_that_the_rest_comes(
        self, evening: Evening, sites: list[AccessSite]
    ) -> None:
        values = {"ended_at": now_minute().isoformat(), "post_weight_kg": 70, "uf_removed_l": 2.5}
        running(evening, sites, **values)
        evening.offline()
        evening.go("summary")
        evening.touch_main("Hand over")
        expect(evening.screen()).to_contain_text("waiting for the network")
        expect(evening.screen()).to_contain_text("8.9 mL/kg/h")
        expect(evening.screen()).to_contain_text("under the limit of 10")
        expect(evening.screen()).to_contain_text("come when there is a network")

    def test_online_the_units_figures_and_what_it_makes_of_them(
        self, evening: Evening, ana: Patient, order: Prescription
    ) -> None:
        for days in range(4, 12, 2):
            night = record_night(ana, evening_before(days), uf_removed_l=2.2)
            compute(night, at=now_minute())
        last = record_night(ana, evening_before(1), uf_removed_l=3.6, planned_uf_l=2.5)
        compute(last, at=now_minute())
        evening.open()
        evening.go("answer", str(last.pk))
        expect(evening.screen()).to_contain_text("12.9 mL/kg/h")
        expect(evening.screen()).to_contain_text("over the limit of 10")
        expect(evening.screen()).to_contain_text("planned 2.50")
        expect(evening.screen()).to_contain_text("higher than in each of the last 4 nights")
        expect(evening.screen()).to_contain_text("has not looked through this night yet")
        expect(evening.screen()).to_contain_text("If you feel unwell, do not wait for an answer here: call the unit")


class TestLookingBack:
    @pytest.fixture(autouse=True)
    def history(self, ana: Patient, order: Prescription) -> None:
        for index, fluid in enumerate((2.2, 3.6, 2.4)):
            start = evening_before(7 - 2 * index)
            compute(record_night(ana, start, uf_removed_l=fluid, pre_weight_kg=72 + index), at=now_minute())

    def test_the_nights_are_there_without_a_network(self, evening: Evening) -> None:
        evening.open()
        evening.offline()
        evening.go("nights")
        expect(evening.page.locator(".bare button")).to_have_count(3)
        evening.page.locator(".bare button").nth(1).click()
        expect(evening.screen()).to_contain_text("The UF rate was over your limit.")
        expect(evening.screen()).to_contain_text("12.9 mL/kg/h")
        expect(evening.screen()).not_to_contain_text("Everything of this night")

    def test_each_trend_has_a_picture_a_sentence_and_a_table(self, evening: Evening) -> None:
        evening.open()
        evening.go("trends")
        rates = evening.page.locator(".trend", has_text="UF rate (mL/kg/h)")
        sentence = "In 1 of 3 nights fluid came off faster than your limit."
        expect(rates).to_contain_text(sentence)
        expect(rates.get_by_role("img")).to_have_attribute("aria-label", f"UF rate. {sentence}")
        rates.get_by_text("As a table").click()
        expect(rates.get_by_role("row")).to_have_count(4)
        expect(rates.get_by_role("table")).to_contain_text("12.9")
        weights = evening.page.locator(".trend", has_text="Weight (kg)")
        expect(weights).to_contain_text("you weighed 70.0 to 70.0 kg in 3 nights; your target now is 70.0 kg")
        expect(weights).to_contain_text("you gained 3.5 kg in the middle")
        expect(evening.page.locator(".trend", has_text="Weekly standard Kt/V")).to_contain_text("Nothing is known yet.")
        assert evening.page.locator("[style]").count() == 0

    def test_points_lie_where_their_numbers_say(self, evening: Evening) -> None:
        """The highest rate is drawn highest, and the limit lies between the nights over and under it."""
        evening.open()
        evening.go("trends")
        rates = evening.page.locator(".trend", has_text="UF rate (mL/kg/h)")
        expect(rates.locator("circle")).to_have_count(3)
        heights = [float(mark.get_attribute("cy") or "") for mark in rates.locator("circle").all()]
        drawn = rates.locator(".limit[points]").get_attribute("points") or ""
        limit = {float(point.split(",")[1]) for point in drawn.split()}
        assert len(limit) == 1
        assert heights[1] < limit.pop() < min(heights[0], heights[2])


def test_the_files_are_offered_and_come(evening: Evening, ana: Patient) -> None:
    page = evening.open()
    evening.go("takeout")
    for name, kind in (
        ("As tables", "application/zip"),
        ("As one text", "application/json"),
        ("Blank", "application/pdf"),
    ):
        address = page.get_by_role("link", name=re.compile(name)).get_attribute("href")
        answer = page.request.get(f"{evening.watched.home}{address}")
        assert (answer.status, answer.headers["content-type"]) == (200, kind)


PLACES = (
    "tonight", "changes", "messages", "checks", "checks/setup/all", "weigh", "finish", "summary", "answer", "nights",
    "trends", "takeout", "due", "paper",
)  # fmt: skip


def looking(evening: Evening, theme: str, hand: str) -> None:
    look = json.dumps({"theme": theme, "hand": hand, "text": "1", "language": "", "lockAfter": 0})
    evening.watched.context.add_init_script(f"localStorage.setItem('bedside.look', '{look}')")


def unfolded(evening: Evening, place: str) -> None:
    evening.go(place)
    evening.page.locator("details").evaluate_all("(all) => all.forEach((each) => { each.open = true; })")


@pytest.mark.parametrize(("theme", "hand", "letters"), [("light", "right", "100%"), ("night", "left", "200%")])
def test_every_screen_fits_the_phone_and_the_thumb(
    evening: Evening, sites: list[AccessSite], theme: str, hand: str, letters: str
) -> None:
    """Nothing to touch under 56 px and nothing beside the screen, also with letters of twice the size."""
    looking(evening, theme, hand)
    running(evening, sites, ended_at=now_minute().isoformat(), pre_weight_kg=74)
    evening.page.evaluate("(size) => { document.documentElement.style.fontSize = size; }", letters)
    for place in PLACES:
        unfolded(evening, place)
        assert (place, evening.too_small(), evening.overflows()) == (place, [], 0)


@pytest.mark.parametrize(("theme", "hand"), [("light", "right"), ("dark", "left"), ("night", "right")])
def test_every_screen_keeps_the_accessibility_rules(
    browser_page: BrowserPage,
    ana: Patient,
    nurse: User,
    order: Prescription,
    sites: list[AccessSite],
    theme: str,
    hand: str,
) -> None:
    for night in TreatmentRecord.objects.all():
        compute(night, at=now_minute())
    Message.objects.create(patient=ana, words="Bloods on Friday.", sent_by=nurse, sent_at=now_minute())
    evening = Evening(browser_page(ana.account, bypass_csp=True, worker=False))
    looking(evening, theme, hand)
    odd = {"post_weight_kg": 71.4, "uf_removed_l": 3.4, "events": [], "pre_weight_kg": 74}
    running(evening, sites, ended_at=now_minute().isoformat(), **odd)
    for place in PLACES:
        unfolded(evening, place)
        expect_accessible(evening.page)
    evening.go("checks/setup/hands")
    evening.tap("Not good, or not done")
    evening.tap("Go on all the same", exact=False)
    expect_accessible(evening.page)
