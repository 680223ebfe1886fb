"""Before the first treatment: what it is, and what makes a phone fit for a night; told until it was seen."""

from __future__ import annotations

from datetime import timedelta

import pytest
from playwright.sync_api import expect

from sessions.models import Patient
from tests.browser.conftest import BrowserPage
from tests.browser.running_phone import now_minute, prescribed
from tests.browser.shell import Shell
from tests.factories import record_night

pytestmark = pytest.mark.django_db(transaction=True)


def test_whoever_has_no_treatment_behind_them_is_shown_what_this_is(browser_page: BrowserPage, ana: Patient) -> None:
    prescribed(ana)
    shell = Shell(browser_page(ana.account)).ready().kept()
    offer = shell.page.get_by_role("button", name="Before your first treatment")
    offer.click()
    shell.heading("Before your first treatment")
    screen = shell.page.locator("#screen")
    expect(screen).to_contain_text("This is a record, not an alarm")
    expect(screen).to_contain_text("Does it open without a network?")
    expect(screen.get_by_role("button", name="Try the reminder")).to_be_visible()
    screen.get_by_role("button", name="Set a PIN").click()
    shell.heading("Settings")
    shell.go("welcome")
    shell.press("I have seen this")
    shell.until("document.documentElement.dataset.screen === 'tonight'")
    expect(offer).to_have_count(0)
    shell.ready()
    expect(offer).to_have_count(0)


def test_whoever_has_treatments_behind_them_is_not(browser_page: BrowserPage, ana: Patient) -> None:
    prescribed(ana)
    record_night(ana, now_minute() - timedelta(days=2))
    shell = Shell(browser_page(ana.account, worker=False)).ready()
    shell.until("document.documentElement.dataset.screen === 'tonight'")
    expect(shell.page.get_by_role("button", name="Before your first treatment")).to_have_count(0)
