"""After signing out nothing personal is readable on the phone, from whichever page it was touched."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import expect

from homedialysis.accounts.models import BedsideDevice
from sessions.models import Patient, Prescription, TreatmentRecord
from tests.browser.conftest import BrowserPage
from tests.browser.shell import Shell

pytestmark = pytest.mark.django_db(transaction=True)
LEFT = """async () => {
  const bases = (await indexedDB.databases()).map(({ name }) => name);
  const plain = Object.entries(localStorage).map(([name, value]) => `${name}=${value}`);
  const kept = [];
  for (const name of await caches.keys())
    for (const { url } of await (await caches.open(name)).keys())
      kept.push(await (await (await caches.open(name)).match(url)).text());
  return { bases, plain: plain.join(" "), kept: kept.join(" "), shown: document.body.textContent };
}"""


@pytest.fixture
def shell(browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription) -> Shell:
    return Shell(browser_page(ana.account)).ready().kept()


def left_on(shell: Shell) -> Any:
    """All that lies on the phone, seen from the page where one signs in."""
    shell.page.wait_for_url("**/accounts/login/**")
    return shell.page.evaluate(LEFT)


def sign_out_of_the_site(shell: Shell) -> None:
    with shell.page.expect_navigation():
        shell.page.locator("main").get_by_role("button", name="Sign out").click()
    shell.page.goto(f"{shell.watched.home}/accounts/login/")


@pytest.mark.parametrize("page", ["/devices/", "/accounts/password/change/", "/nights/{night}/"])
def test_nothing_is_left_by_the_button_of_any_page(shell: Shell, page: str, ana: Patient) -> None:
    begun = shell.whole_night(notes="only for the unit")
    shell.hand_over()
    assert TreatmentRecord.objects.get().notes == "only for the unit"
    shell.page.goto(shell.watched.home + page.format(night=begun))
    shell.page.locator("details.you summary").click()
    shell.page.get_by_role("button", name="Sign out").click()
    shell.page.wait_for_url("**/accounts/logout/**")
    expect(shell.page.locator("#unsent")).to_be_hidden()
    sign_out_of_the_site(shell)
    left = left_on(shell)
    assert left["bases"] == []
    for word in (ana.name, str(ana.pk), begun, "only for the unit"):
        assert word not in left["plain"] + left["kept"] + left["shown"]
    assert not BedsideDevice.objects.filter(user=ana.account).exists()


def test_what_was_not_sent_is_told_before(shell: Shell, ana: Patient) -> None:
    shell.page.route("**/api/v1/treatments/**", lambda route: route.abort())
    shell.whole_night()
    shell.hand_over()
    shell.page.goto(f"{shell.watched.home}/accounts/logout/")
    told = shell.page.locator("#unsent")
    expect(told).to_contain_text("have not reached the unit, and signing out deletes them: 1")
    told.get_by_role("link", name="Send them first").click()
    shell.heading("What waits to be sent")


def test_nights_of_another_person_on_the_same_phone_stay_theirs(shell: Shell, ana: Patient, ben: Patient) -> None:
    shell.begin(notes="Ana's, not sent")
    shell.watched.sign_in(ben.account)
    shell.start()
    expect(shell.page.locator("#head .state")).to_contain_text("Ben Okonjo")
    shell.page.goto(f"{shell.watched.home}/accounts/logout/")
    sign_out_of_the_site(shell)
    assert ana.account is not None
    assert left_on(shell)["bases"] == [f"bedside-{ana.account.pk}"]
