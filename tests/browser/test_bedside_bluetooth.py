"""Cuff and scale over Web Bluetooth: the bytes against the published layouts, the flow with a simulated device."""

from __future__ import annotations

import math
import random
import struct
from decimal import Decimal
from typing import Any

import pytest
from playwright.sync_api import expect

from homedialysis.accounts.models import Unit
from sessions.models import Patient
from tests.browser.conftest import BrowserPage
from tests.browser.running_phone import MakePhone, Phone, at_bedside, prescribed

__all__ = ["at_bedside"]

pytestmark = pytest.mark.django_db(transaction=True)

KPA_IN_MMHG = 0.133322387415
"""One mmHg in kPa: BIPM, SI Brochure, 8th edition, table 8."""
LB_IN_KG = 0.45359237
DOUBTS = {0: "moved", 1: "loose", 2: "irregular", 5: "position"}
CASES = 400

FAKE_DEVICE = """
  window.asked = [];
  class Source extends EventTarget {
    startNotifications() { window.listening = true; return Promise.resolve(this); }
  }
  const source = new Source();
  const gatt = {
    connected: false,
    async connect() { gatt.connected = true; return gatt; },
    disconnect() { gatt.connected = false; },
    async getPrimaryService(service) {
      window.asked.push(service);
      return { getCharacteristic: async (which) => { window.asked.push(which); return source; } };
    },
  };
  const device = { name: "Simulated", gatt };
  const bluetooth = {
    async requestDevice(wish) {
      window.asked.push(wish.filters[0].services[0]);
      if (window.closeTheChoice) throw new DOMException("User cancelled", "NotFoundError");
      if (window.outOfReach) throw new DOMException("GATT Server is disconnected", "NetworkError");
      return device;
    },
  };
  Object.defineProperty(Navigator.prototype, "bluetooth", { configurable: true, get: () => bluetooth });
  window.send = (bytes) => {
    source.value = new DataView(new Uint8Array(bytes).buffer);
    source.dispatchEvent(new Event("characteristicvaluechanged"));
  };
"""
NO_BLUETOOTH = "Object.defineProperty(Navigator.prototype, 'bluetooth', { configurable: true, get: () => undefined });"


def sfloat(bits: int) -> float | None:
    """IEEE 11073-20601, SFLOAT-Type, by decimal arithmetic: an independent second way. None for what is no number.

    Mantissas beyond ±2045 are kept for NaN, infinities and the like: 0x07FF, 0x0800, 0x07FE, 0x0802 and 0x0801.
    """
    exponent, mantissa = bits >> 12, bits & 0x0FFF
    signed = (exponent - 16 if exponent > 7 else exponent, mantissa - 4096 if mantissa > 2047 else mantissa)
    return float(Decimal(signed[1]).scaleb(signed[0])) if abs(signed[1]) <= 2045 else None


def as_sfloat(number: float, exponent: int = 0) -> int:
    mantissa = round(number / 10**exponent)
    assert -2046 <= mantissa <= 2045
    return ((exponent & 0xF) << 12) | (mantissa & 0xFFF)


STAMP = (2026, 3, 1, 22, 10, 5)
STAMP_BYTES = struct.pack("<HBBBBB", *STAMP)
STAMP_WORDS = "2026-03-01T22:10:05"


@pytest.fixture
def phone(browser_page: BrowserPage, unit: Unit) -> Phone:
    """Any page of the house will do to load a module."""
    watched = browser_page(worker=False)
    watched.open("/accounts/login/")
    return Phone(watched)


def parsed(phone: Phone, function: str, payloads: list[bytes]) -> list[Any]:
    body = f"return given.map((bytes) => m.{function}(new DataView(new Uint8Array(bytes).buffer)));"
    found: list[Any] = phone.run("bluetooth/layouts", body, [list(payload) for payload in payloads])
    return found


