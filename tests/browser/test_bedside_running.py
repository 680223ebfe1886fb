"""The running treatment: how far it is, readings, medicines, events, the guided note, the light and the reminder."""

from __future__ import annotations

import random
import re
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import expect

from sessions.models import Patient
from sessions.services.document import TreatmentDocument
from tests.browser.running_phone import MakePhone, Phone, at_bedside, evening_before, prescribed
from tests.factories import record_night

__all__ = ["at_bedside"]

pytestmark = pytest.mark.django_db(transaction=True)

LISBON = ZoneInfo("Europe/Lisbon")
LIGHT = """
  window.lights = [];
  const wakeLock = {
    async request() {
      const lock = new EventTarget();
      lock.released = false;
      lock.release = async () => { lock.released = true; lock.dispatchEvent(new Event("release")); };
      window.lights.push(lock);
      return lock;
    },
  };
  Object.defineProperty(Navigator.prototype, "wakeLock", { configurable: true, get: () => wakeLock });
  window.lit = () => window.lights.filter((lock) => !lock.released).length;
"""
HEARD = """
  window.heard = { tones: 0, shakes: 0 };
  const make = AudioContext.prototype.createOscillator;
  AudioContext.prototype.createOscillator = function () { window.heard.tones += 1; return make.call(this); };
  Navigator.prototype.vibrate = () => { window.heard.shakes += 1; return true; };
"""


@pytest.fixture
def phone(at_bedside: MakePhone, ana: Patient) -> Phone:
    prescribed(ana)
    return at_bedside(ana.account)


def accepted(phone: Phone, patient: Patient) -> Any:
    """The document as it would be sent, judged by the server's own rules -> its validated data."""
    body = """const { ctx } = await import("/static/bedside/js/app.js"); return m.documentOf(ctx.night, "open");"""
    reader = TreatmentDocument(
        data=phone.run("draft", body), context={"patient": patient, "now": datetime.now(UTC) + timedelta(minutes=1)}
    )
    assert reader.is_valid(), reader.errors
    return reader.validated_data


def enter(phone: Phone, row: str, text: str) -> None:
    """Type a number into the pad of a row."""
    phone.page.get_by_role("button", name=re.compile(rf"^{re.escape(row)}: (enter|type a number)$")).first.click()
    pad = phone.page.locator("dialog")
    for sign in text:
        pad.get_by_role("button", name={".": "Decimal sign", "-": "Plus or minus"}.get(sign, sign), exact=True).click()
    pad.get_by_role("button", name="Take it").click()


def press(phone: Phone, words: str) -> None:
    phone.page.get_by_role("button", name=re.compile(words)).first.click()


# How far it is -------------------------------------------------------------------------------------


def test_elapsed_remaining_and_fluid_stand_on_the_first_screen(phone: Phone) -> None:
    at = (phone.now - timedelta(minutes=15)).isoformat()
    phone.running(95, planned_uf_l=2.4, readings=[{"at": at, "uf_volume_l": 0.85}])
    screen = phone.page.locator("#screen")
    expect(screen).to_contain_text("1:35 h running")
    end = (phone.now + timedelta(minutes=145)).astimezone(LISBON)
    expect(screen).to_contain_text(f"2:25 h left, until {end:%H:%M}")
    expect(screen).to_contain_text("To take off: 2.40 L in 4:00 h · not noted as set on the machine")
    expect(screen).to_contain_text("Heparin bolusnot noted")
    expect(screen).to_contain_text("0.85 L of 2.4 L")
    expect(screen).to_contain_text("about 1.0 L")  # 2.4 L times 95 of 240 minutes is 0.95 L
    heparin_off = end - timedelta(minutes=30)
    expect(screen).to_contain_text(f"at {heparin_off:%H:%M}")


def due_by_calendar(
    started: datetime, rows: list[datetime], interval: int, minutes: int, quiet: bool
) -> datetime | None:
    """When the next reading is due, by the calendar of the zone: an independent second way.

    The first one stands ten minutes after the start, whatever the hour: the others are held against it."""
    due = max([started, *rows]) + timedelta(minutes=interval) if rows else started + timedelta(minutes=10)
    wall = due.astimezone(LISBON)
    if rows and quiet and (wall.hour >= 22 or wall.hour < 6):
        day = wall.date() + timedelta(days=wall.hour >= 22)
        due = datetime(day.year, day.month, day.day, 6, tzinfo=LISBON).astimezone(UTC)
    return None if due >= started + timedelta(minutes=minutes) else due


