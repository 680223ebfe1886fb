"""A nurse's morning in a real browser, by keyboard alone: five patients, three calls, one mute, one hand-over.

And the pages of that morning: usable by everyone, in both themes, on desk, tablet and phone, at double size, on paper.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from urllib.parse import urljoin

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Page, expect

from alerts.models import Alert, AlertMessage, RotaTurn
from alerts.models.choices import Urgency
from alerts.services import acting, push_keys
from alerts.services.evaluation import evaluate_pending, look_for_missing
from alerts.services.heartbeat import PARTS, sign_of_life
from homedialysis.accounts.models import OpeningHours, Role, User
from sessions.models import Patient
from sessions.services.kit import kit
from tests.alerts.made_alerts import evidence, made_alert
from tests.browser.conftest import DESKTOP, PHONE, BrowserPage
from tests.browser.judging import expect_no_sideways_scroll, expect_sound_in_every_look
from tests.factories import PatientFactory, PrescriptionFactory, UserFactory, record_night

pytestmark = pytest.mark.django_db(transaction=True)

TABLET = (820, 1180)
HALF = (640, 400)
"""What a desk of 1280 × 800 shows at 200 % zoom."""
NAMES = ("Ada Aldercombe", "Bo Birchwade", "Cleo Cedarholt", "Dov Elmsworth", "Edda Firbeck")
PASSWORD = "a long enough password"
TODAY, WEEK = Urgency.CALL_TODAY, Urgency.THIS_WEEK


@pytest.fixture(autouse=True)
def _machinery_works(unit: object) -> None:
    for part in PARTS:
        sign_of_life(part, at=timezone.now() + timedelta(hours=1))


@pytest.fixture
def five(unit: object) -> list[Patient]:
    """Ada to Cleo want a call today, the longest waiting first; Dov and Edda this week. Ada had one bad night.

    The unit has no hours here, so that it is morning whenever this runs: a hand-over then tells of the last 24 hours.
    """
    OpeningHours.objects.all().delete()
    now = timezone.now().replace(microsecond=0)
    patients = [PatientFactory(name=name) for name in NAMES]
    for index, patient in enumerate(patients):
        urgency, at = (TODAY if index < 3 else WEEK), now - timedelta(hours=9 - index)
        nights = [evidence(at - timedelta(days=days), 11 + days % 3) for days in (9, 7, 5, 3, 1)]
        made_alert(patient, at=at, urgency=urgency, evidence=nights)
        PrescriptionFactory(patient=patient, version=1)
    lower = {"rule": "venous_high", "cause": "venous_high", "urgency": WEEK}
    made_alert(patients[0], at=now - timedelta(hours=9), **lower)
    return patients


class Hands:
    """Keys, and what they reach; no mouse."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def press(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)

    def type(self, words: str) -> None:
        self.page.keyboard.type(words)

    def reach(self, selector: str, *, most: int = 80) -> None:
        """Tab until the focus is there."""
        for _ in range(most):
            if self.page.evaluate("(selector) => document.activeElement.matches(selector)", selector):
                self.see_focus()
                return
            self.press("Tab")
        raise AssertionError(f"{selector} is not reached by Tab")

    def see_focus(self) -> None:
        drawn = "getComputedStyle(document.activeElement).outlineStyle"
        assert self.page.evaluate(drawn) != "none", "the focus is not seen"

    def choose(self, value: str) -> None:
        """The radio button with a value, by the arrows, from the group's first."""
        for _ in range(5):
            if self.page.evaluate("document.activeElement.value") == value:
                self.press("Space")
                return
            self.press("ArrowDown")
        raise AssertionError(f"{value} is not there")

    def call(self, result: str, said: str = "", plan: str = "") -> None:
        """Fill in the form of a call and send it."""
        self.reach("#log-call input[type=radio]")
        self.choose(result)
        self.reach("#call_said")
        self.type(said)
        self.press("Tab")
        self.type(plan)
        self.reach("#log-call button")
        self.press("Enter")
        expect(self.page.get_by_text("The call is noted.")).to_be_visible()

    def close(self, outcome: str, words: str) -> None:
        """Close all of the patient's alerts, each with what came of it: saying so ticks it."""
        self.press("d")
        for choice in self.page.locator(".act-row select").all():
            self.reach(f"#{choice.get_attribute('id')}")
            self.type(outcome)
        self.reach("#id_words")
        self.type(words)
        self.reach("#act button[value=close]")
        self.press("Enter")
        self.page.wait_for_url("**/triage/")


