"""Whether the night opens without a network: the head says "Ready" when it does, else what is missing is said."""

from __future__ import annotations

import pytest
from playwright.sync_api import Locator, expect

from sessions.models import Patient, Prescription
from sessions.pages import bedside as pages
from tests.browser.conftest import BrowserPage
from tests.browser.shell import Shell
from tests.factories import PrescriptionFactory

pytestmark = pytest.mark.django_db(transaction=True)

NEVER_ANSWERED = "StorageManager.prototype.persist = () => new Promise(() => {});"
WITHOUT_WORKER = "delete Navigator.prototype.serviceWorker;"
TURNED_DOWN = "StorageManager.prototype.persist = function () { this.asked = true; return Promise.resolve(false); };"


@pytest.fixture
def anas_prescription(ana: Patient) -> Prescription:
    return PrescriptionFactory(patient=ana, version=1)


@pytest.fixture
def shell(browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription) -> Shell:
    return Shell(browser_page(ana.account))


def head(shell: Shell) -> Locator:
    return shell.page.locator("#head .state")


def says(shell: Shell, words: str) -> None:
    """Once the worker is through, which fetches every file of the release."""
    expect(head(shell)).to_contain_text(words, timeout=20_000)


def test_a_question_about_the_storage_that_nobody_answers_holds_nothing_up(shell: Shell) -> None:
    shell.page.add_init_script(NEVER_ANSWERED)
    shell.ready().kept()
    says(shell, "Ready")
    shell.page.get_by_role("button", name="Begin tonight's treatment").click()
    shell.heading("Checks before")
    shell.page.wait_for_timeout(300)
    shell.offline()
    shell.start()
    shell.heading("Checks before")
    shell.go("danger")
    expect(shell.page.locator("#screen a[href^='tel:']").first).to_be_visible()


def test_the_storage_is_asked_for_only_with_a_touch_in_a_night_that_was_begun(shell: Shell) -> None:
    shell.page.add_init_script(TURNED_DOWN)
    shell.ready().kept()
    says(shell, "Ready")
    shell.go("settings")
    shell.go("tonight")
    assert shell.page.evaluate("navigator.storage.asked") is None
    shell.page.get_by_role("button", name="Begin tonight's treatment").click()
    shell.heading("Checks before")
    shell.press("Good")  # the unit is asked first whether one runs, so a night is there with the next touch
    assert shell.page.evaluate("navigator.storage.asked") is True


def test_ready_is_not_said_where_the_browser_keeps_no_page(shell: Shell) -> None:
    shell.page.add_init_script(WITHOUT_WORKER)
    shell.ready()
    says(shell, "Not ready for a night without a network")
    notice = shell.page.locator("a.notice", has_text="could not open your night again")
    expect(notice).to_be_visible()
    notice.click()
    shell.heading("Storage of this phone")
    page, kit, cards = (shell.page.locator("#screen dl dd").nth(index) for index in range(3))
    expect(page).to_contain_text("not kept: this browser, or a private window, keeps no page")
    expect(kit).to_have_text("kept")
    expect(cards).to_have_text("kept")


def test_half_a_release_is_not_ready_and_is_fetched_when_it_can_be(
    shell: Shell, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = pages.addresses()
    monkeypatch.setattr(pages, "addresses", lambda: [*whole, "/static/bedside/js/nowhere.js"])
    shell.ready()
    says(shell, "Not ready for a night without a network")
    monkeypatch.setattr(pages, "addresses", lambda: whole)
    shell.page.evaluate("window.dispatchEvent(new Event('online'))")
    says(shell, "Ready")


def test_a_file_that_the_browser_cleared_is_not_taken_for_kept(shell: Shell) -> None:
    shell.ready().kept()
    says(shell, "Ready")
    clear = """async () => {
      const store = await caches.open((await caches.keys())[0]);
      const [first] = (await store.keys()).filter(({ url }) => url.endsWith(".css"));
      await store.delete(first);
      return first.url;
    }"""
    cleared = shell.page.evaluate(clear)
    shell.ready()
    says(shell, "Ready")
    assert shell.page.evaluate("async (url) => Boolean(await caches.match(url))", cleared)


def test_a_cleared_file_that_cannot_be_fetched_is_told(shell: Shell) -> None:
    shell.ready().kept()
    says(shell, "Ready")
    clear = """async () => {
      const store = await caches.open((await caches.keys())[0]);
      for (const request of await store.keys()) if (request.url.endsWith(".svg")) await store.delete(request);
    }"""
    shell.page.evaluate(clear)
    shell.offline()
    shell.start()
    expect(head(shell)).to_contain_text("No network, and not everything is kept")


def test_a_kit_that_is_not_on_the_phone_is_not_ready(shell: Shell) -> None:
    shell.ready().kept()
    says(shell, "Ready")
    body = """const vault = await import('/static/bedside/js/vault.js');
      await vault.remove("kit", ctx.kit.id);
      await (await import('/static/bedside/js/offline.js')).look(ctx);"""
    shell.run(body)
    says(shell, "Not ready for a night without a network")
