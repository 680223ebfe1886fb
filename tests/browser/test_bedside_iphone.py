"""What browsers of iPhones have and lack, asked for by the thing itself: sound, light, the home screen, the notch."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Locator, expect

from sessions.models import Patient
from tests.browser.conftest import BrowserPage
from tests.browser.running_phone import Phone, prescribed

pytestmark = pytest.mark.django_db(transaction=True)

NOTCH = 47
SOUND_AFTER_A_TOUCHS_END = """
  delete Navigator.prototype.vibrate;
  let state = "suspended";
  Object.defineProperty(BaseAudioContext.prototype, "state", { get: () => state });
  AudioContext.prototype.resume = async function () {
    if (["pointerup", "touchend", "click", "keydown"].includes(window.event?.type)) state = "running";
    else throw new DOMException("not in a touch", "NotAllowedError");
  };
  window.heardAs = [];
  const audioSession = { set type(type) { window.heardAs.push(type); } };
  Object.defineProperty(Navigator.prototype, "audioSession", { get: () => audioSession });
"""
SILENT = "delete Navigator.prototype.vibrate; delete window.AudioContext;"
DARK = "delete Navigator.prototype.wakeLock;"
SAVING_POWER = """
  const wakeLock = { request: async () => { throw new DOMException("low power", "NotAllowedError"); } };
  Object.defineProperty(Navigator.prototype, "wakeLock", { configurable: true, get: () => wakeLock });
"""
IN_A_TAB = "Object.defineProperty(Navigator.prototype, 'standalone', { get: () => false });"
AT_HOME = "Object.defineProperty(Navigator.prototype, 'standalone', { get: () => true });"
OFFER = """() => {
  const offer = new Event("beforeinstallprompt", { cancelable: true });
  offer.prompt = async () => { window.offered = true; };
  window.dispatchEvent(offer);
}"""


@pytest.fixture
def phone_with(browser_page: BrowserPage, ana: Patient) -> Callable[..., Phone]:
    prescribed(ana)

    def make(script: str, **options: Any) -> Phone:
        watched = browser_page(ana.account, worker=False, **options)
        watched.page.add_init_script(script)
        return Phone(watched)

    return make


def screen(phone: Phone) -> Locator:
    return phone.page.locator("#screen")


def reminder(phone: Phone) -> None:
    phone.running()
    phone.page.wait_for_timeout(500)
    phone.page.get_by_text("Reminder and screen").tap()
    expect(phone.page.get_by_role("button", name="Try the reminder")).to_be_visible()


def test_the_end_of_a_touch_opens_the_way_for_the_sound(phone_with: Callable[..., Phone]) -> None:
    phone = phone_with(SOUND_AFTER_A_TOUCHS_END)
    reminder(phone)
    phone.page.get_by_role("button", name="Try the reminder").tap()
    expect(phone.page.locator("#undo")).to_contain_text("Did you hear it? If not, look at the ring switch")
    phone.page.wait_for_function("() => window.heardAs.join() === 'playback,auto'")
    phone.run("app", "m.ctx.redraw();")
    expect(screen(phone)).to_contain_text("This phone can give: sound.")


def test_a_phone_that_can_neither_sound_nor_shake_says_so_when_it_is_tried(phone_with: Callable[..., Phone]) -> None:
    phone = phone_with(SILENT)
    reminder(phone)
    expect(screen(phone)).to_contain_text("This phone can give: nothing but this page.")
    phone.page.get_by_role("button", name="Try the reminder").tap()
    expect(phone.page.locator("#undo")).to_contain_text("neither sound nor vibration here: set a clock of your own")


def test_light_that_a_browser_cannot_keep_is_not_offered(phone_with: Callable[..., Phone]) -> None:
    phone = phone_with(DARK)
    reminder(phone)
    expect(phone.page.get_by_role("group", name="Remind of readings, heparin off and the planned end")).to_be_visible()
    expect(phone.page.get_by_role("group", name="Keep the screen on")).to_have_count(0)
    expect(screen(phone)).to_contain_text("This browser cannot keep the screen on.")


def test_light_that_the_phone_refuses_is_told(phone_with: Callable[..., Phone]) -> None:
    phone = phone_with(SAVING_POWER)
    reminder(phone)
    phone.page.get_by_role("group", name="Keep the screen on").get_by_role("button", name="On").tap()
    expect(screen(phone)).to_contain_text("The phone does not let the screen stay on just now")


def test_the_way_to_the_home_screen_is_that_of_the_browser(phone_with: Callable[..., Phone]) -> None:
    tab = phone_with(IN_A_TAB)
    tab.ready()
    tab.go("settings")
    expect(screen(tab)).to_contain_text("Choose “Add to Home Screen”.")
    expect(screen(tab)).to_contain_text("a night begun here is not in it")
    tab.go("storage")
    expect(screen(tab)).to_contain_text("the browser clears it when the page was not opened for seven days")
    home = phone_with(AT_HOME)
    home.ready()
    home.go("settings")
    expect(screen(home)).to_contain_text("This page was opened from the home screen.")
    other = phone_with("")
    other.ready()
    other.page.evaluate(OFFER)
    other.go("settings")
    other.tap("Put it on the home screen")
    other.page.wait_for_function("() => window.offered")
    expect(screen(other)).to_contain_text("If the browser's menu has “Install”")


def test_nothing_lies_under_the_notch_of_a_phone_on_its_side(phone_with: Callable[..., Phone]) -> None:
    phone = phone_with("", size=(740, 360))
    phone.running()
    insets = {"top": 0, "topMax": 0, "left": NOTCH, "leftMax": NOTCH, "right": NOTCH, "rightMax": NOTCH}
    session = phone.watched.context.new_cdp_session(phone.page)
    session.send("Emulation.setSafeAreaInsetsOverride", {"insets": insets | {"bottom": 21, "bottomMax": 21}})
    seen = """() => [...document.querySelectorAll("#head > *, #screen *, #dock .big")].map((each) =>
      each.getBoundingClientRect()).filter(({ width }) => width).map(({ left, right }) => [left, right])"""
    edges = phone.page.evaluate(seen)
    assert len(edges) > 10
    assert min(left for left, _ in edges) >= NOTCH
    assert max(right for _, right in edges) <= 740 - NOTCH
    phone.go("reading")
    phone.page.get_by_role("button", name="Venous pressure: enter").first.click()
    keys = phone.page.locator("dialog.pad button")
    assert keys.first.bounding_box()["x"] >= NOTCH  # type: ignore[index]
