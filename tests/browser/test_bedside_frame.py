"""The frame and its own screens: usable by everyone, in each light and for each hand, with large letters."""

from __future__ import annotations

import json

import pytest
from playwright.sync_api import expect

from sessions.models import Patient, Prescription
from tests.browser.conftest import BrowserPage
from tests.browser.judging import expect_accessible, expect_no_sideways_scroll, too_small
from tests.browser.shell import STARTED, Shell

pytestmark = pytest.mark.django_db(transaction=True)
SCREENS = ("more", "settings", "queue", "storage", "lock", "taken", "choose", "gone", "first", "conflict")
BAR = """() => {
  const wrong = document.querySelector('#wrong').getBoundingClientRect();
  return [wrong.left, innerWidth - wrong.right, innerHeight - wrong.bottom];
}"""


def open_shell(browser_page: BrowserPage, patient: Patient, look: dict[str, str], **options: object) -> Shell:
    watched = browser_page(patient.account, bypass_csp=True, **options)
    watched.context.add_init_script(f"localStorage.setItem('bedside.look', {json.dumps(json.dumps(look))})")
    shell = Shell(watched).ready()
    shell.begin(started_at=STARTED.isoformat(), pre_weight_kg=72.5, notes="mine")
    shell.run(
        """ctx.night.faults = [{ field: 'post_weight_kg', message: 'Weight after must be lower.' }];
      const theirs = { revision: 2, status: 'open', received_at: given, started_at: given, notes: 'theirs' };
      ctx.night.conflict = { ...theirs, readings: [{ at: given, venous_mmhg: 140 }] };
      ctx.patients = [{ id: 'x', name: 'Ana Verdemar' }];
      ctx.trouble = 'unreachable';
      ctx.gone = { reason: 'Nurse Kim', lost: 2 };""",
        STARTED.isoformat(),
    )
    return shell


@pytest.mark.parametrize(
    ("theme", "hand"), [("light", "right"), ("dark", "left"), ("night", "right"), ("night", "left")]
)
def test_own_screens_have_no_accessibility_fault(
    browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription, theme: str, hand: str
) -> None:
    shell = open_shell(browser_page, ana, {"theme": theme, "hand": hand, "shownHand": hand})
    for name in SCREENS:
        shell.go(name)
        expect_accessible(shell.page)
        expect_no_sideways_scroll(shell.page)
        assert too_small(shell.page, 56) == [], name


def test_letters_of_twice_the_size_fit_the_phone(
    browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription
) -> None:
    shell = open_shell(browser_page, ana, {})
    shell.page.evaluate("document.documentElement.style.fontSize = '200%'")
    for name in SCREENS:
        shell.go(name)
        expect_no_sideways_scroll(shell.page)
        spilling = """() => [...document.querySelectorAll('#screen *, #dock *, #head *')]
          .filter((each) => each.checkVisibility() && each.getBoundingClientRect().right > innerWidth + 1)
          .map((each) => each.outerHTML.slice(0, 80))"""
        assert shell.page.evaluate(spilling) == [], name


def test_something_is_wrong_stands_in_the_thumbs_corner_of_every_screen(
    browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription
) -> None:
    for hand in ("left", "right"):
        shell = open_shell(browser_page, ana, {"hand": hand, "shownHand": hand})
        places = set()
        for name in (*SCREENS, "tonight", "checks", "weigh", "needles", "running", "finish", "summary"):
            shell.go(name)
            left, right, below = shell.page.evaluate(BAR)
            assert (left < right) == (hand == "left"), name
            places.add(round(below))
        assert len(places) == 1, places


def test_written_from_right_to_left_the_thumb_stays_on_its_side(
    browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription
) -> None:
    shell = open_shell(browser_page, ana, {"hand": "right", "shownHand": "right"})
    shell.run(
        """document.documentElement.dataset.dir = 'rtl';
      const s = await import('/static/bedside/js/settings.js');
      await s.set({ language: 'en' }, ctx.kit);"""
    )
    shell.go("queue")
    assert shell.page.evaluate("[document.documentElement.dir, document.documentElement.dataset.thumb]") == [
        "rtl",
        "start",
    ]
    left, right, _ = shell.page.evaluate(BAR)
    assert right < left
    expect_no_sideways_scroll(shell.page)


def test_a_text_being_typed_is_not_taken_away_by_a_redraw(
    browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription
) -> None:
    shell = open_shell(browser_page, ana, {})
    shell.go("settings")
    shell.press("Set a PIN")
    field = shell.page.get_by_label("New PIN")
    field.fill("1234")
    shell.run("ctx.redraw();")
    expect(field).to_have_value("1234")
    expect(field).to_be_focused()


def test_a_screen_that_fails_says_so_and_loses_nothing(
    browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription
) -> None:
    shell = open_shell(browser_page, ana, {})
    shell.run(
        """const { register } = await import('/static/bedside/js/router.js');
      register('broken', { title: () => 'Broken', draw: () => { throw new Error('made for the test'); } });"""
    )
    shell.go("broken")
    expect(shell.page.get_by_text("Nothing that you entered is lost.")).to_be_visible()
    shell.press("To tonight")
    assert shell.night()["doc"]["pre_weight_kg"] == 72.5
    assert [fault for fault in shell.watched.faults if "made for the test" in fault]
    shell.watched.faults.clear()