def test_the_next_reading_agrees_with_the_calendar_also_over_the_change_of_clocks(phone: Phone) -> None:
    phone.ready()
    chance = random.Random(6)
    cases, expected = [], []
    for _ in range(300):
        started = datetime(2026, 3, 27, tzinfo=UTC) + timedelta(minutes=chance.randrange(4 * 1440))
        rows = [started + timedelta(minutes=chance.randrange(1, 400)) for _ in range(chance.randrange(3))]
        interval, minutes, quiet = chance.choice((30, 60, 120)), chance.choice((240, 480, 600)), chance.random() < 0.6
        expected.append(due_by_calendar(started, rows, interval, minutes, quiet))
        cases.append(
            {
                "night": {
                    "doc": {
                        "started_at": started.isoformat().replace("+00:00", "Z"),
                        "readings": [{"at": row.isoformat().replace("+00:00", "Z")} for row in rows],
                    }
                },
                "kit": {
                    "patient": {"zone": "Europe/Lisbon"},
                    "prescription": {
                        "minutes": minutes, "reading_interval_minutes": interval, "quiet_at_night": quiet,
                    },
                },
            }
        )  # fmt: skip
    found = phone.run("course", "return given.map(({ night, kit }) => m.readingDue(night, kit));", cases)
    assert [each and datetime.fromisoformat(each) for each in found] == expected
    assert 30 < sum(each is None for each in expected) < 250


def test_a_reading_that_is_due_is_told_and_can_be_noted_as_missed(phone: Phone, ana: Patient) -> None:
    phone.running(70)
    expect(phone.page.locator("#screen")).to_contain_text("Reading due for 60 minutes.")
    phone.tap("It was missed: go on from here")
    due = phone.now - timedelta(minutes=60)
    [step] = phone.doc()["steps"]
    assert (step["key"], datetime.fromisoformat(step["at"])) == ("reading_missed", due)
    following = (due + timedelta(minutes=60)).astimezone(LISBON)
    expect(phone.page.locator("#screen")).to_contain_text(f"Next reading at {following:%H:%M}")
    expect(phone.page.locator("#screen")).to_contain_text("Reading missed")
    accepted(phone, ana)
    press(phone, "Reading missed")  # touched again it is taken back
    assert phone.doc()["steps"] == []


def test_it_is_quiet_when_no_readings_are_wanted_during_sleep(at_bedside: MakePhone, ana: Patient) -> None:
    prescribed(ana, quiet_at_night=True, minutes=600, max_minutes=660)
    phone = at_bedside(ana.account)
    phone.ready()
    started = datetime(2026, 3, 2, 21, 30, tzinfo=LISBON)
    at = started + timedelta(hours=2)
    body = """m.ctx.now = () => new Date(given.now);
      m.ctx.change("start", (night) => { night.doc.started_at = given.started; night.stage = "running"; });"""
    phone.run("app", body, {"now": at.isoformat(), "started": started.isoformat()})
    phone.go("running")
    expect(phone.page.locator("#screen")).to_contain_text("Reading due for 110 minutes.")  # the one of the beginning
    first = (started + timedelta(minutes=15)).isoformat()
    phone.run("app", "m.ctx.change('one', (night) => night.doc.readings.push({ at: given, pulse: 70 }));", first)
    expect(phone.page.locator("#screen")).to_contain_text(
        "Next reading at 06:00, in 6:30 h.Readings: 10 min after the start, then every 60 min, none from 22:00 to 06:00"
    )
    expect(phone.page.locator("#screen .note.care")).to_have_count(0)


# Readings ------------------------------------------------------------------------------------------