def names_in(page: Page) -> Sequence[str]:
    return page.locator(".bundle-link").all_text_contents()


def sampled(page: Page, patient: Patient, value: str, *, days_ago: int) -> None:
    """Note a culture on the patient's page of water."""
    page.goto(urljoin(page.url, f"/patients/{patient.pk}/surroundings/water/"))
    page.locator("#id_kind").select_option("bacteria")
    page.locator("#id_place").select_option("product")
    at = timezone.localtime(timezone.now() - timedelta(days=days_ago))
    page.locator("#id_sampled_at").fill(f"{at:%Y-%m-%dT%H:%M}")
    page.locator("#id_value").fill(value)
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("Saved: Water test.")).to_be_visible()


def test_a_morning_of_two_nurses(browser_page: BrowserPage, nurse: User, five: list[Patient]) -> None:
    """Kim works by keyboard alone, Ravi beside her: a mute, a failed water test, a stay, an undo, a reopening."""
    ada, bo, cleo, dov, _edda = five
    now = timezone.now().replace(microsecond=0)
    nurse.set_password(PASSWORD)
    nurse.save()
    Patient.objects.exclude(pk=cleo.pk).update(joined_on=now.date())
    Patient.objects.filter(pk=cleo.pk).update(joined_on=now.date() - timedelta(days=9))
    record_night(cleo, now - timedelta(days=9))
    evaluate_pending(at=now)
    look_for_missing(at=now)
    ravis = browser_page(UserFactory(role=Role.NURSE, name="Nurse Ravi"), size=DESKTOP)
    ravi = ravis.open(f"/triage/{ada.pk}/")
    ravi.locator("#id_parts_0").check()
    ravi.locator(".act-row select").first.select_option("visit")
    ravi.locator("#id_words").fill("I see her at the clinic.")
    kim = browser_page(nurse, size=DESKTOP).open("/triage/")
    hands = Hands(kim)
    assert names_in(kim) == list(NAMES)

    # Ada: reached, both parts of her bad night closed in one go. Ravi, who had begun to write, is told and keeps it.
    hands.press("j")
    expect(kim.locator(f"#act-{ada.pk}")).to_be_focused()
    hands.see_focus()
    hands.press("c")
    kim.wait_for_url("**#log-call")
    hands.call("reached", "Drank more at a wedding.", "Stays longer rather than take it off faster.")
    hands.close("Spoken", "Drinks less from now on; weighs daily.")
    ravi.locator("#act button[value=close]").click()
    expect(ravi.locator("main")).to_contain_text("Nurse Kim closed this alert")
    expect(ravi.locator("#id_words")).to_have_value("I see her at the clinic.")
    expect(ravi.locator("main")).not_to_contain_text("Nothing is open any more")
    expect(ravi.locator("main")).to_contain_text("Drinks less from now on; weighs daily.")

    # Kim takes one back at once; Ravi opens the other again, with a reason.
    kim.get_by_role("button", name="Undo").first.focus()
    hands.press("Enter")
    expect(kim.locator(f"#act-{ada.pk}, h1").first).to_be_visible()
    assert Alert.objects.filter(patient=ada).open().count() == 1
    other = Alert.objects.filter(patient=ada).closed().get()
    ravi.goto(f"{ravis.home}/alerts/{other.pk}/")
    ravi.locator("#reopen-words").fill("She rang: it came back.")
    ravi.get_by_role("button", name="Open it again").click()
    expect(ravi.locator("main")).to_contain_text("She rang: it came back.")
    assert Alert.objects.filter(patient=ada).open().count() == 2

    # Bo: his water failed. The phone holds him back until a sample passes and Kim has signed the release.
    sampled(ravi, bo, "150", days_ago=2)
    evaluate_pending(at=timezone.now())
    kim.goto(f"{ravis.home}/triage/")
    expect(kim.locator(f"#act-{bo.pk}")).to_be_visible()
    expect(kim.locator("#triage-list")).to_contain_text("Water beyond its limit: Bacterial culture")
    assert [row["again"] for row in kit(bo, nurse, timezone.now())["water"]] == [None]
    sampled(ravi, bo, "3", days_ago=1)
    evaluate_pending(at=timezone.now())
    kim.goto(f"{ravis.home}/patients/{bo.pk}/water/release/")
    hands.reach("#words")
    hands.type("Heat disinfection, filter changed.")
    hands.reach("#password")
    hands.type(PASSWORD)
    hands.press("Tab", "Enter")
    expect(kim.get_by_text("The water is released, by Nurse Kim.")).to_be_visible()
    evaluate_pending(at=timezone.now())
    assert kit(bo, nurse, timezone.now())["water"] == []
    assert Alert.objects.get(patient=bo, rule="water_quality").cause_gone_at is not None

    # Cleo: no record for a week, because she is in hospital; nobody is asked for it any more.
    assert Alert.objects.get(patient=cleo, rule="missing").cause_gone_at is None
    ravi.goto(f"{ravis.home}/patients/{cleo.pk}/outcomes/")
    form = ravi.locator("form").filter(has=ravi.locator("input[value=stay]"))
    form.locator("[name$=admitted_on]").fill(f"{now - timedelta(days=8):%Y-%m-%d}")
    form.get_by_role("button").click()
    expect(ravi.locator(".entry-list")).to_contain_text("to now")
    evaluate_pending(at=timezone.now())
    assert Alert.objects.get(patient=cleo, rule="missing").cause_gone_at is not None

    # Dov: his limit is known and agreed; the rule is muted for a fortnight.
    kim.goto(f"{ravis.home}/triage/{dov.pk}/")
    hands.reach("#to-rules")
    hands.press("Enter")
    kim.wait_for_url("**/rules/")
    hands.reach("[name=mute-rule]")
    hands.type("UF rate over its limit")
    hands.reach("[name=mute-until]")
    hands.type((timezone.now() + timedelta(days=14)).strftime("%m%d%Y"))
    hands.reach("[name=mute-why]")
    hands.type("A fourth day begins next week.")
    hands.press("Tab", "Enter")
    expect(kim.get_by_role("heading", name="Muted now")).to_be_visible()

    # The hand-over tells all of it.
    hands.reach(".brand")
    hands.press("Enter")
    kim.wait_for_url("**/triage/")
    hands.press("h")
    expect(kim.get_by_role("heading", level=1)).to_have_text("Hand-over")
    told = kim.locator("main")
    for words in ("Drank more at a wedding.", "She rang: it came back.", "A fourth day begins next week."):
        expect(told).to_contain_text(words)