def test_each_of_the_65536_short_floats_is_read_as_by_decimal_arithmetic(phone: Phone) -> None:
    body = "return given.map((bits) => { const n = m.sfloat(bits); return Number.isFinite(n) ? n : null; });"
    read = phone.run("bluetooth/layouts", body, list(range(65536)))
    assert read == [sfloat(bits) for bits in range(65536)]
    # The values that the standard itself names: NaN, NRes, +INFINITY, −INFINITY and the largest finite ones.
    assert sfloat(0x07FF) is sfloat(0x0800) is sfloat(0x07FE) is sfloat(0x0802) is None
    assert (sfloat(0xF4B5), sfloat(0x0072), sfloat(0x77FD)) == (120.5, 114.0, 20450000000.0)


def pressure_case(chance: random.Random) -> tuple[bytes, dict[str, Any]]:
    """A measurement of 0x2A35 with any of its parts, and what is to be read from it."""
    flags = chance.randrange(32)
    kpa = bool(flags & 1)
    exponent = -1 if kpa else 0
    scale = 1 / KPA_IN_MMHG if kpa else 1
    triple = [chance.randrange(50, 260) if not kpa else chance.randrange(66, 340) / 10 for _ in range(3)]
    payload = struct.pack("<B3H", flags, *(as_sfloat(each, exponent) for each in triple))
    said: dict[str, Any] = dict(zip(("systolic", "diastolic", "mean"), (each * scale for each in triple), strict=True))
    said |= {"at": None, "pulse": None, "user": None, "doubts": []}
    if flags & 2:
        payload, said["at"] = payload + STAMP_BYTES, STAMP_WORDS
    if flags & 4:
        said["pulse"] = chance.randrange(30, 200)
        payload += struct.pack("<H", as_sfloat(said["pulse"]))
    if flags & 8:
        user = chance.choice((0, 1, 2, 255))
        payload, said["user"] = payload + bytes([user]), None if user == 255 else user
    if flags & 16:
        bits = [bit for bit in DOUBTS if chance.random() < 0.5]
        rate = chance.choice((0, 1, 2))
        payload += struct.pack("<H", sum(1 << bit for bit in bits) | rate << 3)
        named = [DOUBTS[bit] for bit in sorted(bits) if bit < 5]
        said["doubts"] = named + ["", "fast", "slow"][rate : rate + 1] + ["position"] * (5 in bits)
        said["doubts"] = [each for each in said["doubts"] if each]
    return payload, said


def test_blood_pressure_is_read_as_the_published_layout_says(phone: Phone) -> None:
    """Bluetooth SIG, GATT Specification Supplement, "Blood Pressure Measurement"; units kPa by the flag."""
    chance = random.Random(1810)
    cases = [pressure_case(chance) for _ in range(CASES)]
    for read, (payload, said) in zip(parsed(phone, "bloodPressure", [case[0] for case in cases]), cases, strict=True):
        for name in ("systolic", "diastolic", "mean"):
            assert read.pop(name) == pytest.approx(said[name], rel=1e-9), payload.hex()
        assert read == {key: said[key] for key in read}, payload.hex()


def weight_case(chance: random.Random) -> tuple[bytes, dict[str, Any]]:
    """A measurement of 0x2A9D with any of its parts: steps of 0.005 kg or 0.01 lb."""
    flags = chance.randrange(16)
    pounds = bool(flags & 1)
    steps = chance.randrange(65535)
    payload = struct.pack("<BH", flags, steps)
    said: dict[str, Any] = {"weight": steps * (0.01 * LB_IN_KG if pounds else 0.005)}
    said |= {"at": None, "user": None, "bmi": None, "height": None}
    if flags & 2:
        payload, said["at"] = payload + STAMP_BYTES, STAMP_WORDS
    if flags & 4:
        user = chance.choice((1, 7, 255))
        payload, said["user"] = payload + bytes([user]), None if user == 255 else user
    if flags & 8:
        bmi, height = chance.randrange(100, 500), chance.randrange(500, 2200)
        payload += struct.pack("<HH", bmi, height)
        said |= {"bmi": bmi * 0.1, "height": height * (0.1 * 0.0254 if pounds else 0.001)}
    return payload, said


