"""Access, needles, the running treatment and emergencies with letters of twice the size."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from playwright.sync_api import expect

from sessions.models import Patient
from tests.browser.judging import expect_no_sideways_scroll
from tests.browser.running_phone import MakePhone, Phone, at_bedside, prescribed, rope_ladder

__all__ = ["at_bedside"]

pytestmark = pytest.mark.django_db(transaction=True)

SCREENS = (
    "access", "needles", "running", "reading", "reading/0", "event", "event/0", "bpdrop/1", "medicine", "medicine/0",
    "danger", "danger/needle_out",
)  # fmt: skip


def a_night_with_everything(phone: Phone) -> None:
    at = (phone.now - timedelta(minutes=20)).isoformat()
    event = {"note": "", "systolic": None, "diastolic": None, "saline_l": None}
    before = (phone.now - timedelta(minutes=30)).isoformat()
    phone.running(
        70,
        planned_uf_l=2.4,
        readings=[{"at": at, "venous_mmhg": 260, "arterial_mmhg": -140, "systolic": 130, "uf_volume_l": 0.7}],
        events=[{"at": before, "kind": "cramp", **event}, {"at": at, "kind": "hypotension", **event}],
        medicines=[{"at": at, "name": "Heparin", "amount": 2000, "unit": "units", "note": ""}],
    )


def looking(at_bedside: MakePhone, ana: Patient, *, theme: str, hand: str) -> Phone:
    prescribed(ana)
    rope_ladder(ana)
    phone = at_bedside(ana.account, bypass_csp=True)
    look = json.dumps({"hand": hand, "theme": theme, "text": "1", "language": "", "lockAfter": 0})
    phone.watched.context.add_init_script(f"localStorage.setItem('bedside.look', '{look}')")
    a_night_with_everything(phone)
    return phone


def to_screen(phone: Phone, name: str) -> None:
    phone.go(name)
    shown = "(name) => document.documentElement.dataset.screen === name"
    phone.page.wait_for_function(shown, arg=name.split("/")[0])


def test_letters_of_twice_the_size_fit_the_narrow_phone(at_bedside: MakePhone, ana: Patient) -> None:
    phone = looking(at_bedside, ana, theme="light", hand="right")
    phone.page.evaluate("document.documentElement.style.fontSize = '200%'")
    for name in SCREENS:
        to_screen(phone, name)
        expect_no_sideways_scroll(phone.page)
        cut = phone.page.evaluate(
            """() => [...document.querySelectorAll("button, a.big")].filter((each) => each.checkVisibility())
              .filter((each) => each.scrollWidth > each.clientWidth + 1).map((each) => each.textContent)"""
        )
        assert cut == [], name
    expect(phone.page.locator("#screen h1")).to_be_visible()
