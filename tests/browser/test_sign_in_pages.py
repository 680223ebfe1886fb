"""The sign-in pages and those of one's own account: usable by everyone, at 360 px, in both themes, in large letters."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from sessions.models import Patient, Prescription
from tests.browser.conftest import DESKTOP, PHONE, BrowserPage
from tests.browser.judging import expect_no_sideways_scroll, expect_sound_in_every_look, too_small
from tests.factories import PASSWORD

pytestmark = pytest.mark.django_db(transaction=True)

PAGES = ["/accounts/password/change/", "/accounts/email/", "/accounts/logout/", "/devices/"]
SIGNED_OUT = ["/accounts/login/", "/accounts/password/reset/", "/accounts/signup/", "/accounts/inactive/"]
SMALLEST = 48


def test_pages_have_no_accessibility_fault(browser_page: BrowserPage, ana: Patient) -> None:
    for person, paths in ((None, SIGNED_OUT), (ana.account, PAGES)):
        watched = browser_page(person, bypass_csp=True)
        for path in paths:
            expect_sound_in_every_look(watched.open(path), PHONE, DESKTOP)


def test_letters_of_twice_the_size_still_fit_and_what_is_touched_is_large_enough(
    browser_page: BrowserPage, ana: Patient
) -> None:
    watched = browser_page(ana.account)
    for path in PAGES:
        page = watched.open(path)
        assert too_small(page, SMALLEST) == [], path
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        expect_no_sideways_scroll(page)


def test_a_person_signs_in_and_a_wrong_password_is_told(
    browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription
) -> None:
    page = browser_page().open("/accounts/login/")
    page.get_by_label("E-mail address").fill("ana@example.org")
    page.get_by_label("Password").fill("wrong")
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("alert")).to_contain_text("not correct")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", name="Tonight", exact=True)).to_be_visible()
    expect(page.locator("#head .state")).to_contain_text("Ana Verdemar")
