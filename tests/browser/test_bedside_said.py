"""What is said at the bedside beside a treatment: no second one unasked, none today, a mistake, a helper's view."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import Route, expect

from homedialysis.accounts.models import User
from sessions.models import LeftOut, Patient, Prescription, TreatmentRecord
from tests.browser.conftest import BrowserPage
from tests.browser.evening import wait_for
from tests.browser.running_phone import now_minute
from tests.browser.shell import MODULES, Shell
from tests.browser.test_bedside_two_phones import HEPARIN, add

pytestmark = pytest.mark.django_db(transaction=True)
BEGIN = "Begin tonight's treatment"


@pytest.fixture
def hers(browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription) -> Shell:
    return Shell(browser_page(ana.account, worker=False)).ready()


@pytest.fixture
def his(browser_page: BrowserPage, partner: User, hers: Shell) -> Shell:
    return Shell(browser_page(partner, worker=False)).ready()


def running(shell: Shell, minutes: int = 30) -> str:
    begun = shell.begin(started_at=(now_minute() - timedelta(minutes=minutes)).isoformat())
    shell.run("ctx.night.stage = 'running'; await ctx.save(); await ctx.push();")
    return begun


class TestASecondTreatment:
    def test_whoever_begins_while_one_runs_is_told_which_since_when_and_whose(self, hers: Shell, his: Shell) -> None:
        begun = running(hers)
        his.go("tonight")
        his.press(BEGIN)
        his.heading("A treatment runs already")
        expect(his.page.locator("#screen")).to_contain_text("begun by Ana Verdemar")
        assert his.run("return ctx.nights.length;") == 0, "nothing was begun"
        his.press("Go on with this treatment")
        his.heading("Treatment is running")
        assert his.night()["id"] == begun

    def test_whoever_goes_into_trouble_while_the_unit_is_asked_is_not_called_back(self, hers: Shell) -> None:
        held: list[Route] = []
        asked = re.compile(r"/api/v1/treatments/\?")
        hers.page.route(asked, lambda route: held.append(route))
        hers.go("tonight")
        with hers.page.expect_request(asked):
            hers.press(BEGIN)
        hers.go("danger")
        held[0].continue_()
        hers.page.wait_for_timeout(1_000)
        hers.heading("Something is wrong")
        assert hers.run("return ctx.nights.length;") == 0
        hers.page.unroute(asked)
        hers.go("tonight")
        hers.press(BEGIN)
        hers.heading("Checks before")

    def test_home_then_offers_to_look_at_it_first(self, hers: Shell, his: Shell) -> None:
        running(hers)
        his.run("await ctx.refresh();")
        his.go("tonight")
        expect(his.page.locator("#dock .arc")).to_have_text("A treatment runs already: look")

    def test_two_begun_without_a_network_are_told_and_put_together(self, hers: Shell, his: Shell) -> None:
        his.run(f"await import('{MODULES}/draft.js');")
        his.offline()
        hers_night = running(hers, 40)
        add(hers, "readings", "{ venous_mmhg: 140 }")
        hers.run("await ctx.push();")
        his_night = his.begin(started_at=(now_minute() - timedelta(minutes=40)).isoformat())
        his.run("ctx.night.stage = 'running'; await ctx.save();")
        add(his, "medicines", HEPARIN)
        his.offline(False)
        his.run("await ctx.push(); await ctx.refresh();")
        notice = his.page.locator("a.notice", has_text="Another treatment runs since")
        notice.click()
        his.heading("A treatment runs already")
        his.press("It is the same: put both together", exact=False)
        his.heading("Treatment is running")
        assert wait_for(lambda: TreatmentRecord.objects.count() == 1)
        assert wait_for(lambda: TreatmentRecord.objects.get().medicine_set.exists())
        record = TreatmentRecord.objects.get()
        assert str(record.pk) == hers_night
        assert (record.reading_set.count(), record.medicine_set.get().amount) == (1, 1500)
        assert TreatmentRecord.with_mistaken.get(pk=his_night).state == "mistaken"

    def test_they_may_be_two(self, hers: Shell, his: Shell) -> None:
        running(hers)
        his.go("tonight")
        his.press(BEGIN)
        his.press("Begin another one all the same", exact=False)
        his.until("document.documentElement.dataset.screen === 'checks'")
        his.run("ctx.change('Start', (night) => { night.doc.started_at = given; });", now_minute().isoformat())
        expect(his.page.locator("a.notice", has_text="Another treatment runs")).to_have_count(0)


class TestNoTreatmentToday:
    def test_said_offline_it_reaches_the_unit_and_can_be_taken_back(self, hers: Shell, ana: Patient) -> None:
        hers.go("tonight")
        hers.press("No treatment today")
        hers.offline()
        hers.press("Ill")
        expect(hers.page.locator("#screen")).to_contain_text("No treatment today: ill. The unit sees it.")
        hers.offline(False)
        assert wait_for(lambda: LeftOut.objects.filter(patient=ana).exists())
        assert LeftOut.objects.get(patient=ana).reason == "ill"
        hers.page.get_by_role("link", name="Take it back").click()
        hers.press("Take it back: there is one")
        assert wait_for(lambda: not LeftOut.objects.standing().filter(patient=ana).exists())
        hers.go("tonight")
        expect(hers.page.locator("#screen")).not_to_contain_text("No treatment today: ill")

    def test_what_one_phone_said_the_other_shows(self, hers: Shell, his: Shell, ana: Patient) -> None:
        day = datetime.now(UTC).astimezone().date()
        assert ana.account is not None
        hers.run(
            "return ctx.errand(given);",
            {
                "method": "PUT",
                "url": "/api/v1/bedside/left-out/5f3c1c1e-0000-4000-8000-00000000000a/",
                "body": {
                    "patient": str(ana.pk),
                    "day": f"{day}",
                    "reason": "hospital",
                    "at": f"{now_minute().isoformat()}",
                },
                "words": "No treatment today",
            },
        )
        assert wait_for(lambda: LeftOut.objects.filter(patient=ana).exists())
        LeftOut.objects.update(
            day=his.run(f"const left = await import('{MODULES}/left_out.js'); return left.today(ctx);")
        )
        his.run("await ctx.refresh();")
        his.go("tonight")
        expect(his.page.locator("#screen")).to_contain_text("No treatment today: in hospital.")


class TestOneIsDoneAlready:
    def test_home_says_so_none_today_is_refused_and_a_second_one_is_asked_about(self, hers: Shell) -> None:
        start, end = (now_minute() - timedelta(minutes=each) for each in (130, 10))
        hers.begin(started_at=start.isoformat(), ended_at=end.isoformat())
        hers.run("ctx.night.stage = 'handed'; await ctx.save();")
        screen = hers.page.locator("#screen")
        hers.go("nottonight")
        if hers.run(f"const m = await import('{MODULES}/treated.js'); return m.treatedToday(ctx).length;"):
            expect(screen).to_contain_text("so it cannot be said that there is none")
            expect(hers.page.get_by_role("button", name="Ill", exact=True)).to_have_count(0)
        hers.go("tonight")
        expect(screen).to_contain_text("treatment is done.")
        expect(screen).to_contain_text("waits on this phone for the unit")
        expect(hers.page.locator("#dock .arc")).to_have_text("Look at the treatment that is done")
        hers.press("Begin another treatment")
        hers.heading("Another treatment?")
        assert hers.run("return ctx.nights.length;") == 1, "nothing was begun"
        hers.press("Begin another one: the unit said I may")
        hers.until("['checks', 'changes'].includes(document.documentElement.dataset.screen)")
        hers.go("nottonight")
        expect(hers.page.get_by_role("button", name="Ill", exact=True)).to_have_count(0)


class TestBegunByMistake:
    def test_one_that_was_not_started_goes_and_comes_back(self, hers: Shell) -> None:
        begun = hers.begin()
        hers.go("tonight")
        hers.press("Begun by mistake")
        expect(hers.page.locator("#screen")).to_contain_text("If you take the record back, the unit sees that")
        hers.press("It was begun by mistake: take it back")
        expect(hers.page.locator("#dock .arc")).to_have_text(BEGIN)
        assert hers.run("return ctx.nights.length;") == 0
        hers.press("Undo: Begun by mistake: taken back")
        assert hers.night()["id"] == begun
        hers.go("more")
        hers.press("Who sees your record")
        expect(hers.page.locator("h1")).to_have_text("Who sees your record")

    def test_one_that_the_unit_has_is_marked_there_and_can_be_taken_back(self, hers: Shell) -> None:
        begun = running(hers)
        hers.go("mistake")
        hers.press("It was begun by mistake: take it back")
        assert wait_for(lambda: TreatmentRecord.with_mistaken.get(pk=begun).state == "mistaken")
        hers.press("Undo: Begun by mistake: taken back")
        assert wait_for(lambda: TreatmentRecord.with_mistaken.get(pk=begun).state == "open")

    def test_the_other_phone_is_told(self, hers: Shell, his: Shell) -> None:
        begun = running(hers)
        his.run("await ctx.refresh(); ctx.open(given); ctx.go('running');", begun)
        hers.go("mistake")
        hers.press("It was begun by mistake: take it back")
        expect(his.page.locator("#screen")).to_contain_text("Taken back: it was begun by mistake.", timeout=30_000)

    def test_what_happened_is_no_mistake(self, hers: Shell) -> None:
        running(hers)
        add(hers, "medicines", HEPARIN)
        hers.go("mistake")
        expect(hers.page.locator("#screen")).to_contain_text("so it was not begun by mistake: end it instead")
        expect(hers.page.get_by_role("button", name="It was begun by mistake: take it back")).to_have_count(0)


class TestASecondPairOfHands:
    def test_the_helper_sees_what_happens_what_was_given_and_what_to_do(self, hers: Shell, his: Shell) -> None:
        begun = running(hers, 75)
        add(hers, "medicines", HEPARIN)
        hers.run("await ctx.push();")
        his.go("helper")
        expect(his.page.locator("#screen")).to_contain_text("Nothing runs.")
        his.run("await ctx.refresh(); ctx.open(given);", begun)
        his.go("tonight")
        his.press("I help: what happens now")
        screen = his.page.locator("#screen")
        expect(screen).to_contain_text("What happens now")
        expect(screen).to_contain_text("heparin1500 IU")
        expect(screen).to_contain_text("Give no medicine before you have looked above at what was given already.")
        expect(his.page.locator("#dock .arc")).to_have_text("Emergency cards for the helper")
        wide = his.page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        assert wide <= 0