def test_keys_can_be_switched_off_and_stay_so(browser_page: BrowserPage, nurse: User, five: list[Patient]) -> None:
    page = browser_page(nurse, size=DESKTOP).open("/triage/")
    hands = Hands(page)
    hands.reach("#keys summary")
    hands.press("Enter")
    hands.reach("#keys-switch")
    hands.press("Enter")
    expect(page.locator("#keys-switch")).to_have_attribute("aria-pressed", "false")
    for _ in range(2):
        hands.press("j")
        assert page.evaluate("document.activeElement.classList.contains('bundle-link')") is False
        page.reload()
    hands.reach(".bundle-link")


def test_no_key_acts_while_words_are_typed(browser_page: BrowserPage, nurse: User, five: list[Patient]) -> None:
    page = browser_page(nurse, size=DESKTOP).open(f"/triage/{five[0].pk}/")
    hands = Hands(page)
    hands.reach("#id_words")
    hands.type("this chat")
    assert page.url.endswith(f"/triage/{five[0].pk}/")
    assert page.locator("#id_words").input_value() == "this chat"


def test_the_others_step_appears_while_one_writes(
    browser_page: BrowserPage, nurse: User, nephrologist: User, five: list[Patient]
) -> None:
    watched = browser_page(nurse, size=DESKTOP)
    watched.page.clock.install()
    page = watched.open(f"/triage/{five[1].pk}/")
    page.locator("#id_parts_0").check()
    page.locator("#id_words").fill("Half a sent")
    page.locator("#id_words").focus()
    alert = Alert.objects.get(patient=five[1])
    acting.note(alerts=[alert], by=nephrologist, words="I see him at noon.", at=timezone.now())
    page.clock.run_for(11_000)
    expect(page.locator("#bundle-story")).to_contain_text("I see him at noon.")
    expect(page.locator("#id_words")).to_have_value("Half a sent")
    expect(page.locator("#id_words")).to_be_focused()
    expect(page.locator("#live-note")).to_contain_text("Something changed at")
    page.keyboard.type("ence.")
    page.locator("#act button[value=note]").click()
    expect(page.get_by_text("Something was added since you opened this page")).to_be_visible()
    expect(page.locator("#id_words")).to_have_value("Half a sentence.")
    page.locator("#act button[value=note]").click()
    expect(page.get_by_text("Noted.")).to_be_visible()
    assert [step.words for step in alert.steps.filter(kind="note")] == ["I see him at noon.", "Half a sentence."]