def test_weight_is_read_as_the_published_layout_says(phone: Phone) -> None:
    """Bluetooth SIG, GATT Specification Supplement, "Weight Measurement": kilograms or pounds by the flag."""
    chance = random.Random(0x181D)
    cases = [weight_case(chance) for _ in range(CASES)]
    for read, (payload, said) in zip(parsed(phone, "weight", [case[0] for case in cases]), cases, strict=True):
        for name in ("weight", "bmi", "height"):
            assert (read[name] is None) == (said[name] is None), payload.hex()
            assert math.isclose(read[name] or 0, said[name] or 0, rel_tol=1e-9), payload.hex()
        assert (read["at"], read["user"]) == (said["at"], said["user"]), payload.hex()


def test_a_device_that_could_not_measure_gives_no_number(phone: Phone) -> None:
    failed = struct.pack("<B3H", 0, 0x07FF, 0x07FF, 0x07FF)
    assert parsed(phone, "bloodPressure", [failed])[0]["systolic"] is None
    assert parsed(phone, "weight", [struct.pack("<BH", 0, 0xFFFF)])[0]["weight"] is None
    unset = struct.pack("<BH", 2, 14000) + struct.pack("<HBBBBB", 0, 0, 0, 0, 0, 0)
    assert parsed(phone, "weight", [unset])[0] == {
        "weight": 70.0, "at": None, "user": None, "bmi": None, "height": None,
    }  # fmt: skip


def test_bytes_that_end_too_early_are_refused_not_guessed(phone: Phone) -> None:
    whole = struct.pack("<B3H", 4, 120, 80, 93) + struct.pack("<H", 70)
    body = """return given.map((bytes) => {
      try { m.bloodPressure(new DataView(new Uint8Array(bytes).buffer)); return "read"; }
      catch (problem) { return problem.name; }
    });"""
    cut = [list(whole[:length]) for length in range(len(whole) + 1)]
    assert phone.run("bluetooth/layouts", body, cut) == ["RangeError"] * len(whole) + ["read"]


# The flow ------------------------------------------------------------------------------------------


@pytest.fixture
def with_device(at_bedside: MakePhone, ana: Patient) -> Phone:
    prescribed(ana)
    phone = at_bedside(ana.account)
    phone.watched.context.add_init_script(FAKE_DEVICE)
    phone.running()
    return phone


def send(phone: Phone, payload: bytes) -> None:
    phone.page.wait_for_function("() => window.listening")
    phone.page.evaluate("(bytes) => window.send(bytes)", list(payload))


def test_a_value_of_the_cuff_is_a_proposal_that_one_touch_takes_over(with_device: Phone) -> None:
    phone = with_device
    phone.go("reading")
    phone.tap("Measure with the cuff")
    expect(phone.page.get_by_text("Start the cuff now.", exact=False)).to_be_visible()
    send(phone, struct.pack("<B3H", 4, 128, 76, 93) + struct.pack("<H", 71))
    expect(phone.page.get_by_role("button", name="Take over 128 / 76 mmHg, pulse 71 /min")).to_be_visible()
    assert phone.doc()["readings"] == []  # nothing is taken over unseen
    assert phone.page.evaluate("window.asked") == [0x1810, 0x1810, 0x2A35]
    phone.tap("Take over 128 / 76 mmHg, pulse 71 /min")
    [reading] = phone.doc()["readings"]
    assert (reading["systolic"], reading["diastolic"], reading["pulse"]) == (128, 76, 71)
    expect(phone.page.get_by_role("button", name="Systolic pressure: 128 mmHg, change")).to_be_visible()
    phone.tap("Undo", exact=False)
    assert phone.doc()["readings"] == []


def test_doubts_of_the_cuff_stand_above_the_button_and_nobody_asks_whether_a_low_one_is_right(
    with_device: Phone,
) -> None:
    phone = with_device
    phone.go("running")
    phone.tap("Blood pressure drop")
    for words in (*["There is no blood"] * 2, "Fluid removal is off", "Done, next", "Measure with the cuff"):
        phone.tap(words)
    status = struct.pack("<H", 0b100011)
    send(phone, struct.pack("<B3H", 2 | 8 | 16, 78, 44, 55) + STAMP_BYTES + bytes([2]) + status)
    for words in ("2026-03-01 22:10", "user 2", "the arm moved, the cuff was loose"):
        expect(phone.page.locator(".measure").get_by_text(words, exact=False)).to_be_visible()
    expect(phone.page.get_by_text("is unusual", exact=False)).to_have_count(0)
    phone.tap("Take over 78 / 44 mmHg")
    [event] = phone.doc()["events"]
    assert (event["kind"], event["systolic"], event["diastolic"]) == ("hypotension", 78, 44)
    assert phone.doc()["confirmed"] == [], "nobody was asked"


