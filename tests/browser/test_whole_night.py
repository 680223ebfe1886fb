"""A whole night by touch on a phone whose network is cut before the first check: the unit gets it whole, and once."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from playwright.sync_api import Error, Page, expect

from homedialysis.accounts.models import Unit
from sessions.facts.fields import EVENT_MOMENTS
from sessions.models import AccessSite, Patient, SupplyItem, TreatmentRecord
from sessions.texts.flows import FLOWS, key_of
from tests.browser.conftest import BrowserPage, Watched
from tests.browser.evening import wait_for
from tests.browser.hands import Hands, limits_of
from tests.browser.running_phone import evening_before, prescribed, rope_ladder
from tests.browser.shell import Shell
from tests.factories import PASSWORD, SupplyCountFactory, record_night

pytestmark = pytest.mark.django_db(transaction=True)

AHEAD = timedelta(minutes=12)
"""By how much the phone's clock is ahead of the server's when the night is sent."""
EVERY = 35
MEASURED = {"Total chlorine of the water": "0.05", "Conductivity of the dialysate": "14"}
OVERRULED = ("Needle-leak sensor on", "Awake all the time, the unit said so.")
LABELS = {
    "arterial_mmhg": "Arterial pressure (pre-pump)", "venous_mmhg": "Venous pressure",
    "tmp_mmhg": "Transmembrane pressure (TMP)", "qb_ml_min": "Blood flow rate (Qb)",
    "qd_ml_min": "Dialysate flow rate (Qd)", "uf_rate_ml_h": "UF rate set", "uf_volume_l": "UF so far",
    "systolic": "Systolic pressure", "diastolic": "Diastolic pressure", "pulse": "Pulse",
    "conductivity_ms_cm": "Conductivity", "dialysate_temperature_c": "Dialysate temperature",
}  # fmt: skip
READINGS = [
    dict(zip(LABELS, row, strict=True))
    for row in (
        (-140, 130, 55, 300, 500, 700, 0.4, 138, 80, 72, 14, 36.5),
        (-145, 130, 55, 300, 500, 700, 0.8, 131, 78, 74, 14, 36.5),
        (-145, 135, 60, 300, 500, 700, 1.35, 127, 76, 75, 14.1, 36.5),
        (-150, 140, 60, 310, 500, 700, 1.75, 122, 74, 78, 14, 36.5),
        (-150, 140, 65, 310, 500, 700, 2.15, 118, 70, 80, 14, 36.5),
        (-150, 145, 65, 300, 500, 690, 2.5, 116, 70, 79, 14, 36.4),
    )
]
CORRECTED = 125
"""What the venous pressure of the second reading really was: it is put right an hour later."""


class Night(Hands):
    """The hands, and the phone's clock that they can turn."""

    def __init__(self, watched: Watched) -> None:
        super().__init__(watched.page)
        self.watched = watched
        self.touched: dict[str, tuple[datetime, datetime]] = {}

    def now(self) -> datetime:
        return datetime.fromtimestamp(self.page.evaluate("Date.now()") / 1000, UTC)

    def wait(self, minutes: float) -> None:
        self.page.clock.fast_forward(int(minutes * 60_000))

    def noted(self, name: str, act: Any) -> None:
        """Do something, and keep between which times of the phone it was done."""
        before = self.now().replace(second=0, microsecond=0)
        act()
        self.touched[name] = (before, self.now())

    def sign_in(self) -> None:
        self.page.goto(f"{self.watched.home}/accounts/login/?next=/tonight/")
        self.page.get_by_label("E-mail address").fill("ana@example.org")
        self.page.get_by_label("Password", exact=True).fill(PASSWORD)
        self.page.get_by_role("button", name="Sign in").tap()
        expect(self.page.get_by_role("button", name=re.compile("^Begin to"))).to_be_visible()
        Shell(self.watched, self.page).kept()

    def another_page(self) -> None:
        """The page is gone; the plain address is opened again on the same phone."""
        self.page.close()
        self.page = Shell(self.watched).another_window().page
        self.page.goto(f"{self.watched.home}/tonight/")

    def crash(self) -> None:
        """The browser's process of this page dies in the middle of whatever it does."""
        with pytest.raises(Error, match="crash"):
            self.page.goto("chrome://crash")