def test_the_picture_opens_below_the_line_and_holds_the_list_still(
    browser_page: BrowserPage, nurse: User, nephrologist: User, five: list[Patient]
) -> None:
    watched = browser_page(nurse, size=DESKTOP)
    watched.page.clock.install()
    page = watched.open("/triage/")
    hands = Hands(page)
    hands.press("j", "o")
    panel = page.locator("#panel")
    expect(panel.get_by_role("heading", name="Venous pressure over its limit")).to_be_visible()
    for heading in ("Last treatments", "Bloods", "Prescription in force", "Write down what was done"):
        expect(panel.get_by_role("heading", name=heading)).to_be_visible()
    hands.press("d")
    acting.see(alert=Alert.objects.get(patient=five[4]), by=nephrologist, at=timezone.now())
    page.clock.run_for(16_000)
    expect(panel).to_be_visible()
    page.locator("#act-" + str(five[0].pk)).focus()
    hands.press("o")
    expect(panel).to_have_count(0)
    page.clock.run_for(16_000)
    expect(page.locator("#triage-list")).to_contain_text("Dr Lee")


def test_a_patient_is_worked_through_below_the_line_by_keys_alone(
    browser_page: BrowserPage, nurse: User, nephrologist: User, five: list[Patient]
) -> None:
    """Open, look, tick, note, close, take back, hand over: the list is never left, and nothing typed is lost."""
    ada, bo = five[:2]
    page = browser_page(nurse, size=DESKTOP).open("/triage/")
    hands = Hands(page)
    panel, typed = page.locator("#panel"), page.locator("#panel-typed")
    at_ada = page.locator(f"#act-{ada.pk}")

    # Every key that works there is named there; the picture goes along from line to line.
    hands.press("j", "o")
    for key in ("c", "1", "n", "x", "a", "g", "s", "Esc"):
        expect(panel.locator("kbd", has_text=key).first).to_be_visible()
    hands.press("j")
    expect(page.locator(f"#picture-{bo.pk} #panel")).to_be_visible()
    expect(panel).to_have_count(1)
    hands.press("k")
    expect(page.locator(f"#picture-{ada.pk} #panel")).to_be_visible()
    expect(at_ada).to_be_focused()
    hands.see_focus()

    # A note on the first of two alerts; what is begun does not go unasked.
    hands.press("1", "n")
    expect(page.locator("#id_words")).to_be_focused()
    hands.see_focus()
    hands.type("Asked her to weigh daily.")
    hands.press("Escape")
    expect(at_ada).to_be_focused()
    hands.press("j")
    expect(typed).to_be_visible()
    expect(page.locator(f"#picture-{ada.pk} #panel")).to_be_visible()
    hands.press("n", "Control+Enter")
    expect(page.get_by_text("Noted.")).to_be_visible()
    expect(page.locator(f"#picture-{ada.pk} #panel")).to_contain_text("Asked her to weigh daily.")
    expect(at_ada).to_be_focused()
    assert [step.words for step in Alert.objects.get(patient=ada, rule="uf_rate").steps.filter(kind="note")] == [
        "Asked her to weigh daily."
    ]

    # Looked at, and a call: each is only reached by its key, then pressed.
    hands.press("2", "s")
    hands.see_focus()
    hands.press("Enter")
    expect(page.get_by_text("Looked at: 1 alert.")).to_be_visible()
    expect(panel).to_be_visible()
    hands.press("c")
    hands.reach("#log-call input[type=radio]")
    hands.choose("reached")
    hands.reach("#call_said")
    hands.type("Well.")
    hands.press("Control+Enter")
    expect(page.get_by_text("The call is noted.")).to_be_visible()
    expect(panel).to_contain_text("Well.")

    # Closed by its own outcome, and taken back; the list is there all the time.
    hands.press("x")
    hands.see_focus()
    hands.type("Spoken")
    hands.reach("#id_words")
    hands.type("Agreed.")
    hands.reach("#act button[value=close]")
    hands.press("Enter")
    expect(page.locator(".undo")).to_be_visible()
    expect(panel).to_be_visible()
    hands.press("u")
    hands.see_focus()
    hands.press("Enter")
    expect(page.get_by_text("Open again:")).to_be_visible()
    assert Alert.objects.filter(patient=ada).open().count() == 2
    expect(panel).to_be_visible()
    hands.press("Escape")
    expect(panel).to_have_count(0)
    expect(at_ada).to_be_focused()
    hands.press("h")
    expect(page.get_by_role("heading", level=1)).to_have_text("Hand-over")
    expect(page.locator("main")).to_contain_text("Asked her to weigh daily.")


