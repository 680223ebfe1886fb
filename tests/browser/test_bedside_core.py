"""The bedside on a phone: starts without a network, loses nothing, sends by itself, and never mixes two people."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.conf import settings
from django.utils import timezone
from playwright.sync_api import Route, expect

from homedialysis.accounts.models import User
from sessions.models import Patient, Prescription, TreatmentRecord
from sessions.pages import bedside as pages
from tests.browser.conftest import BrowserPage
from tests.browser.shell import ENDED, MODULES, STARTED, Shell
from tests.factories import PrescriptionFactory

pytestmark = pytest.mark.django_db(transaction=True)
TREATMENTS = "**/api/v1/treatments/**"


@pytest.fixture
def shell(browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription) -> Shell:
    return Shell(browser_page(ana.account))


def state(shell: Shell) -> str:
    return shell.page.locator("#head .state").inner_text()


# Without a network ------------------------------------------------------------------------------------


def test_after_the_first_start_everything_opens_without_a_network(shell: Shell, ana: Patient) -> None:
    shell.ready().kept()
    shell.offline()
    shell.start()
    assert "Ana Verdemar" in state(shell)
    assert "No network: everything works" in state(shell)
    for path, screen in (("/nights/", "nights"), ("/record/", "tonight")):
        shell.start(path)
        assert shell.page.evaluate("document.documentElement.dataset.screen") == screen
    shell.page.goto(shell.watched.home + "/devices/")
    shell.heading("No network")
    shell.page.get_by_role("link", name="To the treatment").click()
    expect(shell.page.locator("#head .state")).to_contain_text("Ana Verdemar")


def test_the_first_start_without_a_network_says_that_it_needs_one(shell: Shell) -> None:
    shell.page.route("**/api/v1/bedside/**", lambda route: route.abort())
    shell.start()
    expect(shell.page.get_by_text("The first start on this phone needs the network")).to_be_visible()
    shell.page.unroute("**/api/v1/bedside/**")
    shell.press("Try again")
    expect(shell.page.locator("#head .state")).to_contain_text("Ana Verdemar")


def test_a_page_that_dies_finds_the_night_where_it_was(shell: Shell) -> None:
    shell.ready().kept()
    shell.offline()
    begun = shell.begin(pre_weight_kg=72.5)
    shell.go("settings")
    shell.go("checks")
    shell.run("ctx.change('Note', (night) => { night.doc.notes = 'slept badly'; });")
    shell.until("document.querySelector('#undo').textContent.includes('Note')")
    shell.page.close()
    again = shell.another_window()
    again.page.goto(shell.watched.home + "/tonight/")
    again.until("document.documentElement.dataset.screen === 'checks'")
    night = again.night()
    assert (night["id"], night["doc"]["pre_weight_kg"], night["doc"]["notes"]) == (begun, 72.5, "slept badly")
    again.run("ctx.undo();")
    assert again.night()["doc"]["notes"] == "", "what can be undone outlives the page too"


def test_only_one_window_writes_and_another_can_take_over(shell: Shell) -> None:
    shell.ready()
    begun = shell.begin(pre_weight_kg=72.5)
    second = shell.another_window().start()
    second.heading("Open in another window")
    second.press("Use it here")
    expect(second.page.locator("#head .state")).to_contain_text("Ana Verdemar")
    assert second.night()["id"] == begun
    shell.heading("Open in another window")


def test_what_the_unit_sent_says_when_it_is_over_a_week_old(shell: Shell) -> None:
    shell.ready()
    shell.run("ctx.kit.kept_at = new Date(Date.now() - 8 * 24 * 3600 * 1000).toISOString(); ctx.redraw();")
    expect(shell.page.locator("a.notice")).to_contain_text("over a week old")


# Undo ------------------------------------------------------------------------------------------------


def test_forty_steps_go_back_and_forward_again(shell: Shell) -> None:
    shell.ready()
    shell.begin()
    for kilo in range(60, 100):
        shell.run("ctx.change(`Weight ${given}`, (night) => { night.doc.pre_weight_kg = given; });", kilo)
    shell.run("for (let step = 0; step < 40; step += 1) ctx.undo();")
    assert shell.night()["doc"]["pre_weight_kg"] is None
    shell.run("for (let step = 0; step < 40; step += 1) ctx.redo();")
    assert shell.night()["doc"]["pre_weight_kg"] == 99
    shell.press("Undo: Weight 99")
    assert shell.night()["doc"]["pre_weight_kg"] == 98
    shell.go("more")
    shell.press("Do again: Weight 99")
    assert shell.night()["doc"]["pre_weight_kg"] == 99


# Sending ----------------------------------------------------------------------------------------------


def test_a_night_handed_over_without_a_network_arrives_once_by_itself(shell: Shell) -> None:
    shell.ready().kept()
    shell.offline()
    begun = shell.whole_night(notes="kept")
    shell.hand_over()
    assert "1 waits to be sent" in state(shell)
    assert TreatmentRecord.objects.count() == 0
    shell.offline(False)
    expect(shell.page.locator("#head .state")).to_contain_text("Ready")
    record = TreatmentRecord.objects.get()
    assert (str(record.pk), record.state, record.notes, record.revision) == (begun, "finished", "kept", 1)


def test_an_answer_that_is_lost_is_no_second_record_and_no_conflict(shell: Shell) -> None:
    shell.ready()
    begun = shell.whole_night()
    lost: list[str] = []

    def lose(route: Route) -> None:
        if not lost and route.request.method == "PUT":
            route.fetch()
            lost.append(route.request.url)
            route.abort()
        else:
            route.continue_()

    shell.page.route(TREATMENTS, lose)
    shell.hand_over()
    assert len(lost) == 1
    shell.run("ctx.night.doc.notes = 'added'; await ctx.push();")
    record = TreatmentRecord.objects.get()
    assert (str(record.pk), record.notes) == (begun, "added")
    assert shell.night()["questions"] == []


def test_a_refused_record_tells_why_leads_there_and_holds_up_nothing(shell: Shell) -> None:
    shell.ready()
    shell.whole_night(post_weight_kg=9999)
    shell.run("ctx.night.stage = 'handed'; await ctx.save();")
    good = shell.whole_night(
        notes="the good one",
        started_at=(STARTED - timedelta(days=2)).isoformat(),
        ended_at=(ENDED - timedelta(days=2)).isoformat(),
    )
    shell.hand_over()
    assert [str(record.pk) for record in TreatmentRecord.objects.all()] == [good]
    shell.go("queue")
    fault = shell.page.get_by_role("button", name="Weight after must be between 20 and 300 kg; 9999 was given.")
    expect(fault).to_contain_text("Go to: Weight after")
    fault.click()
    shell.until("document.documentElement.dataset.screen === 'finish'")
    shell.run("ctx.change('Weight after', (night) => { night.doc.post_weight_kg = 70.1; night.faults = []; });")
    shell.hand_over()
    assert TreatmentRecord.objects.count() == 2


def test_an_expired_session_leads_to_sign_in_and_then_goes_on(shell: Shell, ana: Patient) -> None:
    shell.ready().kept()
    shell.whole_night()
    shell.watched.context.clear_cookies()
    shell.hand_over()
    shell.go("queue")
    expect(shell.page.get_by_text("You are signed out. What waits stays on this phone")).to_be_visible()
    shell.press("Sign in")
    expect(shell.page.get_by_label("E-mail address")).to_be_visible()
    assert TreatmentRecord.objects.count() == 0
    shell.watched.sign_in(ana.account)
    shell.start()
    expect(shell.page.locator("#head .state")).to_contain_text("Ready")
    assert TreatmentRecord.objects.get().state == "finished"


def test_another_person_on_the_same_phone_sees_nothing_and_changes_nothing(
    shell: Shell, ben: Patient, ana: Patient
) -> None:
    PrescriptionFactory(patient=ben, version=1)
    shell.ready().kept()
    begun = shell.begin(notes="only Ana's")
    shell.watched.sign_in(ben.account)
    shell.start()
    expect(shell.page.locator("#head .state")).to_contain_text("Ben Okonjo")
    assert shell.run("return [ctx.nights.length, ctx.night, ctx.kit.patient.name];") == [0, None, "Ben Okonjo"]
    assert "Ana" not in shell.page.locator("body").inner_text()
    shell.watched.sign_in(ana.account)
    shell.start()
    expect(shell.page.locator("#head .state")).to_contain_text("Ana Verdemar")
    assert shell.run("return ctx.nights.map((night) => [night.id, night.doc.notes]);") == [[begun, "only Ana's"]]


def test_who_helps_two_patients_says_whose_night_it_is(
    browser_page: BrowserPage, partner: User, ben: Patient, anas_prescription: Prescription
) -> None:
    ben.carepartner_set.create(user=partner)
    shell = Shell(browser_page(partner)).start()
    shell.heading("Whose treatment is it?")  # of nobody it is known yet whether it is one of the night
    shell.press("Ana Verdemar")
    expect(shell.page.locator("#head .state")).to_contain_text("Rui, who helps Ana for Ana Verdemar")
    shell.whole_night()
    shell.hand_over()
    record = TreatmentRecord.objects.get()
    assert (record.patient.name, record.recorded_by) == ("Ana Verdemar", partner)
    shell.go("settings")
    shell.press("Another patient")
    shell.press("Ben Okonjo")
    expect(shell.page.locator("#head .state")).to_contain_text("for Ben Okonjo")
    assert shell.run("return ctx.nights.length;") == 0


def test_a_clock_that_is_hours_wrong_is_told_and_changes_no_time(shell: Shell) -> None:
    ahead = (timezone.now() + timedelta(hours=3)).replace(microsecond=0)
    shell.page.clock.install(time=ahead)
    shell.ready()
    expect(shell.page.locator("a.notice").first).to_contain_text("This phone's clock is 3:00 h ahead of the unit's")
    begun = shell.begin(started_at=ahead.isoformat())
    shell.run("await ctx.push();")
    record = TreatmentRecord.objects.get(pk=begun)
    assert record.started_at == ahead, "as the phone had it"
    assert abs(record.clock_offset_s - 3 * 3600) < 60
    shell.go("queue")
    expect(shell.page.get_by_text("3:00 h apart")).to_be_visible()


# A new release ------------------------------------------------------------------------------------------


def test_a_new_release_waits_until_the_night_is_over(shell: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    shell.ready().kept()
    begun = shell.begin(started_at=STARTED.isoformat())
    monkeypatch.setattr(pages, "current_release", lambda: "the-next-one")
    shell.page.evaluate("async () => { await (await navigator.serviceWorker.getRegistration()).update(); }")
    shell.until("(await navigator.serviceWorker.getRegistration()).waiting")
    shell.go("settings")
    expect(shell.page.get_by_text("New version, after this night.")).to_be_visible()
    shell.start()
    assert shell.page.evaluate("document.documentElement.dataset.release") != "the-next-one"
    assert shell.night()["id"] == begun
    shell.run("ctx.change('End', (night) => { night.doc.ended_at = given; });", ENDED.isoformat())
    shell.hand_over()
    shell.go("settings")
    with shell.page.expect_navigation():
        shell.press("Take the new version")
    shell.until("document.documentElement.dataset.release === 'the-next-one'")
    names = shell.page.evaluate("async () => caches.keys()")
    assert names == ["bedside-the-next-one"]


def test_no_sign_in_page_and_no_error_page_is_kept_as_the_bedside(
    shell: Shell, monkeypatch: pytest.MonkeyPatch
) -> None:
    shell.ready().kept()
    release = shell.page.evaluate("document.documentElement.dataset.release")
    monkeypatch.setattr(pages, "current_release", lambda: "the-next-one")
    shell.watched.context.clear_cookies()
    shell.page.evaluate(
        "async () => { await (await navigator.serviceWorker.getRegistration()).update().catch(() => {}); }"
    )
    shell.until("!(await navigator.serviceWorker.getRegistration()).installing")
    assert shell.page.evaluate("async () => (await navigator.serviceWorker.getRegistration()).waiting") is None
    shell.offline()
    shell.start()
    assert shell.page.evaluate("document.documentElement.dataset.release") == release


def test_answers_of_the_unit_are_never_kept_by_the_worker(shell: Shell) -> None:
    shell.ready().kept()
    script = """async () => {
      const found = [];
      for (const name of await caches.keys()) {
        for (const { url } of await (await caches.open(name)).keys()) found.push(new URL(url).pathname);
      }
      return found;
    }"""
    kept = shell.page.evaluate(script)
    assert {"/tonight/", "/tonight/offline/"} < set(kept)
    assert [path for path in kept if not path.startswith(("/static/bedside/", "/tonight/"))] == []


# How it looks ------------------------------------------------------------------------------------------


def test_hand_light_and_letters_are_there_before_the_first_paint(shell: Shell) -> None:
    shell.ready()
    shell.go("settings")
    shell.press("Night: dim and warm")
    shell.press("Left thumb")
    shell.press("Large")
    shell.watched.context.add_init_script(
        """new MutationObserver((seen, watcher) => {
          if (!document.body) return;
          watcher.disconnect();
          const { theme, hand, text, thumb } = document.documentElement.dataset;
          window.firstLook = [theme, hand, text, thumb, getComputedStyle(document.documentElement).backgroundColor];
        }).observe(document, { childList: true, subtree: true });"""
    )
    shell.start()
    assert shell.page.evaluate("window.firstLook") == ["night", "left", "2", "start", "rgb(13, 8, 5)"]


def test_a_setting_is_undone_by_one_touch(shell: Shell) -> None:
    shell.ready()
    shell.go("settings")
    shell.press("Dark")
    assert shell.page.evaluate("document.documentElement.dataset.theme") == "dark"
    shell.press("Undo: Light of the screen: Dark")
    assert shell.page.evaluate("document.documentElement.dataset.theme") == "auto"


def test_the_hand_comes_from_the_access(
    browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription, anas_sites: list[Any]
) -> None:
    access = anas_sites[0].access
    access.side = "right"
    access.save()
    shell = Shell(browser_page(ana.account)).ready()
    assert shell.page.evaluate("document.documentElement.dataset.hand") == "left"


def test_the_cookie_is_called_as_the_scripts_know_it() -> None:
    assert settings.CSRF_COOKIE_NAME == "csrftoken", "wire.js reads it by this name"


BEGIN_AT_ONCE = f"""async () => {{
  const {{ ctx }} = await import('{MODULES}/app.js');
  let kit = ctx.kit, begun = null;
  const set = (given) => {{
    kit = given;
    if (kit?.patient && !begun) Promise.resolve().then(() => {{ begun = ctx.begin().id; }});
  }};
  Object.defineProperty(ctx, 'kit', {{ get: () => kit, set, configurable: true, enumerable: true }});
  set(kit);
  for (let tries = 0; tries < 40; tries += 1) await new Promise((next) => setTimeout(next, 50));
  return [begun, ctx.night?.id, ctx.nights.map((night) => night.id)];
}}"""


def test_a_night_begun_while_the_phone_still_reads_its_own_stays(shell: Shell) -> None:
    """The kit is in hand a moment before the nights of the phone are: who is quick may begin in between."""
    shell.page.goto(f"{shell.watched.home}/tonight/", wait_until="commit")
    begun, now, all_of_them = shell.page.evaluate(BEGIN_AT_ONCE)
    assert now == begun
    assert all_of_them == [begun]