def test_each_value_is_touched_same_stepped_or_typed_and_none_comes_unseen(phone: Phone, ana: Patient) -> None:
    record_night(ana, evening_before(2))  # venous 130, arterial −140, Qb 300
    phone.running(70)
    phone.tap("Reading")
    phone.run("app", "m.ctx.kit.prescription.dialysate_temperature_c = 35.5; m.ctx.redraw();")
    temperature = phone.page.get_by_role("group", name="Dialysate temperature")
    expect(temperature).to_contain_text("prescribed 35.5")  # tonight's, and not the one of the night before
    expect(temperature.get_by_role("button", name="Dialysate temperature: as prescribed, 35.5 °C")).to_be_visible()
    row = phone.page.get_by_role("group", name="Venous pressure")
    expect(row).to_contain_text("last 130")
    press(phone, r"^Venous pressure: same as last, 130 mmHg$")
    [reading] = phone.doc()["readings"]
    assert {key: value for key, value in reading.items() if key not in ("id", "at")} == {"venous_mmhg": 130}
    press(phone, r"^Arterial pressure \(pre-pump\): step down$")
    press(phone, r"^Blood flow rate \(Qb\): step up$")
    enter(phone, "UF so far", "0.7")
    [reading] = phone.doc()["readings"]
    told = {key: value for key, value in reading.items() if key not in ("id", "at")}
    assert told == {"venous_mmhg": 130, "arterial_mmhg": -145, "qb_ml_min": 310, "uf_volume_l": 0.7}
    press(phone, r"^Venous pressure: 130 mmHg, change$")
    phone.page.locator("dialog").get_by_role("button", name="Leave").click()
    phone.tap("Done")
    expect(phone.page.locator("#screen")).to_contain_text("V 130 · A −145 · Qb 310")
    accepted(phone, ana)


def test_the_last_value_is_tonights_once_there_is_one(phone: Phone, ana: Patient) -> None:
    record_night(ana, evening_before(2))
    at = phone.now - timedelta(minutes=30)
    phone.running(70, readings=[{"at": at.isoformat(), "venous_mmhg": 165}])
    phone.go("reading")
    venous = phone.page.get_by_role("group", name="Venous pressure")
    expect(venous).to_contain_text(f"last 165, {at.astimezone(LISBON):%H:%M}")
    expect(phone.page.get_by_role("group", name="Blood flow rate (Qb)")).to_contain_text("prescribed 300")


def test_what_is_impossible_is_refused_and_what_is_unusual_asked_once_more(phone: Phone) -> None:
    at = (phone.now - timedelta(minutes=30)).isoformat()
    phone.running(70, readings=[{"at": at, "venous_mmhg": 250, "systolic": 300}])
    phone.go("reading")
    press(phone, r"^Systolic pressure: step up$")
    expect(phone.page.locator("#undo")).to_contain_text("must be between 40 and 300 mmHg; 301 was given.")
    assert len(phone.doc()["readings"]) == 1
    press(phone, r"^Venous pressure: step up$")
    expect(phone.page.locator("#screen")).to_contain_text("255 mmHg is unusual")
    assert phone.doc()["confirmed"] == []
    phone.tap("Yes, it is right")
    assert phone.doc()["confirmed"] == ["readings[1].venous_mmhg"]
    press(phone, r"^Venous pressure: step up$")
    assert phone.doc()["confirmed"] == []  # another value wants its own answer


def test_a_late_reading_gets_its_time_and_its_place_and_no_time_twice(phone: Phone, ana: Patient) -> None:
    now = phone.now
    rows = [{"at": (now - timedelta(minutes=back)).isoformat(), "venous_mmhg": back} for back in (60, 20)]
    phone.running(70, readings=rows)
    phone.go("reading")
    press(phone, r"^Venous pressure: same as last, 20 mmHg$")
    assert phone.page.evaluate("location.hash") == "#/reading/2"
    press(phone, r"^Time: ")
    phone.tap("Type the time")
    wall = (now - timedelta(minutes=30)).astimezone(ZoneInfo("Europe/Lisbon"))
    for key in (*f"{wall:%H%M}".lstrip("0"), "Take it"):
        phone.page.locator("dialog.pad").get_by_role("button", name=key, exact=True).click()
    phone.tap("Use this time")
    assert phone.page.evaluate("location.hash") == "#/reading/1"
    moved = [(datetime.fromisoformat(row["at"]), row["venous_mmhg"]) for row in phone.doc()["readings"]]
    assert [value for _, value in moved] == [60, 20, 20]
    assert moved[1][0] == now - timedelta(minutes=30)
    press(phone, r"^Time: ")
    phone.tap("10 minutes later")  # where the second reading stands
    phone.tap("Use this time")
    expect(phone.page.locator("#undo")).to_contain_text("There is a reading at")
    phone.tap("Remove this reading")
    assert [row["venous_mmhg"] for row in phone.doc()["readings"]] == [60, 20]
    phone.tap("Undo", exact=False)
    assert [row["venous_mmhg"] for row in phone.doc()["readings"]] == [60, 20, 20]