def test_fifteen_patients_in_the_first_view(browser_page: BrowserPage, nurse: User, five: list[Patient]) -> None:
    for number in range(15):
        made_alert(PatientFactory(name=f"Person {number:02}"), urgency=WEEK)
    page = browser_page(nurse, size=DESKTOP).open("/triage/")
    boxes = [row.bounding_box() for row in page.locator(".bundle-link").all()]
    assert len(boxes) == 20
    assert sum(box is not None and box["y"] + box["height"] <= DESKTOP[1] for box in boxes) >= 15


def test_on_paper_everything_is_there_and_nothing_to_press(
    browser_page: BrowserPage, nurse: User, five: list[Patient]
) -> None:
    page = browser_page(nurse, size=DESKTOP).open("/triage/")
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    page.emulate_media(media="print")
    expect(page.get_by_text("Venous pressure over its limit")).to_be_visible()
    expect(page.get_by_text("Printed by Nurse Kim")).to_be_visible()
    for hidden in (".top-bar", ".urgencies", "#keys"):
        expect(page.locator(hidden)).to_be_hidden()


def test_pages_have_no_accessibility_fault(
    browser_page: BrowserPage, nurse: User, nephrologist: User, five: list[Patient], settings: object
) -> None:
    settings.PUSH_KEY = push_keys.new_key()  # type: ignore[attr-defined]
    now = timezone.now()
    RotaTurn.objects.create(person=nurse, weekday=now.weekday(), begins="08:00", ends="17:00")
    acting.log_call(
        patient=five[1], by=nurse, result="message", plan="Rings back.", at=now, next_call_at=now + timedelta(minutes=1)
    )
    alert = Alert.objects.get(patient=five[4])
    until = (now + timedelta(days=9)).date()
    acting.set_aside(alerts=[alert], by=nurse, until=until, words="Clinic.", at=now)
    acting.close(
        alerts=Alert.objects.filter(patient=five[2]), by=nephrologist, outcome="known", words="Agreed.", at=now
    )
    AlertMessage.objects.create(to=nurse, channel="email", made_at=now, due_at=now, failed_at=now, answer={})
    addresses = [reverse(f"alerts:{name}") for name in ("triage", "handover", "quality", "rota", "deliveries")]
    addresses += [reverse(f"alerts:{name}", args=[five[0].pk]) for name in ("bundle", "timeline")]
    addresses += [reverse("alerts:triage") + "?aside=1", reverse("alerts:detail", args=[alert.pk])]
    page = browser_page(nurse, size=DESKTOP, bypass_csp=True)
    for address in addresses:
        page.open(address).wait_for_load_state("networkidle")
        expect_sound_in_every_look(page.page, DESKTOP, TABLET, PHONE)
        page.page.set_viewport_size({"width": HALF[0], "height": HALF[1]})
        expect_no_sideways_scroll(page.page)
