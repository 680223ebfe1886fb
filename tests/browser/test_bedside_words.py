"""The bedside in Spanish, and in a made-up language from right to left: translated, fitting and mirrored."""

from __future__ import annotations

import json
import re
from datetime import timedelta

import pytest
from playwright.sync_api import Route, expect

from homedialysis.accounts.models import User
from sessions.models import Patient
from sessions.services import kit
from tests import pseudo_words
from tests.browser.conftest import PHONE, BrowserPage
from tests.browser.evening import Evening
from tests.browser.running_phone import evening_before, prescribed, rope_ladder
from tests.factories import MessageFactory, record_night

pytestmark = pytest.mark.django_db(transaction=True)

SCREENS = (
    *("tonight", "changes", "messages", "due", "nights", "trends", "takeout", "more", "settings", "queue", "storage"),
    *("checks", "weigh", "access", "needles", "running", "reading", "medicine", "event", "flow", "paper"),
    *("finish", "summary", "answer", "danger", "danger/needle_out", "danger/air", "danger/power_water"),
)
# Names, units, and the version of the scripts, which may begin with letters.
NOT_WORDS = re.compile(
    r"\([^()]*-[0-9a-f]{12}\)|"
    r"Ana Verdemar|[AV] (low|mid|high)|Fenrow 17|English|Español|mmHg|mL/kg/h|mL/min|mL/h|mmol/L|mS/cm|\bmin\b|\bkg\b|"
    r"(Mon|Tue|Wed|Thu|Fri|Sat|Sun|Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)\w*|"
    r"units(/h)?|TMP|\bPIN\b|Kt/V|CSV|JSON|PDF|iOS|Android|\d[\w.-]*"
)


def spanish(evening: Evening) -> Evening:
    return speaking(evening, "es")


def speaking(evening: Evening, code: str) -> Evening:
    """A phone on which this language was chosen."""
    look = {"hand": "", "theme": "light", "text": "1", "language": code, "lockAfter": 0}
    evening.watched.context.add_init_script(
        f"localStorage.getItem('bedside.look') ?? localStorage.setItem('bedside.look', {json.dumps(json.dumps(look))})"
    )
    return evening


def mirrored(evening: Evening) -> Evening:
    """The page knows one language more, made up for the test, which is written from right to left."""
    address = "/static/bedside/words/qps-mirror.json"

    def page(route: Route) -> None:
        answer = route.fetch()
        told = answer.text()
        named = re.search(r'data-words="([^"]*)"', told)
        assert named
        known = json.loads(named[1].replace("&quot;", '"')) | {pseudo_words.CODE: address}
        words = json.dumps(known).replace('"', "&quot;")
        body = told.replace(named[0], f'data-dir="rtl" data-words="{words}"')
        route.fulfill(response=answer, body=body)

    said = pseudo_words.for_scripts()
    evening.watched.context.route("**/tonight/", page)
    evening.watched.context.route(
        f"**{address}", lambda route: route.fulfill(body=said, content_type="application/json")
    )
    evening.watched.context.route("**/sw.js", lambda route: route.abort())
    return speaking(evening, pseudo_words.CODE)


@pytest.fixture
def phone(browser_page: BrowserPage, unit: object, ana: Patient, nurse: User) -> Evening:
    """A treatment under way, with a past, a message and everything drawn that can be drawn."""
    prescribed(ana)
    rope_ladder(ana)
    for days in range(9, 15):
        record_night(ana, evening_before(days))
    MessageFactory(patient=ana, sent_by=nurse, words="12.")
    return Evening(browser_page(ana.account, size=PHONE, worker=False))


def under_way(evening: Evening) -> Evening:
    start = (evening.now - timedelta(minutes=95)).isoformat()
    reading = {"at": (evening.now - timedelta(minutes=40)).isoformat(), "venous_mmhg": 140, "qb_ml_min": 300}
    evening.ready(started_at=start, pre_weight_kg=72.4, planned_minutes=240, planned_uf_l=2.4, readings=[reading])
    return evening


STRETCHED = """() => {
  const words = document.createElement("p");
  words.className = "stretched";
  words.style.whiteSpace = "nowrap";
  words.textContent = "x".repeat(200);
  document.querySelector("#screen").append(words);
}"""


