"""The queue tells the truth: what the unit did not take is named, blocks nothing, is told, and can be taken out."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Route, expect

from sessions.models import NotHandedOver, Patient, Prescription, TreatmentRecord
from tests.browser.conftest import BrowserPage
from tests.browser.evening import wait_for
from tests.browser.shell import ENDED, MODULES, STARTED, Shell

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def shell(browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription) -> Shell:
    return Shell(browser_page(ana.account, worker=False)).ready()


def answering(shell: Shell, begun: str, status: int, body: str = "") -> list[str]:
    """Whatever is sent of one night gets this answer."""
    sent: list[str] = []

    def answer(route: Route) -> None:
        if route.request.method == "PUT":
            sent.append(route.request.url)
            route.fulfill(status=status, body=body, content_type="text/html")
        else:
            route.continue_()

    shell.page.route(f"**/api/v1/treatments/{begun}/", answer)
    return sent


def earlier(days: int) -> dict[str, str]:
    return {
        "started_at": (STARTED - timedelta(days=days)).isoformat(),
        "ended_at": (ENDED - timedelta(days=days)).isoformat(),
    }


def told(begun: str) -> NotHandedOver:
    assert wait_for(lambda: NotHandedOver.objects.filter(pk=begun).exists())
    return NotHandedOver.objects.get(pk=begun)


@pytest.mark.parametrize(
    ("status", "words"),
    [
        (403, "or a filter on the way to it, does not let this entry through (403)"),
        (413, "takes no entry as large as this one (413)"),
        (418, "did not take this entry (418)"),
    ],
)
def test_what_is_not_let_through_is_named_and_holds_up_nothing(shell: Shell, status: int, words: str) -> None:
    bad = shell.whole_night()
    answering(shell, bad, status)
    shell.run("ctx.night.stage = 'handed'; await ctx.save();")
    good = shell.whole_night(**earlier(2))
    shell.hand_over()
    assert [str(record.pk) for record in TreatmentRecord.objects.all()] == [good]
    shell.go("queue")
    screen = shell.page.locator("#screen")
    expect(screen).to_contain_text(words)
    expect(screen).not_to_contain_text("could not be reached")
    entry = told(bad)
    assert (entry.what, entry.status, entry.started_at) == ("treatment", status, STARTED)
    expect(screen).to_contain_text("The unit has been told that it could not be handed over.")
    expect(shell.page.locator("a.notice", has_text="could not be handed over")).to_have_count(0)
    shell.go("tonight")
    told_everywhere = shell.page.locator("a.notice", has_text="Something could not be handed over to the unit")
    expect(told_everywhere).to_be_visible()


def test_a_server_that_breaks_is_tried_again_with_pauses_and_told_after_the_third_time(shell: Shell) -> None:
    bad = shell.whole_night()
    sent = answering(shell, bad, 500, "<h1>Server error</h1>")
    shell.hand_over()
    shell.run("await ctx.push(); await ctx.push();")
    assert len(sent) == 1, "not again at once"
    shell.go("queue")
    screen = shell.page.locator("#screen")
    expect(screen).to_contain_text("The unit's server broke over this entry (500).")
    expect(screen).to_contain_text("Tried once, at")
    expect(screen).to_contain_text("It is tried again by itself at")
    assert not NotHandedOver.objects.filter(pk=bad).exists()
    for count in (2, 3):
        shell.press("Send it again now", exact=False)
        expect(screen).to_contain_text(f"Tried {count} times")
    assert (told(bad).status, told(bad).tries) == (500, 3)
    shell.page.unroute(f"**/api/v1/treatments/{bad}/")
    shell.press("Send it again now", exact=False)
    expect(screen).to_contain_text("The unit has everything that was entered on this phone.")
    assert NotHandedOver.objects.get(pk=bad).over == "sent"


def test_a_night_that_cannot_be_sent_is_taken_out_as_a_file(shell: Shell, tmp_path: Path) -> None:
    bad = shell.whole_night(notes="slept badly")
    answering(shell, bad, 413)
    shell.hand_over()
    shell.go("queue")
    with shell.page.expect_download() as found:
        shell.press("Take it out as a file", exact=False)
    found.value.save_as(tmp_path / "entry.json")
    kept = json.loads((tmp_path / "entry.json").read_text(encoding="utf-8"))
    assert (kept["id"], kept["document"]["notes"], kept["document"]["status"]) == (bad, "slept badly", "finished")
    assert kept["trouble"]["status"] == 413


def test_an_errand_that_is_refused_is_named_told_and_can_be_left(shell: Shell) -> None:
    one = shell.run("return ctx.errand({ url: '/api/v1/bedside/water/', body: { nonsense: 1 }, words: 'Water test' });")
    entry = told(one)
    assert (entry.what, entry.words, entry.status) == ("note", "Water test", 400)
    shell.go("queue")
    expect(shell.page.locator("section.card", has_text="Water test")).to_contain_text("The unit's server refuses it:")
    shell.press("Leave it")
    assert wait_for(lambda: NotHandedOver.objects.get(pk=one).over == "left")


def test_a_page_in_the_place_of_an_answer_is_no_unit_that_has_it(shell: Shell) -> None:
    """The sign-in page of a hotel's network answers everything with 200."""
    begun = shell.whole_night()
    answering(shell, begun, 200, "<h1>Welcome to our network</h1>")
    shell.hand_over()
    shell.go("queue")
    expect(shell.page.locator("#screen")).to_contain_text("1 entry has not reached the unit yet.")
    expect(shell.page.locator("#screen")).to_contain_text("The unit could not be reached.")


