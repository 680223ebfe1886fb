"""Every screen with letters of twice the size, on narrow phones, for either hand: each word can be read, help stays."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from sessions.models import AccessSite, Patient, TreatmentRecord
from tests.browser.conftest import BrowserPage
from tests.browser.every_screen import SCREENS, full, ready, show, sites
from tests.browser.running_phone import SMALLEST_PX, Phone

__all__ = ["full", "sites"]

pytestmark = pytest.mark.django_db(transaction=True)

MOST_OF_WINDOW = 0.48
"""What the actions that stay in sight may take of a window at most."""
HIDDEN = """() => {
  const found = [];
  const bottom = document.getElementById("bottom");
  const head = document.getElementById("head");
  const stays = getComputedStyle(head).position === "sticky";
  const words = document.createTreeWalker(document.getElementById("screen"), NodeFilter.SHOW_TEXT);
  while (words.nextNode()) {
    const at = words.currentNode;
    const box = at.parentElement;
    if (!at.data.trim() || !box.checkVisibility()) continue;
    if (box.closest(".visually-hidden, option, svg, [aria-hidden=true]:not(.label)")) continue;
    const range = document.createRange();
    range.selectNodeContents(at);
    for (let line = 0; line < range.getClientRects().length; line += 1) {
      const before = range.getClientRects()[line];
      const free = bottom.getBoundingClientRect().top;
      scrollBy(0, before.top + before.height / 2 - free / 2);
      const seen = range.getClientRects()[line];
      const top = stays ? head.getBoundingClientRect().bottom : 0;
      const below = bottom.getBoundingClientRect().top;
      const there = document.elementFromPoint((seen.left + seen.right) / 2, (seen.top + seen.bottom) / 2);
      const between = seen.top >= top - 1 && seen.bottom <= below + 1;
      const inside = between && seen.left >= -1 && seen.right <= innerWidth + 1;
      if (!inside || !there || !(box.contains(there) || there.contains(box)) || bottom.contains(there)) {
        found.push(`${at.data.trim().slice(0, 40)}: ${seen.top} to ${seen.bottom} of ${below}`);
      }
    }
  }
  return found;
}"""
"""Lines of text of the screen that cannot be brought between head and dock, or are covered there."""
DOCK = """() => {
  const place = (element) => {
    const box = element?.getBoundingClientRect();
    if (!box) return null;
    const there = document.elementFromPoint((box.left + box.right) / 2, (box.top + box.bottom) / 2);
    const inside = box.top >= 0 && box.bottom <= innerHeight + 1 && box.left >= 0 && box.right <= innerWidth + 1;
    return { touchable: inside && element.contains(there), at: [box.left, box.right, box.bottom].map(Math.round) };
  };
  return {
    taken: document.getElementById("dock").offsetHeight / innerHeight,
    wrong: place(document.getElementById("wrong")), main: place(document.querySelector("#dock .arc > *")),
    sideways: document.documentElement.scrollWidth - innerWidth,
  };
}"""
COVERED = """(least) => {
  const dialog = document.querySelector("dialog");
  const found = dialog.scrollWidth > dialog.clientWidth + 1 ? ["wider than the dialog"] : [];
  for (const each of dialog.querySelectorAll("button, output, h2, p")) {
    if (!each.checkVisibility() || !each.textContent.trim()) continue;
    each.scrollIntoView({ block: "center" });
    const box = each.getBoundingClientRect();
    const there = document.elementFromPoint((box.left + box.right) / 2, (box.top + box.bottom) / 2);
    const small = each.matches("button") && (box.width < least - 0.5 || box.height < least - 0.5);
    const cut = each.scrollWidth > each.clientWidth + 1 && getComputedStyle(each).display !== "inline";
    const outside = box.top < -1 || box.bottom > innerHeight + 1;
    if (small || cut || outside || !(each.contains(there) || there?.contains(each))) {
      found.push(`${each.textContent} ${box.width} x ${box.height} from ${box.top}`);
    }
  }
  return found;
}"""
"""What of an open dialog cannot be seen or touched, wherever it is scrolled, or is too small."""


def by_the_page(phone: Phone) -> None:
    phone.page.evaluate("document.documentElement.style.fontSize = '200%'")


def by_the_browser(phone: Phone) -> None:
    """The size of letters as it is set in the browser itself."""
    session = phone.watched.context.new_cdp_session(phone.page)
    session.send("Page.setFontSizes", {"fontSizes": {"standard": 32}})


def by_the_bedside(phone: Phone) -> None:
    phone.page.evaluate("document.documentElement.dataset.text = '3'")


WAYS: list[tuple[Callable[[Phone], None], tuple[int, int], str]] = [
    (by_the_page, (360, 740), "right"),
    (by_the_page, (320, 568), "left"),
    (by_the_browser, (360, 740), "left"),
    (by_the_browser, (320, 568), "right"),
    (by_the_bedside, (320, 568), "right"),
]


def places() -> list[str]:
    return [place for places in SCREENS.values() for place in places]


def large(browser_page: BrowserPage, ana: Patient, sites: list[AccessSite], way: tuple[Any, ...]) -> Phone:
    grow, (width, height), hand = way
    phone = ready(browser_page, ana, sites, "light", hand)
    phone.page.set_viewport_size({"width": width, "height": height})
    grow(phone)
    assert phone.page.evaluate("parseFloat(getComputedStyle(document.documentElement).fontSize)") >= 24
    return phone


@pytest.mark.parametrize("way", WAYS, ids=lambda way: f"{way[0].__name__}-{way[1][0]}-{way[2]}")
def test_with_very_large_letters_each_word_can_be_read_and_help_stays(
    browser_page: BrowserPage, ana: Patient, sites: list[AccessSite], full: None, way: tuple[Any, ...]
) -> None:
    phone = large(browser_page, ana, sites, way)
    past = str(TreatmentRecord.objects.latest("started_at").pk)
    corners, faults = set(), {}
    for place in places():
        show(phone, place, past)
        dock = phone.page.evaluate(DOCK)
        faults[place] = phone.page.evaluate(HIDDEN)
        for name in ("wrong", "main"):
            if dock[name] and not dock[name]["touchable"]:
                faults[place].append(f"{name} is out of reach at {dock[name]['at']}")
        if dock["wrong"]:
            corners.add(tuple(dock["wrong"]["at"]))
        elif not place.startswith("danger"):
            faults[place].append("no way to help")
        if dock["taken"] > MOST_OF_WINDOW or dock["sideways"] > 0:
            faults[place].append(f"dock takes {dock['taken']:.2f}, sideways {dock['sideways']} px")
        faults[place] += phone.too_small()
    assert {place: found for place, found in faults.items() if found} == {}
    assert len(corners) == 1, corners


@pytest.mark.parametrize("way", WAYS[1:4:2], ids=lambda way: f"{way[0].__name__}-{way[1][0]}-{way[2]}")
def test_with_very_large_letters_the_pad_can_be_used(
    browser_page: BrowserPage, ana: Patient, sites: list[AccessSite], full: None, way: tuple[Any, ...]
) -> None:
    phone = large(browser_page, ana, sites, way)
    phone.go("weigh")
    phone.page.locator("[data-path='pre_systolic']").click()
    assert phone.page.evaluate(COVERED, SMALLEST_PX) == []
    phone.tap("9")
    phone.tap("Take it")
    assert phone.page.evaluate(COVERED, SMALLEST_PX) == []
    for key in "250":
        phone.tap(key)
    phone.tap("Take it")
    phone.page.get_by_role("button", name="Change it").wait_for()
    assert phone.page.evaluate(COVERED, SMALLEST_PX) == []


@pytest.mark.parametrize("way", WAYS[:2], ids=lambda way: f"{way[0].__name__}-{way[1][0]}-{way[2]}")
def test_while_something_can_be_undone_the_main_action_and_help_stay(
    browser_page: BrowserPage, ana: Patient, sites: list[AccessSite], full: None, way: tuple[Any, ...]
) -> None:
    phone = large(browser_page, ana, sites, way)
    show(phone, "finish", "")
    phone.tap("Clear")
    phone.page.locator("#undo .big").wait_for()
    dock = phone.page.evaluate(DOCK)
    assert dock["wrong"]["touchable"]
    assert dock["main"]["touchable"]
    assert phone.page.evaluate(HIDDEN) == []
    assert phone.too_small() == []


def test_the_measure_sees_what_is_hidden(
    browser_page: BrowserPage, ana: Patient, sites: list[AccessSite], full: None
) -> None:
    phone = large(browser_page, ana, sites, WAYS[0])
    show(phone, "more", "")
    assert phone.page.evaluate(HIDDEN) == []
    phone.page.evaluate(
        "() => { const last = document.createElement('p'); last.textContent = 'under the dock';"
        " last.style.marginBottom = '-12rem'; document.getElementById('screen').append(last); }"
    )
    assert "under the dock" in [words.split(":")[0] for words in phone.page.evaluate(HIDDEN)]


def test_each_place_on_the_drawn_arm_is_large_enough(
    browser_page: BrowserPage, ana: Patient, sites: list[AccessSite], full: None
) -> None:
    phone = ready(browser_page, ana, sites, "night", "right")
    phone.page.set_viewport_size({"width": 320, "height": 568})
    phone.go("access")
    phone.page.locator(".site .target").first.wait_for()
    script = "() => [...document.querySelectorAll('.site .target')].map((each) => each.getBoundingClientRect().width)"
    sizes = phone.page.evaluate(script)
    assert len(sizes) == len(sites)
    assert min(sizes) >= SMALLEST_PX