@pytest.fixture
def night(browser_page: BrowserPage, unit: Unit, ana: Patient) -> Night:
    prescribed(ana, reading_interval_minutes=EVERY)
    phone = Night(browser_page())
    phone.watched.context.clock.install()
    return phone


@pytest.fixture
def sites(ana: Patient) -> list[AccessSite]:
    return rope_ladder(ana)


@pytest.fixture
def needle_sets(ana: Patient) -> SupplyItem:
    return SupplyCountFactory(patient=ana, item__name="Needles, 15 G", item__per_treatment=2, count=40).item


# The parts of the night ------------------------------------------------------------------------------


def before_the_needles(night: Night) -> None:
    night.go_on("Begin to")
    night.checks(MEASURED, *OVERRULED)
    night.weigh(("72.4", "142", "81", "70", "0.3", "0.2"), "Longer")
    night.access("A mid", "V mid")


def both_needles(night: Night) -> None:
    night.plain_steps(5)
    night.wait(0.6)
    night.plain_steps(2)
    night.wait(0.6)
    night.plain_steps(1)
    night.needle("1", "2", "Sharp", "25 mm")
    killed_at = night.page.locator("h1").inner_text()
    night.page.wait_for_timeout(300)
    night.another_page()
    expect(night.page.locator("h1")).to_have_text(killed_at)
    expect(night.page.locator(".step-words")).to_have_text("Tourniquet on, above the venous place")
    night.needle("2", "4")
    night.plain_steps(6)
    night.noted("heparin", lambda: night.go_on("Given: 2000 units"))
    night.go_on("Set on the machine: 2.90 L")
    night.plain_steps(3)
    night.noted("started_at", lambda: night.go_on("Treatment is running"))


def values(night: Night, index: int, names: list[str]) -> None:
    limits = limits_of(night.page)
    for name in names:
        night.value(LABELS[name], READINGS[index][name], limits[f"readings.{name}"]["step"])


def reading(night: Night, index: int) -> None:
    night.go_on("Reading")
    night.noted(f"reading {index}", lambda: values(night, index, list(LABELS)[:1]))
    values(night, index, list(LABELS)[1:])
    night.go_on("Done")


def late_reading_and_a_crash(night: Night) -> None:
    """The third comes 13 minutes late, and in the middle of it the phone's browser dies with a pad open.

    Entering the second took its own time, on a slow machine more than a minute, by which the third is later still."""
    night.wait(EVERY + 13)
    expect(night.page.locator("#screen")).to_contain_text(re.compile(r"Reading due for 1[3-5] minutes\."))
    night.go_on("Reading")
    night.noted("reading 2", lambda: values(night, 2, list(LABELS)[:1]))
    values(night, 2, list(LABELS)[1:5])
    night.press("UF so far: type a number")
    night.key(night.page.locator("dialog.pad").get_by_role("button", name="1", exact=True))
    night.page.wait_for_timeout(300)
    night.crash()
    night.another_page()
    expect(night.page.locator("h1")).to_have_text("Reading")
    expect(night.button("Dialysate flow rate (Qd): 500 mL/min, change")).to_be_visible()
    values(night, 2, list(LABELS)[5:])
    night.go_on("Done")


def correct_the_second_reading(night: Night) -> None:
    night.press(re.compile(r"Reading V 130 · A −145"))
    night.press("Venous pressure: 130 mmHg, change")
    night.pads(str(CORRECTED))
    night.go_on("Done")


