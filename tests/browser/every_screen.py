"""Every screen of the bedside by a table, with something on each: for what is judged screen by screen."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from playwright.sync_api import expect

from homedialysis.accounts.models import Unit, User
from sessions.models import AccessSite, Message, Patient
from tests.browser.conftest import BrowserPage
from tests.browser.running_phone import Phone, now_minute, prescribed, rope_ladder
from tests.factories import MachineFactory, SupplyCountFactory, record_night

SCREENS: dict[str, tuple[str, ...]] = {
    "access": ("access",),
    "answer": ("answer/{past}",),
    "surroundings": ("surroundings", "surroundings/water/bacteria", "surroundings/count"),
    "changes": ("changes",),
    "checks": tuple(f"checks/{at}" for at in ("setup/hands", "setup/leak_sensor", "setup/phone", "setup/all", "after")),
    "choose": ("choose",),
    "conflict": ("conflict",),
    "danger": ("danger", "danger/needle_out", "danger/power_water"),
    "due": ("due",),
    "event": ("event", "event/0"),
    "finish": ("finish",),
    "first": ("first",),
    "flow": ("flow/hypotension/hypotension", "flow/power_failure/power_failure"),
    "gone": ("gone",),
    "helper": ("helper",),
    "home": ("home",),
    "lock": ("lock",),
    "medicine": ("medicine", "medicine/0"),
    "messages": ("messages",),
    "mistake": ("mistake",),
    "again": ("again",),
    "noplace": ("noplace/arterial",),
    "more": ("more",),
    "needles": tuple(f"needles/{at}" for at in (0, 5, 8, 9, 12, 13, 23, 26)),
    "nights": ("nights", "nights/{past}"),
    "nottonight": ("nottonight",),
    "open": ("open/00000000-0000-4000-8000-000000000000",),
    "paper": ("paper",),
    "queue": ("queue",),
    "reading": ("reading", "reading/0"),
    "running": ("running",),
    "second": ("second",),
    "settings": ("settings",),
    "storage": ("storage",),
    "summary": ("summary",),
    "taken": ("taken",),
    "takeout": ("takeout",),
    "tonight": ("tonight",),
    "trends": ("trends",),
    "weigh": ("weigh",),
    "welcome": ("welcome",),
}
"""Screen by screen the addresses at which it is judged; of the needles, one step of each kind: plain, waiting, needle,
yes or no, attempts, pain, pump, done."""
SETTING = """async ([modules, given]) => {
  const { ctx } = await import(`${modules}/app.js`);
  const { fetchRest, screenOf } = await import(`${modules}/router.js`);
  await fetchRest();
  for (const name of given.screens) if (!screenOf(name)) throw new Error(`no screen ${name}`);
  const check = (key, rest) => {
    const item = ctx.kit.checklist.items.find((each) => each.key === key);
    const blank = { value: null, unit: "", note: "", overruled: false, reason: "" };
    return { ...blank, name: item.name, key, part: item.part, at: given.start, ...rest };
  };
  const overruled = check("phone", { passed: false, overruled: true, reason: "It charges." });
  ctx.night.doc.checks = [check("leak_sensor", { passed: false }), overruled];
  ctx.night.faults = [{ field: "post_weight_kg", message: "Weight after must be lower." }];
  const theirs = { revision: 2, status: "open", received_at: given.start, started_at: given.start, notes: "theirs" };
  ctx.night.conflict = { ...theirs, readings: [{ at: given.start, venous_mmhg: 140 }] };
  ctx.patients = [{ id: "x", name: "Ana Verdemar" }];
  ctx.trouble = "unreachable";
  ctx.gone = { reason: "Nurse Kim", lost: 2 };
  await ctx.save();
}"""
AT_STEP = """async ([modules, at]) => {
  const { ctx } = await import(`${modules}/app.js`);
  ctx.night.plan.sheet = { at, since: ctx.now().toISOString(), failed: "" };
  ctx.redraw();
}"""


def on_screen(row: dict[str, Any]) -> dict[str, Any]:
    """What is needed for each screen to have something on it."""
    nothing = {"note": "", "systolic": None, "diastolic": None, "saline_l": None}
    return {
        "ended_at": now_minute().isoformat(), "pre_weight_kg": 74, "post_weight_kg": 71.4, "uf_removed_l": 3.4,
        "pre_systolic": 196, "pre_diastolic": 90, "planned_rinse_back_l": 0.3, "planned_intake_l": 0.2,
        "readings": [{"at": row["at"], "venous_mmhg": 265, "systolic": 120, "diastolic": 70}],
        "events": [
            {"id": kind, "at": row["at"], "kind": kind} | nothing for kind in ("cramp", "hypotension", "power_failure")
        ],
        "medicines": [{"at": row["at"], "name": "⟦heparin⟧", "amount": 2000, "unit": "⟦units⟧", "note": ""}],
    }  # fmt: skip


def used(site: AccessSite) -> dict[str, Any]:
    return {
        "site": site.pk, "use": site.use, "attempts": 2, "bleeding_minutes": None, "gauge": 15, "needle": "sharp",
        "length_mm": 25, "pain": 3, "flash": True, "flushed": True, "note": "", "at": None,
    }  # fmt: skip


@pytest.fixture
def sites(ana: Patient) -> list[AccessSite]:
    return rope_ladder(ana)


@pytest.fixture
def full(ana: Patient, nurse: User, unit: Unit) -> None:
    """Something from the unit on each screen that shows it."""
    prescribed(ana)
    Message.objects.create(patient=ana, words="Bloods on Friday.", sent_by=nurse, sent_at=now_minute())
    MachineFactory(patient=ana, since=(now_minute() - timedelta(days=30)).date())
    SupplyCountFactory(patient=ana, count=20)
    record_night(ana, now_minute() - timedelta(days=9))


def unfold(phone: Phone) -> None:
    phone.page.evaluate("for (const each of document.querySelectorAll('#screen details')) each.open = true;")


def show(phone: Phone, place: str, past: str) -> None:
    name, _, at = place.partition("/")
    phone.go("tonight")
    address = place.format(past=past)
    phone.go(*address.split("/"))
    if name == "needles":
        phone.page.evaluate(AT_STEP, ["/static/bedside/js", int(at)])
    expect(phone.page.locator("html")).to_have_attribute("data-screen", name)
    expect(phone.page.get_by_text("This screen cannot be shown")).to_have_count(0)
    unfold(phone)


def ready(browser_page: BrowserPage, ana: Patient, sites: list[AccessSite], theme: str, hand: str) -> Phone:
    phone = Phone(browser_page(ana.account, bypass_csp=True, worker=False))
    look = json.dumps({"theme": theme, "hand": hand, "shownHand": hand})
    phone.watched.context.add_init_script(f"localStorage.setItem('bedside.look', {json.dumps(look)})")
    start = (now_minute() - timedelta(minutes=245)).isoformat()
    phone.ready(started_at=start, sites=[used(sites[0]), used(sites[3])], **on_screen({"at": start}))
    phone.page.evaluate(SETTING, ["/static/bedside/js", {"start": start, "screens": list(SCREENS)}])
    return phone
