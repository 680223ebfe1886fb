"""The number pad: by touch and by keyboard, refusing, asking once more, and never taking the last value by itself."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Locator, expect

from sessions.models import Patient, Prescription
from tests.browser.conftest import BrowserPage
from tests.browser.judging import expect_accessible, too_small
from tests.browser.shell import Shell

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def shell(browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription) -> Shell:
    return Shell(browser_page(ana.account, bypass_csp=True, worker=False)).ready()


def ask(shell: Shell, field: str, **options: Any) -> Locator:
    body = """const { askNumber } = await import('/static/bedside/js/pad.js');
      window.answer = "nothing yet";
      const asked = askNumber({ limits: ctx.kit.limits[given.field], ...given });
      asked.then((number) => { window.answer = number === undefined ? "left" : number; });"""
    shell.run(body, {"field": field, **options})
    pad = shell.page.get_by_role("dialog")
    expect(pad).to_be_visible()
    return pad


def answer(shell: Shell) -> Any:
    return shell.page.evaluate("window.answer")


def touch(pad: Locator, *keys: str) -> None:
    for key in keys:
        pad.get_by_role("button", name=key, exact=True).click()


def test_figures_are_touched_and_taken(shell: Shell) -> None:
    pad = ask(shell, "pre_weight_kg", last=71.2)
    touch(pad, "7", "2", "Decimal sign", "4")
    expect(pad.get_by_role("status")).to_have_text("72.4")
    touch(pad, "Take it")
    assert answer(shell) == 72.4


def test_the_impossible_is_refused_and_the_unusual_asked_about(shell: Shell) -> None:
    pad = ask(shell, "pre_weight_kg")
    touch(pad, "7", "2", "5", "Take it")
    expect(pad.get_by_role("alert")).to_have_text("Weight before must be between 20 and 300 kg; 725 was given.")
    touch(pad, "1", "6", "5", "Take it")
    expect(pad.get_by_text("165 kg is unusual (weight before is usually 63 to 77 kg). Is it right?")).to_be_visible()
    assert answer(shell) == "nothing yet"
    touch(pad, "Change it")
    touch(pad, "Take it")
    touch(pad, "Yes, it is right")
    assert answer(shell) == 165


def test_the_last_value_is_seen_and_taken_only_by_its_own_key(shell: Shell) -> None:
    pad = ask(shell, "readings.arterial_mmhg", last=-140)
    expect(pad.get_by_text("Last: −140 mmHg")).to_be_visible()
    touch(pad, "Take it")
    assert answer(shell) is None, "nothing was entered"
    pad = ask(shell, "readings.arterial_mmhg", last=-140)
    touch(pad, "Same as last: −140 mmHg", "One step down", "Take it")
    assert answer(shell) == -145
    pad = ask(shell, "readings.arterial_mmhg")
    touch(pad, "1", "5", "0", "Plus or minus", "Take it")
    assert answer(shell) == -150


def test_a_keyboard_does_all_of_it(shell: Shell) -> None:
    pad = ask(shell, "pre_weight_kg", value=70)
    for key in ("7", "1", ",", "5", "Backspace", "6", "ArrowUp", "Enter"):
        shell.page.keyboard.press(key)
    expect(pad).to_have_count(0)
    assert answer(shell) == 71.7
    ask(shell, "pre_weight_kg", value=70)
    shell.page.keyboard.press("Escape")
    assert answer(shell) == "left"


def test_the_decimal_key_is_the_languages(shell: Shell) -> None:
    shell.run("const { set } = await import('/static/bedside/js/settings.js'); await set({ language: 'es' }, ctx.kit);")
    pad = ask(shell, "pre_weight_kg")
    shell.page.keyboard.press("7")
    pad.locator(".pad-key", has_text=",").click()
    shell.page.keyboard.press("4")
    shell.page.keyboard.press("Escape")
    pad = ask(shell, "post_weight_kg", value=70.5)
    expect(pad.get_by_role("status")).to_have_text("70,5")


@pytest.mark.parametrize("colour", ["light", "dark"])
def test_the_pad_is_open_to_everyone(
    browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription, colour: str
) -> None:
    shell = Shell(browser_page(ana.account, bypass_csp=True, worker=False, colour=colour)).ready()
    pad = ask(shell, "readings.arterial_mmhg", last=-140, value=-120)
    expect_accessible(shell.page)
    assert too_small(shell.page, 56) == []
    touch(pad, "9", "9", "9", "Take it")
    expect_accessible(shell.page)
    shell.page.evaluate("document.documentElement.style.fontSize = '200%'")
    assert shell.page.evaluate("document.querySelector('.pad').scrollWidth <= innerWidth")


def test_a_field_writes_its_path_and_notes_what_was_confirmed(shell: Shell) -> None:
    shell.begin()
    body = """const { numberField } = await import('/static/bedside/js/pad.js');
      document.querySelector('#screen').append(numberField(ctx, 'pre_weight_kg', { last: 71.2 }));"""
    shell.run(body)
    shell.page.locator("[data-path=pre_weight_kg]").click()
    touch(shell.page.get_by_role("dialog"), "1", "6", "5", "Take it", "Yes, it is right")
    night = shell.night()
    assert (night["doc"]["pre_weight_kg"], night["doc"]["confirmed"]) == (165, ["pre_weight_kg"])
    expect(shell.page.locator("#undo")).to_contain_text("165 kg")
    shell.press("Undo", exact=False)
    assert shell.night()["doc"]["confirmed"] == []