def cramp(night: Night) -> None:
    night.press("Event or symptom")
    night.noted("cramp", lambda: night.press("Cramp"))
    expect(night.page.locator("#screen")).to_contain_text("Stretch the muscle. Warm it.")
    night.write(night.page.get_by_label("What happened, what was done"), "Left calf.")
    night.go_on("Done")


def pressure_drop(night: Night) -> None:
    """Gone through step by step, from the look at the needles to fluid removal on again.

    The pressure of the reading just before is shown there; it is measured again."""
    night.noted("drop", lambda: night.press("Blood pressure drop"))
    expect(night.page.locator("#screen")).to_contain_text("Look at the needles, the lines and the sheet")
    for words in ("There is no blood", "Fluid removal is off", "Done, next", "Measure again"):
        night.press(words)
    night.pads("92", "50")
    night.press("I gave saline")
    night.pads("0.2")
    night.wait(5)
    for words in ("Go on now", "I cannot measure now", "I feel better", "I spoke with the unit"):
        night.press(words)
    night.press("Fluid removal is on again")
    night.press("dizzy")
    night.go_on("Back to the treatment")


def opened_and_undone(night: Night) -> None:
    """The machine alarm was none: its card is read and noted, and the event taken back."""
    night.press("Something is wrong")
    night.press("Machine alarm will not clear")
    expect(night.page.locator(".card-lines")).to_contain_text("Look at your access, the lines and the sheet.")
    night.press(re.compile("^This happened"))
    expect(night.page.locator("#screen")).to_contain_text("Noted in the record at")
    night.press(re.compile("^Undo"))
    expect(night.page.locator("#screen")).not_to_contain_text("Noted in the record at")
    night.press("Back to the treatment")
    expect(night.page.locator("#screen")).not_to_contain_text("Machine alarm")


def running(night: Night) -> None:
    for index in (0, 1):
        night.wait(EVERY)
        reading(night, index)
    late_reading_and_a_crash(night)
    cramp(night)
    night.wait(EVERY)
    reading(night, 3)
    correct_the_second_reading(night)
    pressure_drop(night)
    night.wait(EVERY)
    reading(night, 4)
    opened_and_undone(night)
    night.wait(EVERY)
    reading(night, 5)
    night.wait(30)
    expect(night.page.locator("#screen")).to_contain_text("h over the planned time")


def finishing(night: Night) -> None:
    night.go_on("Finish")
    night.plain_steps_off(6)
    night.noted("ended_at", lambda: night.go_on("Blood is back: end now"))
    for site, minutes in (("A mid", 8), ("V mid", 6.4)):
        night.go_on(f"{site}: needle is out now")
        night.wait(minutes)
        night.go_on(f"{site}: bleeding has stopped")
    night.go_on("Enter: Weight after")
    night.pads("70.1", "126", "74", "72", "118", "70")
    night.go_on("Enter: Fluid removed")
    night.pads("2.9", "72.5")
    night.go_on("Enter: Rinse-back")
    night.pads("=", "=")
    night.go_on("Next: dialyser and machine")
    night.press("Clear")
    night.press(re.compile("^Kt.V as the machine shows it"))
    night.pads("1.42")
    night.press(re.compile("^Used as usual"))
    night.write(night.page.get_by_label("Notes"), "A long night.")
    night.go_on("That is all")
    night.after_checks()
    night.go_on("Next: look it over")


def handed_over(night: Night) -> None:
    screen = night.page.locator("#screen")
    for words in ("Cramp", "Low blood pressure", OVERRULED[0], OVERRULED[1], "6 readings, 2 events, 2 medicines"):
        expect(screen).to_contain_text(words)
    night.go_on("Hand over to the unit")
    expect(night.page.locator("#head .state")).to_contain_text("1 waits to be sent")


# What the unit has -----------------------------------------------------------------------------------


