"""A browser that lacks a function: told so with the numbers and the paper sheet, or the bedside goes on without it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from sessions.models import Patient, Prescription
from sessions.pages.bedside import FOLDER
from tests.browser.conftest import BrowserPage, Watched
from tests.factories import PrescriptionFactory

pytestmark = pytest.mark.django_db(transaction=True)

FLOOR = (FOLDER / "js" / "floor.js").read_text(encoding="utf-8")
NEEDED = re.findall(r'^    "([\w.]+)"', FLOOR, re.MULTILINE)
LEFT_AWAY = (
    "AbortSignal.timeout",
    "AudioContext",
    "Navigator.prototype.locks",
    "Navigator.prototype.serviceWorker",
    "Navigator.prototype.storage",
    "Navigator.prototype.vibrate",
    "Navigator.prototype.wakeLock",
    "Notification",
    "caches",
    "indexedDB",
    "localStorage",
)
"""What some browsers or windows lack, and the bedside goes on without."""
YOUNG = {
    r"\.at\(": "Array.prototype.at",
    r"\.findLast\(": "Array.prototype.findLast",
    r"\.findLastIndex\(": "Array.prototype.findLastIndex",
    r"\.replaceAll\(": "String.prototype.replaceAll",
    r"\.replaceChildren\(": "Element.prototype.replaceChildren",
    r"\.showModal\(": "HTMLDialogElement.prototype.showModal",
    r"\bstructuredClone\(": "structuredClone",
    r"\brandomUUID\(": "crypto.randomUUID",
    r"\bhasOwn\(": "Object.hasOwn",
    r"\.to(Sorted|Reversed|Spliced)\(": "Array.prototype.toSorted",
    r"\bgroupBy\(": "Object.groupBy",
    r"\bAbortSignal\.(timeout|any)\b": "AbortSignal.timeout",
    r"\bPromise\.withResolvers\b": "Promise.withResolvers",
    r"\(\?<[=!]": "a look behind in a pattern",
    r"\bIntl\.(?:ListFormat|RelativeTimeFormat|DurationFormat|Segmenter|DisplayNames)\b": "Intl",
}
"""Words of scripts that came to phones within a few years, and what they stand on."""
TAKE_AWAY = """
  const path = decodeURIComponent(location.search.slice(6)).split(".");
  const last = path.pop();
  let at = window;
  for (const name of path) at = at[name];
  for (; at && !Object.hasOwn(at, last); at = Object.getPrototypeOf(at));
  if (at && last && !delete at[last]) Object.defineProperty(at, last, { value: undefined });
"""


@pytest.fixture
def anas_prescription(ana: Patient) -> Prescription:
    return PrescriptionFactory(patient=ana, version=1)


@pytest.fixture
def phone(browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription) -> Watched:
    watched = browser_page(ana.account, worker=False)
    watched.page.add_init_script(TAKE_AWAY)
    return watched


def lacking(phone: Watched, path: str) -> Page:
    phone.page.goto(f"{phone.home}/tonight/?lack={path}#/tonight", wait_until="domcontentloaded")
    return phone.page


def test_each_young_word_of_the_scripts_is_looked_for_before_they_run() -> None:
    used = {}
    for path in sorted(Path(FOLDER / "js").rglob("*.js")):
        script = path.read_text(encoding="utf-8")
        used |= {name: path.name for word, name in YOUNG.items() if re.search(word, script) and name not in NEEDED}
    assert used == {}


def test_a_browser_that_lacks_a_function_is_told_so_with_the_numbers_and_the_paper(phone: Watched) -> None:
    assert len(NEEDED) > 20
    for path in NEEDED:
        page = lacking(phone, path)
        expect(page.get_by_role("heading", name="This browser is too old")).to_be_visible()
        expect(page.locator("#lacks")).to_contain_text(path)
        expect(page.get_by_role("link", name="Emergency call")).to_have_attribute("href", re.compile("^tel:"))
        expect(page.get_by_role("link", name="Call the unit")).to_be_visible()
        expect(page.get_by_role("link", name="Paper sheet (PDF)")).to_be_visible()
        expect(page.locator("#dock *")).to_have_count(0)
        assert "cannot be reached" not in page.locator("body").inner_text()
    phone.faults.clear()  # modules that stumble over what they lack have nothing on the page by then


def test_without_what_only_helps_a_treatment_begins_all_the_same(phone: Watched) -> None:
    for path in LEFT_AWAY:
        page = lacking(phone, path)
        page.get_by_role("button", name="Begin tonight's treatment").or_(
            page.get_by_role("button", name="Go on", exact=True)
        ).first.click()
        expect(page.get_by_role("heading", level=1)).to_have_text("Checks before")
        page.goto("about:blank")


def test_the_paper_sheet_of_that_page_is_the_persons_own(phone: Watched, ana: Patient) -> None:
    answer = phone.context.request.get(f"{phone.home}/takeout/flow-sheet.pdf")
    assert answer.url.endswith(f"/takeout/{ana.pk}/flow-sheet.pdf")
    assert answer.body().startswith(b"%PDF")