def misfits(evening: Evening) -> list[str]:
    """What sticks out of the screen or is cut off inside its own box."""
    script = """() => {
      const wide = document.documentElement.scrollWidth - window.innerWidth;
      const found = wide > 0 ? [`page: ${wide} px too wide`] : [];
      for (const each of document.querySelectorAll(
        "h1, h2, h3, p, li, dt, dd, button, a, label, legend, summary, span, small, b")) {
        if (!each.checkVisibility() || each.closest("svg, .visually-hidden, .scroll")) continue;
        const box = each.getBoundingClientRect();
        const words = each.textContent.slice(0, 50);
        const beyond = box.left < -1 || box.right > window.innerWidth + 1;
        if (box.width && beyond) found.push(`outside: ${words} ${box.left} to ${box.right}`);
        const style = getComputedStyle(each);
        const cuts = style.overflowX !== "visible" || style.textOverflow === "ellipsis";
        if (cuts && each.scrollWidth > each.clientWidth + 1) found.push(`cut: ${words}`);
      }
      return found;
    }"""
    found: list[str] = evening.page.evaluate(script)
    return found


def visible_words(evening: Evening) -> str:
    script = """() => ["#head", "#screen", "#bottom"]
      .map((part) => document.querySelector(part).innerText).join(" \\n ")"""
    words: str = evening.page.evaluate(script)
    return words


def untranslated(evening: Evening) -> list[str]:
    """Words outside the brackets of the made-up language, beyond names, units and what the server said."""
    rest = pseudo_words.unmarked(visible_words(evening))
    for told in evening.page.evaluate(FROM_SERVER):
        rest = rest.replace(" ".join(str(told).split()), " ")
    return re.findall(r"[A-Za-z]{3,}[^⟦⟧]*", NOT_WORDS.sub(" ", rest))


FROM_SERVER = """async () => {
  const { ctx } = await import("/static/bedside/js/app.js");
  const texts = [];
  const gather = (value) => {
    if (value && typeof value === "object") Object.values(value).forEach(gather);
    else if (typeof value === "string") texts.push(value);
  };
  gather(ctx.kit);
  return texts.filter((text) => text.length > 2).sort((a, b) => b.length - a.length);
}"""


@pytest.mark.parametrize("letters_px", [16, 32])
def test_every_screen_fits_in_spanish(phone: Evening, letters_px: int) -> None:
    larger(phone, letters_px)
    under_way(spanish(phone))
    expect(phone.page.locator("html")).to_have_attribute("lang", "es")
    assert all_misfits(phone) == {}


@pytest.mark.parametrize("letters_px", [16, 32])
def test_every_screen_fits_from_right_to_left(phone: Evening, letters_px: int) -> None:
    larger(phone, letters_px)
    under_way(mirrored(phone))
    expect(phone.page.locator("html")).to_have_attribute("dir", "rtl")
    assert all_misfits(phone) == {}


def larger(evening: Evening, letters_px: int) -> None:
    """The size of letters that the phone is set to, as the browser's own setting."""
    session = evening.watched.context.new_cdp_session(evening.page)
    session.send("Page.setFontSizes", {"fontSizes": {"standard": letters_px}})


def all_misfits(evening: Evening) -> dict[str, list[str]]:
    found = {}
    evening.page.wait_for_load_state("networkidle")  # what the unit answers draws the screen anew
    evening.page.evaluate(STRETCHED)
    assert misfits(evening), "the measure sees nothing"
    evening.page.evaluate("() => document.querySelector('.stretched')?.remove()")
    for screen in SCREENS:
        evening.go(*screen.split("/"))
        if wrong := misfits(evening):
            found[screen] = wrong
    return found


def test_no_word_of_the_scripts_is_left_in_english(phone: Evening) -> None:
    under_way(mirrored(phone))
    left = {}
    for screen in SCREENS:
        phone.go(*screen.split("/"))
        if words := untranslated(phone):
            left[screen] = words
    assert left == {}, left


def test_from_right_to_left_the_main_action_lies_on_the_other_side_and_the_arm_stays(phone: Evening) -> None:
    under_way(mirrored(phone))
    phone.go("access")
    script = """() => {
      const main = document.querySelector("#dock .arc .big").getBoundingClientRect();
      const heading = document.querySelector("#screen h1");
      const drawn = document.querySelector("#screen svg");
      return {
        thumb: document.documentElement.dataset.hand,
        main: (main.left + main.right) / 2 > window.innerWidth / 2 ? "right" : "left",
        heading: getComputedStyle(heading).textAlign,
        direction: getComputedStyle(heading).direction,
        arm: getComputedStyle(drawn).transform,
        labels: getComputedStyle(drawn).direction,
      };
    }"""
    seen = phone.page.evaluate(script)
    assert seen["direction"] == "rtl"
    assert (seen["arm"], seen["labels"]) == ("none", "ltr")
    assert seen["main"] == seen["thumb"]