def plain_fields() -> dict[str, Any]:
    """Each number and word as it was entered; the plan is 2.9 L in 250 min: 10 mL/kg/h of 70 kg, in steps of 5.

    Version 0 of checks and run sheet are those that the product brings."""
    return {
        "pre_weight_kg": 72.4, "pre_systolic": 142, "pre_diastolic": 81, "pre_pulse": 70,
        "pre_standing_systolic": None, "pre_standing_diastolic": None, "pre_temperature_c": None,
        "planned_rinse_back_l": 0.3, "planned_intake_l": 0.2, "planned_minutes": 250, "planned_uf_l": 2.9,
        "plan_choice": "longer", "post_weight_kg": 70.1, "post_systolic": 126, "post_diastolic": 74,
        "post_pulse": 72, "post_standing_systolic": 118, "post_standing_diastolic": 70, "post_temperature_c": None,
        "set_uf_l": 2.9, "blood_lost_ml": None, "blood_return": "whole", "early_reason": "",
        "uf_removed_l": 2.9, "blood_processed_l": 72.5, "rinse_back_l": 0.3, "intake_l": 0.2, "machine_ktv": 1.42,
        "dialyser_look": "clear", "disinfected": True, "notes": "A long night.", "status": "finished",
        "prescription_version": 1, "checklist_version": 0, "run_sheet_version": 0, "confirmed": [],
    }  # fmt: skip


def without(row: dict[str, Any], *names: str) -> dict[str, Any]:
    return {name: value for name, value in row.items() if name not in names}


def expect_lists(kept: dict[str, Any], sites: list[AccessSite], needle_sets: SupplyItem) -> None:
    readings = [dict(row) for row in READINGS]
    readings[1]["venous_mmhg"] = CORRECTED
    for name in ("readings", "events", "medicines", "sites", "used_stock"):
        ids = [row["id"] for row in kept[name]]
        assert len(set(ids)) == len(ids), name
    assert [without(row, "id", "at") for row in kept["readings"]] == readings
    nothing = {"systolic": None, "diastolic": None, "saline_l": None, "outcome": "", "called": "", "use": ""}
    went = {"outcome": "went_on", "called": "unit", "use": ""}
    measured = {"systolic": 92, "diastolic": 50, "saline_l": 0.2}
    assert [without(row, "id", "at", *EVENT_MOMENTS) for row in kept["events"]] == [
        {"kind": "cramp", "note": "Left calf."} | nothing,
        {"kind": "hypotension", "note": "⟦felt⟧: ⟦dizzy⟧."} | went | measured,
    ]
    assert all(kept["events"][0][name] is None for name in EVENT_MOMENTS)
    paused, resumed, ended = (datetime.fromisoformat(kept["events"][1][name]) for name in EVENT_MOMENTS)
    assert timedelta(minutes=5) <= resumed - paused <= timedelta(minutes=9)
    assert ended == resumed
    assert [without(row, "id", "at") for row in kept["medicines"]] == [
        {"name": "⟦heparin⟧", "amount": 2000, "unit": "⟦units⟧", "note": ""},
        {"name": "⟦heparin_rate⟧", "amount": 500, "unit": "⟦units_h⟧", "note": ""},
    ]
    needles = {"gauge": 15, "needle": "sharp", "length_mm": 25, "flash": True, "flushed": True, "note": ""}
    assert [without(row, "id", "at") for row in kept["sites"]] == [
        {"site": sites[1].pk, "use": "arterial", "attempts": 1, "pain": 2, "bleeding_minutes": 8.5} | needles,
        {"site": sites[4].pk, "use": "venous", "attempts": 2, "pain": 4, "bleeding_minutes": 6.5} | needles,
    ]
    assert [without(row, "id") for row in kept["used_stock"]] == [{"item": needle_sets.pk, "count": 2}]


def expect_checks(kept: dict[str, Any]) -> None:
    rows = kept["checks"]
    assert [row["part"] for row in rows] == ["setup"] * 10 + ["access"] * 3 + ["after"] * 3
    assert {row["name"]: row["value"] for row in rows if row["value"] is not None} == {
        name: float(value) for name, value in MEASURED.items()
    }
    [failed] = [row for row in rows if not row["passed"]]
    assert (failed["name"], failed["overruled"], failed["reason"]) == (OVERRULED[0], True, OVERRULED[1])