def test_a_page_that_dies_in_a_reading_comes_back_to_it(phone: Phone, ana: Patient) -> None:
    record_night(ana, evening_before(2))
    phone.running(70)
    phone.go("reading")
    press(phone, r"^Venous pressure: same as last, 130 mmHg$")
    phone.page.wait_for_timeout(300)
    phone.kill()
    expect(phone.page.get_by_role("button", name="Venous pressure: 130 mmHg, change")).to_be_visible()
    press(phone, r"^Blood flow rate \(Qb\): as prescribed, 300 mL.min$")
    [reading] = phone.doc()["readings"]
    assert (reading["venous_mmhg"], reading["qb_ml_min"]) == (130, 300)


# Medicines and events ------------------------------------------------------------------------------


def test_heparin_is_given_with_the_prescription_in_sight(phone: Phone, ana: Patient) -> None:
    phone.running(70)
    phone.tap("Medicine")
    expect(phone.page.get_by_role("group", name="Heparin bolus")).to_contain_text("prescribed 2000 units")
    press(phone, r"^Heparin bolus: same as last, 2000 units$")
    press(phone, r"^Heparin rate: step down$")
    rows = [(row["name"], row["amount"], row["unit"]) for row in phone.doc()["medicines"]]
    assert sorted(rows) == [("⟦heparin_rate⟧", 450, "⟦units_h⟧"), ("⟦heparin⟧", 2000, "⟦units⟧")]
    press(phone, r"^Heparin bolus: 2000 units")  # in the list of what was given
    phone.tap("Remove this medicine")
    assert [row["name"] for row in phone.doc()["medicines"]] == ["⟦heparin_rate⟧"]
    phone.page.get_by_text("Another medicine").click()
    phone.page.get_by_label("Name").fill("Iron")
    phone.tap("Note it")
    enter(phone, "Iron", "100")
    assert ("Iron", 100, "mg") in [(row["name"], row["amount"], row["unit"]) for row in phone.doc()["medicines"]]
    accepted(phone, ana)


def test_an_event_is_stored_at_the_touch_with_the_units_first_aid(phone: Phone, ana: Patient) -> None:
    phone.running(70)
    phone.tap("Event or symptom")
    phone.tap("Cramp")
    aid = phone.run("app", "return m.ctx.kit.first_aid.cramp;")
    expect(phone.page.locator("#screen")).to_contain_text(aid)
    [event] = phone.doc()["events"]
    assert event["kind"] == "cramp"
    assert datetime.fromisoformat(event["at"]) == phone.now + timedelta(seconds=20)
    phone.page.get_by_label("What happened, what was done").fill("Left calf, stretched it.")
    phone.page.get_by_label("What happened, what was done").blur()
    assert phone.doc()["events"][0]["note"] == "Left calf, stretched it."
    accepted(phone, ana)
    phone.tap("Remove this event")
    assert phone.doc()["events"] == []


# Light and reminder --------------------------------------------------------------------------------


