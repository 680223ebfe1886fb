"""The phone pages and the sign-in pages: usable by everyone, at 360 px, in both themes, with large letters."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from sessions.models import Patient, Prescription
from tests.browser.bedside import STARTED, Bedside
from tests.browser.conftest import DESKTOP, PHONE, BrowserPage
from tests.factories import PASSWORD, record_night

pytestmark = pytest.mark.django_db(transaction=True)

STANDARDS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
PAGES = ["/tonight/", "/record/", "/nights/", "/accounts/password/change/", "/accounts/email/", "/accounts/logout/"]
SIGNED_OUT = ["/accounts/login/", "/accounts/password/reset/", "/accounts/signup/", "/accounts/inactive/"]
PARTS = ["Before", "During", "After", "Hand over"]
SMALLEST = 48
TOO_SMALL = """(smallest) => {
  const touched = "button, select, summary, textarea, nav a, .button, .call, .card > a, .choice label,"
    + " input:not([type=hidden], [type=radio], [type=checkbox])";
  const height = (each) => each.getBoundingClientRect().height;
  return [...document.querySelectorAll(touched)]
    .filter((each) => each.checkVisibility() && height(each) < smallest)
    .map((each) => `${each.tagName} ${each.textContent.trim() || each.id}: ${height(each)}`);
}"""


def expect_accessible(page: Page) -> None:
    """Judged with the whole page in sight, so that bars which stay in place cover nothing."""
    size = page.viewport_size
    assert size is not None
    height = page.evaluate("document.documentElement.scrollHeight")
    page.set_viewport_size({"width": size["width"], "height": height})
    page.wait_for_function("(height) => window.innerHeight >= height", arg=height)
    page.evaluate("() => new Promise((drawn) => requestAnimationFrame(() => requestAnimationFrame(drawn)))")
    found = Axe().run(page, options={"runOnly": {"type": "tag", "values": STANDARDS}})
    page.set_viewport_size(size)
    assert found.violations_count == 0, found.generate_report()


def expect_no_sideways_scroll(page: Page) -> None:
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0, f"{page.url} is {wide} px too wide"


@pytest.mark.parametrize("colour", ["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_pages_have_no_accessibility_fault(
    browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription, colour: str, size: tuple[int, int]
) -> None:
    record_night(ana, STARTED, pre_weight_kg=165)
    signed_out = browser_page(colour=colour, size=size, bypass_csp=True)
    for path in SIGNED_OUT:
        expect_accessible(signed_out.open(path))
        expect_no_sideways_scroll(signed_out.page)
    signed_in = browser_page(ana.account, colour=colour, size=size, bypass_csp=True)
    for path in PAGES:
        page = signed_in.open(path)
        expect(page.locator("[data-view=starting]:not([hidden])")).to_have_count(0)
        expect_accessible(page)
        expect_no_sideways_scroll(signed_in.page)


@pytest.mark.parametrize("colour", ["light", "dark"])
def test_the_record_in_use_has_no_accessibility_fault(
    browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription, colour: str
) -> None:
    """With a refused number, a question, an open form, a failed check and rows on the page."""
    hands = Bedside(browser_page(ana.account, colour=colour, bypass_csp=True))
    hands.begin()
    hands.whole_night()
    hands.part("Before")
    hands.page.get_by_label("Not right").first.check()
    hands.write("pre_weight_kg", "725")
    hands.write("pre_systolic", "195")
    hands.part("During")
    hands.page.get_by_role("button", name="Add a reading").click()
    for part in PARTS:
        hands.part(part)
        expect_accessible(hands.page)
        expect_no_sideways_scroll(hands.page)


def test_letters_of_twice_the_size_still_fit_the_phone(
    browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription
) -> None:
    record_night(ana, STARTED)
    watched = browser_page(ana.account)
    for path in [*PAGES, *(f"/record/?choose=1#{part}" for part in ("during", "after", "handover"))]:
        watched.open("/accounts/inactive/")
        page = watched.open(path)
        expect(page.locator("[data-view=starting]:not([hidden])")).to_have_count(0)
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        expect_no_sideways_scroll(page)


def test_what_is_touched_on_the_phone_is_large_enough(
    browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription
) -> None:
    """Links within a sentence are left out, as in WCAG 2.2, 2.5.8; ticks count with their label."""
    record_night(ana, STARTED)
    hands = Bedside(browser_page(ana.account))
    for path in ("/tonight/", "/nights/"):
        assert hands.watched.open(path).evaluate(TOO_SMALL, SMALLEST) == [], path
    hands.begin()
    hands.whole_night()
    for part in PARTS:
        hands.part(part)
        found = [each for each in hands.page.evaluate(TOO_SMALL, SMALLEST) if not each.startswith("SUMMARY Target")]
        assert found == [], part


def test_tonight_shows_what_holds_and_whom_to_call(
    browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription
) -> None:
    page = browser_page(ana.account).open("/tonight/")
    prescription = page.locator("section", has=page.get_by_role("heading", name="Your prescription"))
    for words in ("Target weight\n70 kg", "Length\n4:00 h", "Blood flow (Qb)\n300 mL/min", "10 mL/kg/h"):
        assert words in prescription.inner_text()
    expect(page.get_by_role("link", name="Call 112")).to_have_attribute("href", "tel:112")
    expect(page.get_by_role("link", name="Unit on call 01632 960100")).to_have_attribute("href", "tel:01632960100")
    expect(page.get_by_text("not an alarm: nobody watches it through the night")).to_be_visible()


def test_without_a_prescription_the_page_says_not_to_begin(browser_page: BrowserPage, ana: Patient) -> None:
    page = browser_page(ana.account).open("/tonight/")
    expect(page.get_by_text("Do not begin a treatment: call the unit.")).to_be_visible()
    expect(page.get_by_role("link", name="Begin tonight's record")).to_have_count(0)


def test_a_person_signs_in_and_a_wrong_password_is_told(browser_page: BrowserPage, ana: Patient) -> None:
    page = browser_page().open("/accounts/login/")
    page.get_by_label("E-mail address").fill("ana@example.org")
    page.get_by_label("Password").fill("wrong")
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("alert")).to_contain_text("not correct")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", name="Tonight")).to_be_visible()
    page.get_by_text("You", exact=True).click()
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