def test_a_low_pressure_of_the_cuff_leads_where_a_typed_one_leads_and_is_said_once(with_device: Phone) -> None:
    phone = with_device
    phone.go("reading")
    phone.tap("Measure with the cuff")
    send(phone, struct.pack("<B3H", 0, 84, 46, 58))
    expect(phone.page.get_by_role("button", name="Take over 84 / 46 mmHg")).to_be_visible()
    expect(phone.page.get_by_text("is unusual", exact=False)).to_have_count(0)
    phone.tap("Take over 84 / 46 mmHg")
    told = phone.page.get_by_text("84 mmHg is below 90 mmHg: a low blood pressure.", exact=False)
    expect(told).to_have_count(1)
    phone.tap("Low pressure: what to do now")
    [event] = phone.doc()["events"]
    assert (event["kind"], event["at"]) == ("hypotension", phone.doc()["readings"][0]["at"])


def test_impossible_values_and_failed_measurements_cannot_be_taken(with_device: Phone) -> None:
    phone = with_device
    phone.go("reading")
    phone.tap("Measure with the cuff")
    send(phone, struct.pack("<B3H", 0, as_sfloat(320), 80, 100))
    expect(phone.page.get_by_text("must be between 40 and 300 mmHg", exact=False)).to_be_visible()
    expect(phone.page.get_by_role("button", name="Take over", exact=False)).to_have_count(0)
    send(phone, struct.pack("<B3H", 0, 0x07FF, 0x07FF, 0x07FF))
    expect(phone.page.get_by_text("The cuff could not measure.", exact=False)).to_be_visible()
    send(phone, b"\x04\x80")
    expect(phone.page.get_by_text("sent something that is no measurement", exact=False)).to_be_visible()


def test_a_scale_writes_the_weight_to_the_step_of_the_field(with_device: Phone) -> None:
    phone = with_device
    body = """
      const { ctx } = await import("/static/bedside/js/app.js");
      document.getElementById("screen").append(m.measureRow(ctx, "weight", { weight: "pre_weight_kg" }));"""
    phone.run("bluetooth/measure", body)
    phone.tap("Weigh with the scale")
    send(phone, struct.pack("<BH", 1, 15983))  # 159.83 lb
    assert phone.page.evaluate("window.asked") == [0x181D, 0x181D, 0x2A9D]
    phone.tap("Take over 72.5 kg")
    assert phone.doc()["pre_weight_kg"] == 72.5


def test_closing_the_choice_says_nothing_and_a_lost_device_says_so(with_device: Phone) -> None:
    phone = with_device
    phone.go("reading")
    phone.page.evaluate("window.closeTheChoice = true")
    phone.tap("Measure with the cuff")
    expect(phone.page.get_by_role("button", name="Measure with the cuff")).to_be_visible()
    expect(phone.page.locator(".measure .note")).to_have_count(0)
    phone.page.evaluate("Object.assign(window, { closeTheChoice: false, outOfReach: true })")
    phone.tap("Measure with the cuff")
    expect(phone.page.get_by_text("No connection to the device.", exact=False)).to_be_visible()


def test_without_web_bluetooth_nothing_is_shown(at_bedside: MakePhone, ana: Patient) -> None:
    prescribed(ana)
    phone = at_bedside(ana.account)
    phone.watched.context.add_init_script(NO_BLUETOOTH)
    phone.running()
    phone.go("reading")
    expect(phone.page.locator("#dock")).to_contain_text("Back to the treatment")
    expect(phone.page.locator(".measure")).to_have_count(0)