def test_numbers_have_the_sign_of_the_language_and_go_out_as_plain_numbers(phone: Evening) -> None:
    spanish(phone).ready()
    phone.go("weigh")
    phone.page.locator("[data-path='pre_weight_kg']").click()
    pad = phone.page.locator("dialog.pad")
    expect(pad.get_by_role("button", name="Signo decimal", exact=True)).to_have_text(",")
    for key in ("7", "2", "Signo decimal", "4"):
        pad.get_by_role("button", name=key, exact=True).click()
    expect(pad.locator("output")).to_have_text("72,4")
    pad.get_by_role("button", name="Tomarlo", exact=True).click()
    expect(phone.page.locator("[data-path='pre_weight_kg']")).to_contain_text("72,4 kg")
    assert phone.doc()["pre_weight_kg"] == 72.4
    with phone.page.expect_request(lambda request: request.method == "PUT") as sent:
        phone.run("app", "await m.ctx.handOver();")
    told = sent.value.post_data
    assert told is not None
    assert json.loads(told)["pre_weight_kg"] == 72.4


def test_the_choice_of_a_language_reaches_the_unit_and_the_texts_follow(phone: Evening, ana: Patient) -> None:
    phone.ready()
    phone.go("settings")
    with phone.page.expect_response("**/language/") as answered:
        phone.page.get_by_role("button", name="Español", exact=True).or_(
            phone.page.get_by_role("radio", name="Español", exact=True)
        ).first.click()
    assert answered.value.json() == {"language": "es"}
    expect(phone.page.get_by_role("heading", level=1)).to_have_text("Ajustes")
    assert ana.account is not None
    ana.account.refresh_from_db()
    assert ana.account.language == "es"
    script = """async () => {
      const { ctx } = await import("/static/bedside/js/app.js");
      const moment = () => new Promise((go) => setTimeout(go, 100));
      for (let tries = 0; ctx.kit.language !== "es" && tries < 50; tries += 1) await moment();
      return [ctx.kit.language, ctx.kit.checklist.items[0].name];
    }"""
    assert phone.page.evaluate(script) == ["es", "Manos y brazo del acceso lavados"]


def test_whoever_dialyses_by_day_reads_of_no_night(phone: Evening) -> None:
    """On every screen, with a treatment under way; what the person or the unit typed is not there."""
    under_way(phone)
    phone.page.evaluate("""async () => {
      const { ctx } = await import("/static/bedside/js/app.js");
      const { setByDay } = await import("/static/bedside/js/words.js");
      setByDay(true);
      ctx.redraw();
    }""")
    left = {}
    for screen in SCREENS:
        phone.go(*screen.split("/"))
        said = visible_words(phone).replace("at night too", "").replace("Night: dim and warm", "")
        if found := re.findall(r"[^.\n]*night[^.\n]*", said, re.IGNORECASE):
            left[screen] = found
    assert left == {}


def test_on_the_very_first_day_nobody_reads_of_a_night(
    browser_page: BrowserPage, unit: object, ana: Patient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From the first words on, before the unit has sent anything; with four hours ordered and nothing done yet."""
    monkeypatch.setattr(kit, "LONG_NIGHT_MINUTES", 360)
    prescribed(ana)
    phone = Evening(browser_page(ana.account, worker=False))
    phone.page.route("**/api/v1/bedside/**", lambda route: route.abort())
    phone.watched.open("/tonight/")
    expect(phone.page.get_by_text("The first start on this phone needs the network")).to_be_visible()
    assert "night" not in visible_words(phone).lower()
    phone.page.unroute("**/api/v1/bedside/**")
    phone.tap("Try again")
    expect(phone.page.get_by_role("heading", level=1)).to_have_text("Today")
    expect(phone.main()).to_have_text("Begin today's treatment")
    for place in ("tonight", "welcome", "more", "nights"):
        phone.go(place)
        assert "night" not in visible_words(phone).lower(), place
