"""The unit's pages of alerts in a real browser: live without disturbing, usable by keyboard, open to everyone."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Page, expect

from alerts.models import Alert, PendingEvaluation
from alerts.services import acting
from alerts.services.evaluation import evaluate_pending
from alerts.services.heartbeat import PARTS, sign_of_life
from homedialysis.accounts.models import User
from sessions.models import Patient
from tests.browser.conftest import DESKTOP, PHONE, BrowserPage
from tests.browser.judging import expect_sound_in_every_look
from tests.factories import record_night

pytestmark = pytest.mark.django_db(transaction=True)

TRIAGE = "/triage/"
A_LITTLE_OVER = 16_000
"""[ms] The list asks again every 15 seconds."""


@pytest.fixture(autouse=True)
def _machinery_works(unit: object) -> None:
    for part in PARTS:
        sign_of_life(part, at=timezone.now() + timedelta(hours=1))


@pytest.fixture
def last_night() -> datetime:
    return timezone.now().replace(microsecond=0) - timedelta(hours=20)


def faint(patient: Patient, start: datetime, **changes: object) -> Alert:
    """A night on which the patient fainted, evaluated."""
    record_night(patient, start, events=[{"at": start.isoformat(), "kind": "fainted", "note": ""}], **changes)
    evaluate_pending(at=start + timedelta(hours=12))
    return Alert.objects.get(patient=patient, rule="fainted")


def watch(page: Page) -> None:
    """Take the page's clock into the test's hands, before it is opened."""
    page.clock.install()


def test_a_new_alert_appears_and_the_focus_stays(
    browser_page: BrowserPage, nurse: User, ana: Patient, ben: Patient, last_night: datetime
) -> None:
    first = faint(ana, last_night)
    watched = browser_page(nurse, size=DESKTOP)
    watch(watched.page)
    page = watched.open(TRIAGE)
    link = page.locator(f"#open-{first.pk}")
    link.focus()
    faint(ben, last_night + timedelta(hours=1))
    page.clock.run_for(A_LITTLE_OVER)
    expect(page.get_by_role("link", name="Ben Okonjo")).to_be_visible()
    expect(link).to_be_focused()
    expect(page.locator("#live-note")).to_contain_text("Something changed at")


def test_without_news_the_page_is_left_as_it_is(
    browser_page: BrowserPage, nurse: User, ana: Patient, last_night: datetime
) -> None:
    faint(ana, last_night)
    watched = browser_page(nurse, size=DESKTOP)
    watch(watched.page)
    page = watched.open(TRIAGE)
    page.evaluate("document.querySelector('#triage-list').dataset.same = 'yes'")
    with page.expect_response(lambda answer: "/triage/list/" in answer.url) as answer:
        page.clock.run_for(A_LITTLE_OVER)
    assert answer.value.status == 204
    expect(page.locator("#triage-list")).to_have_attribute("data-same", "yes")


def test_a_hidden_page_asks_nothing_until_it_is_looked_at(
    browser_page: BrowserPage, nurse: User, ana: Patient, last_night: datetime
) -> None:
    watched = browser_page(nurse, size=DESKTOP)
    watch(watched.page)
    asked: list[str] = []
    watched.page.on("request", lambda request: asked.append(request.url) if "/triage/list/" in request.url else None)
    page = watched.open(TRIAGE)
    page.evaluate("Object.defineProperty(document, 'hidden', { value: true, configurable: true })")
    page.clock.run_for(4 * A_LITTLE_OVER)
    assert asked == []
    faint(ana, last_night)
    page.evaluate("""() => {
      Object.defineProperty(document, 'hidden', { value: false, configurable: true });
      document.dispatchEvent(new Event('visibilitychange'));
    }""")
    expect(page.get_by_role("link", name="Ana Verdemar")).to_be_visible()


def test_a_list_that_cannot_be_renewed_says_so(browser_page: BrowserPage, nurse: User) -> None:
    watched = browser_page(nurse, size=DESKTOP)
    watch(watched.page)
    page = watched.open(TRIAGE)
    expect(page.locator("#live-trouble")).to_be_hidden()
    page.route("**/triage/list/**", lambda route: route.fulfill(status=502, body=""))
    page.clock.run_for(A_LITTLE_OVER)
    expect(page.locator("#live-trouble")).to_be_visible()
    page.unroute("**/triage/list/**")
    page.clock.run_for(A_LITTLE_OVER)
    expect(page.locator("#live-trouble")).to_be_hidden()
    watched.faults.clear()  # htmx tells the console of the answer that the test made up


def test_pages_have_no_accessibility_fault(
    browser_page: BrowserPage,
    nurse: User,
    ana: Patient,
    ben: Patient,
    last_night: datetime,
) -> None:
    alert = faint(ana, last_night, post_weight_kg=None)
    acting.close(alerts=[faint(ben, last_night)], by=nurse, outcome="spoken", words="Well.", at=timezone.now())
    at = timezone.now()
    PendingEvaluation.objects.create(
        patient=ana, why="treatment recorded", created_at=at, due_at=at, last_error="Oops", put_aside_at=at
    )
    record = ana.treatments.get()
    page = browser_page(nurse, size=DESKTOP, bypass_csp=True)
    addresses = [reverse(f"alerts:{name}") for name in ("triage", "closed", "put-aside", "unit-limits")]
    addresses += [reverse(f"alerts:{name}", args=[ana.pk]) for name in ("limits", "of-patient")]
    addresses += [reverse("alerts:detail", args=[alert.pk]), reverse("alerts:of-record", args=[record.pk])]
    for address in addresses:
        expect_sound_in_every_look(page.open(address), DESKTOP, (768, 1024), PHONE)


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_what_is_typed_of_a_call_outlives_a_look_and_the_other_way_round(
    browser_page: BrowserPage, nurse: User, ana: Patient, last_night: datetime, scripts: bool
) -> None:
    faint(ana, last_night)
    page = browser_page(nurse, size=DESKTOP, scripts=scripts).open(f"/triage/{ana.pk}/")
    page.get_by_label("What was said").fill("Slept badly, leg cramps.")
    page.locator("#id_parts_0").check()
    page.get_by_role("button", name="I have looked at it").click()
    expect(page.get_by_text("Looked at: 1 alert.")).to_be_visible()
    expect(page.get_by_label("What was said")).to_have_value("Slept badly, leg cramps.")
    page.get_by_label("Words").fill("Ask about salt.")
    page.get_by_label("reached", exact=False).first.check()
    page.get_by_role("button", name="Save the call").click()
    expect(page.get_by_text("The call is noted.")).to_be_visible()
    expect(page.get_by_label("Words")).to_have_value("Ask about salt.")
    expect(page.get_by_label("What was said")).to_have_value("")