DAMAGE = """async (flip) => {
  const { databases } = indexedDB;
  for (const { name } of await indexedDB.databases()) {
    const open = indexedDB.open(name);
    await new Promise((done) => { open.onsuccess = done; });
    const base = open.result;
    const store = base.transaction("nights", "readwrite").objectStore("nights");
    const all = store.getAll();
    await new Promise((done) => { all.onsuccess = done; });
    for (const row of all.result) {
      const bytes = new Uint8Array(row.body.slice(0));
      bytes[flip] ^= 1;
      store.put({ ...row, body: bytes.buffer });
    }
    await new Promise((done) => { store.transaction.oncomplete = done; });
    base.close();
  }
}"""


def damaged(shell: Shell, flip: int = 40) -> str:
    begun = shell.begin(notes="what she wrote")
    shell.page.evaluate(DAMAGE, flip)
    shell.start()
    shell.until(f"(await import('{MODULES}/app.js')).ctx.gate === 'open'")
    return begun


def test_a_damaged_night_is_told_kept_and_can_be_taken_out(shell: Shell, tmp_path: Path) -> None:
    begun = damaged(shell)
    expect(shell.page.locator("#head .state")).to_contain_text("An entry cannot be read")
    shell.page.locator("a.notice", has_text="cannot be read any more").click()
    expect(shell.page.locator("#screen")).to_contain_text("A night on this phone cannot be read")
    expect(shell.page.locator("#screen")).not_to_contain_text("The unit has everything")
    assert told(begun).what == "damaged"
    with shell.page.expect_download() as found:
        shell.press("Take it out as a file", exact=False)
    found.value.save_as(tmp_path / "entry.json")
    kept = json.loads((tmp_path / "entry.json").read_text(encoding="utf-8"))
    assert (kept["id"], kept["damaged"]) == (begun, True)
    assert "what she wrote" in kept["text"], "one bit was wrong, and everything else is readable"
    shell.press("Delete it from this phone")
    shell.press("Keep it")
    shell.press("Delete it from this phone")
    shell.press("Delete it: I have the file")
    expect(shell.page.locator("#screen")).to_contain_text("The unit has everything that was entered on this phone.")
    assert wait_for(lambda: NotHandedOver.objects.get(pk=begun).over == "left")


def test_a_damaged_night_outlives_a_new_pin(shell: Shell) -> None:
    begun = damaged(shell)
    shell.run(f"const vault = await import('{MODULES}/vault.js'); await vault.setPin('240571');")
    left: Any = shell.run(
        f"""const vault = await import('{MODULES}/vault.js');
        await vault.all('nights');
        return Promise.all(vault.damaged().map((row) => vault.salvage(row)));"""
    )
    assert [(each["id"], "what she wrote" in each["text"]) for each in left] == [(begun, True)]


def test_a_touch_is_not_lost_when_an_answer_comes_meanwhile(shell: Shell) -> None:
    bad = shell.whole_night()
    answering(shell, bad, 413)
    shell.hand_over()
    shell.go("queue")
    expect(shell.page.locator("#screen")).to_contain_text("The unit has been told that it could not be handed over.")
    button = shell.page.get_by_role("button", name="Send it again now")
    button.scroll_into_view_if_needed()
    box = button.bounding_box()
    assert box is not None
    shell.page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    shell.page.mouse.down()
    shell.run("await ctx.push();")
    shell.page.mouse.up()
    expect(shell.page.locator("#screen")).to_contain_text("Tried 2 times")