def test_the_screen_stays_on_while_it_matters_and_only_then(phone: Phone) -> None:
    phone.watched.context.add_init_script(LIGHT)
    phone.running(10)
    phone.page.wait_for_function("() => window.lit() === 1")
    phone.go("reading")
    phone.page.wait_for_timeout(100)
    assert phone.page.evaluate("window.lit()") == 1
    # The browser lets go when the page is hidden; when it is seen again the light is taken again.
    phone.page.evaluate("() => window.lights.at(-1).release()")
    phone.page.evaluate("() => document.dispatchEvent(new Event('visibilitychange'))")
    phone.page.wait_for_function("() => window.lit() === 1")
    phone.go("tonight")
    phone.page.wait_for_function("() => window.lit() === 0")
    phone.go("running")
    phone.page.wait_for_function("() => window.lit() === 1")
    phone.page.get_by_text("Reminder and screen").click()
    phone.page.get_by_role("group", name="Keep the screen on").get_by_role("button", name="Off").click()
    phone.page.wait_for_function("() => window.lit() === 0")


def test_the_next_reading_sounds_and_shakes_once_after_a_touch(phone: Phone) -> None:
    phone.watched.context.add_init_script(HEARD)
    phone.ready()
    phone.page.mouse.click(180, 60)  # the touch that browsers want before a page may sound
    started = datetime.now(UTC) - timedelta(minutes=10) + timedelta(seconds=3)
    body = "m.ctx.change('start', (night) => { night.doc.started_at = given; night.stage = 'running'; });"
    phone.run("app", body, started.isoformat())
    phone.go("running")
    assert phone.page.evaluate("window.heard") == {"tones": 0, "shakes": 0}
    phone.page.wait_for_function("() => window.heard.shakes > 0")
    phone.page.wait_for_timeout(500)
    assert phone.page.evaluate("window.heard") == {"tones": 2, "shakes": 1}
    phone.page.get_by_text("Reminder and screen").click()
    expect(phone.page.locator("#screen")).to_contain_text("A reminder only, no alarm")
    expect(phone.page.locator("#screen")).to_contain_text("This phone can give: sound, vibration.")


def test_no_reminder_comes_for_a_reading_that_was_begun_in_time(phone: Phone) -> None:
    phone.watched.context.add_init_script(HEARD)
    phone.ready()
    phone.page.mouse.click(180, 60)
    started = datetime.now(UTC) - timedelta(minutes=10) + timedelta(seconds=3)
    body = "m.ctx.change('start', (night) => { night.doc.started_at = given; night.stage = 'running'; });"
    phone.run("app", body, started.isoformat())
    phone.go("running")
    body = "m.ctx.change('reading', (night) => night.doc.readings.push({ at: new Date().toISOString(), pulse: 70 }));"
    phone.run("app", body)
    phone.page.wait_for_timeout(4500)
    assert phone.page.evaluate("window.heard") == {"tones": 0, "shakes": 0}


@pytest.mark.parametrize(
    ("minutes", "words"), [(210, "Heparin is to stop since"), (240, "The planned time is over since")]
)
def test_heparin_off_and_the_planned_end_sound_too(phone: Phone, minutes: int, words: str) -> None:
    phone.watched.context.add_init_script(HEARD)
    phone.ready()
    phone.page.mouse.click(180, 60)
    started = datetime.now(UTC) - timedelta(minutes=minutes) + timedelta(seconds=3)
    body = """m.ctx.change('start', (night) => {
      night.doc.started_at = given[0]; night.stage = 'running'; night.doc.readings.push({ at: given[1], pulse: 70 });
    });"""
    phone.run("app", body, [started.isoformat(), datetime.now(UTC).isoformat()])
    phone.go("running")
    assert phone.page.evaluate("window.heard") == {"tones": 0, "shakes": 0}
    phone.page.wait_for_function("() => window.heard.shakes > 0")
    expect(phone.page.locator("#screen")).to_contain_text(words)


def test_heparin_that_was_stopped_is_noted_with_its_time_and_can_be_undone(phone: Phone, ana: Patient) -> None:
    phone.running(215)
    phone.tap("Heparin is stopped now")
    [step] = phone.doc()["steps"]
    assert (step["key"], step["words"]) == ("heparin_off", "⟦heparin_off⟧")
    expect(phone.page.locator("#screen")).to_contain_text("stopped at")
    expect(phone.page.get_by_role("button", name="Heparin is stopped now")).to_have_count(0)
    accepted(phone, ana)
    phone.tap("Undo", exact=False)
    assert phone.doc()["steps"] == []
