"""What every page is held to: the accessibility rules, no sideways scroll, nothing too small to touch."""

from __future__ import annotations

from contextlib import suppress
from typing import Any

from axe_playwright_python.base import AXE_SCRIPT, AxeResults
from playwright.sync_api import Error as PlaywrightError
from playwright.sync_api import Page

STANDARDS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
OPTIONS = {"runOnly": {"type": "tag", "values": STANDARDS}, "resultTypes": ["violations"]}
CONTRASTS = ["color-contrast", "link-in-text-block"]
OF_COLOURS = {"runOnly": {"type": "rule", "values": CONTRASTS}, "resultTypes": ["violations"]}
"""The rules that another light can break: all others see the same page in every light."""
SETTLES_WITHIN_MS = 3_000
NOT_TOO_WIDE = "document.documentElement.scrollWidth <= document.documentElement.clientWidth"
TOO_SMALL = """(smallest) => {
  const touched = "button, select, summary, textarea, nav a, .button, .call, .card > a, .choice label, #screen > a,"
    + " #head a, input:not([type=hidden], [type=radio], [type=checkbox])";
  const height = (each) => each.getBoundingClientRect().height;
  return [...document.querySelectorAll(touched)]
    .filter((each) => each.checkVisibility() && height(each) < smallest)
    .map((each) => `${each.tagName} ${each.textContent.trim() || each.id}: ${height(each)}`);
}"""


def expect_sound_in_every_look(page: Page, *sizes: tuple[int, int]) -> None:
    """A page that is open, in each of these sizes and in both lights: no fault, and nothing to scroll for sideways."""
    for colour in ("light", "dark"):
        page.emulate_media(color_scheme=colour)
        for width, height in sizes:
            page.set_viewport_size({"width": width, "height": height})
            expect_no_sideways_scroll(page)
            expect_accessible(page, colours_alone=colour == "dark")


def expect_accessible(page: Page, *, colours_alone: bool = False) -> None:
    """Judged with the whole page in sight, so that bars which stay in place cover nothing."""
    size = page.viewport_size
    assert size is not None
    height = page.evaluate("document.documentElement.scrollHeight")
    page.set_viewport_size({"width": size["width"], "height": height})
    page.wait_for_function("(height) => window.innerHeight >= height", arg=height)
    page.evaluate("() => new Promise((drawn) => requestAnimationFrame(() => requestAnimationFrame(drawn)))")
    found = faults(page, OF_COLOURS if colours_alone else OPTIONS)
    page.set_viewport_size(size)
    assert found.violations_count == 0, found.generate_report()


def faults(page: Page, options: dict[str, Any] = OPTIONS) -> AxeResults:
    """What breaks the rules. The rules' script stays with a page: the bedside draws all its screens on one."""
    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    return AxeResults(page.evaluate("(options) => axe.run(options)", options))


def expect_no_sideways_scroll(page: Page) -> None:
    """Charts follow the size of the window a moment later."""
    with suppress(PlaywrightError):
        page.wait_for_function(NOT_TOO_WIDE, timeout=SETTLES_WITHIN_MS)
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0, f"{page.url} is {wide} px too wide"


def too_small(page: Page, smallest: int) -> list[str]:
    """What is touched and lower than so many pixels. Links within a sentence are left out, as in WCAG 2.2, 2.5.8."""
    found: list[str] = page.evaluate(TOO_SMALL, smallest)
    return found