def expect_steps(kept: dict[str, Any], sites: list[AccessSite], sheet: list[str]) -> None:
    """Each step of the run sheet once, in its order; then start, end and needles out; each by the phone's clock."""
    out = [f"needle_out_{site.pk}_{site.use}" for site in (sites[1], sites[4])]
    begin = [key for key in sheet if not key.startswith("off_")]
    off = [key for key in sheet if key.startswith("off_")]
    drop = [key_of("hypotension", step.key) for step in FLOWS["hypotension"][:11] if step.for_whom != "catheter"]
    assert [row["key"] for row in kept["steps"]] == [*begin, "running", *drop, *off, "ended", *out]
    times = [datetime.fromisoformat(row["at"]) for row in kept["steps"]]
    assert times == sorted(times)
    gone = dict(zip((row["key"] for row in kept["steps"]), times, strict=True))
    assert gone["dry_arterial"] - gone["skin_arterial"] >= timedelta(seconds=30)
    words = {row["key"]: row["words"] for row in kept["steps"]}
    assert words["pump_up"].endswith(": 300 mL/min")
    assert words["set_machine"].endswith("what=2.9 L, 500 units/h⟧")
    assert words["attempts_venous"].endswith(": 2")


def expect_times(kept: dict[str, Any], night: Night) -> None:
    found = {name: kept[name] for name in ("started_at", "ended_at")}
    found |= {f"reading {index}": row["at"] for index, row in enumerate(kept["readings"])}
    found |= {"cramp": kept["events"][0]["at"], "drop": kept["events"][1]["at"], "heparin": kept["medicines"][0]["at"]}
    assert found.keys() == night.touched.keys()
    for name, (earliest, latest) in night.touched.items():
        assert earliest <= datetime.fromisoformat(found[name]) <= latest, name


def record_of(night: Night, ana: Patient) -> TreatmentRecord:
    """The one record of this night, once it has come."""
    since = night.touched["started_at"][0] - timedelta(minutes=5)
    tonight = TreatmentRecord.objects.filter(patient=ana, started_at__gte=since)
    assert not tonight.exists(), "the network was cut"
    night.page.clock.set_system_time(datetime.now(UTC) + AHEAD)
    night.watched.context.set_offline(False)
    assert wait_for(lambda: tonight.filter(state="finished").exists(), 20)
    expect(night.page.locator("#head .state")).to_contain_text("Ready")
    return tonight.get()


def run_sheet(page: Page) -> list[str]:
    script = "async () => (await import('/static/bedside/js/app.js')).ctx.kit.run_sheet.steps.map((step) => step.key)"
    keys: list[str] = page.evaluate(script)
    return keys


def test_a_night_without_a_network_and_with_two_deaths_is_at_the_unit_once_and_as_entered(
    night: Night, ana: Patient, sites: list[AccessSite], needle_sets: SupplyItem
) -> None:
    record_night(ana, evening_before(3))
    night.sign_in()
    sheet = run_sheet(night.page)
    night.watched.context.set_offline(True)
    night.page.clock.set_system_time(datetime.now(UTC) - timedelta(hours=6))
    before_the_needles(night)
    both_needles(night)
    running(night)
    finishing(night)
    handed_over(night)
    record = record_of(night, ana)
    kept = record.as_sent
    fields = plain_fields()
    assert {name: kept[name] for name in fields} == fields
    expect_lists(kept, sites, needle_sets)
    expect_checks(kept)
    expect_steps(kept, sites, sheet)
    expect_times(kept, night)
    assert record.revision == 1
    assert record.clock_offset_s == pytest.approx(AHEAD.total_seconds(), abs=30)
    assert kept["entered_by"] == {"id": ana.account_id, "name": "Ana Verdemar"}
    assert kept["marks"] == []
