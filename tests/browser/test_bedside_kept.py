"""What the record keeps is in one language, whatever the phone shows; and what a phone says by itself is right."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.utils import translation
from playwright.sync_api import expect

from homedialysis.accounts.models import Unit, User
from homedialysis.accounts.services.opening import looked_at_next
from sessions.models import Patient, TreatmentRecord
from sessions.pages.bedside import FOLDER
from sessions.texts.ready import ready_words
from tests.browser.conftest import PHONE, BrowserPage
from tests.browser.evening import Evening, wait_for
from tests.browser.running_phone import now_minute, prescribed, rope_ladder
from tests.browser.shell import Shell
from tests.browser.test_bedside_words import spanish

pytestmark = pytest.mark.django_db(transaction=True)
SPANISH = json.loads((FOLDER / "words" / "es.json").read_text(encoding="utf-8"))
with translation.override("es"):
    READY = ready_words()


@pytest.fixture
def phone(browser_page: BrowserPage, unit: Unit, ana: Patient) -> Evening:
    prescribed(ana)
    rope_ladder(ana)
    return Evening(browser_page(ana.account, size=PHONE))


def texts(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        for inner in value.values():
            yield from texts(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from texts(inner)
    elif isinstance(value, str):
        yield value


def spanish_in(document: Any) -> set[str]:
    """Ready-made Spanish words, of the scripts or with Spanish letters, in the texts of a document."""
    ready = {str(words) for words in SPANISH.values() if isinstance(words, str) and len(words) > 3} - set(SPANISH)
    parts = {part.strip(" .") for text in texts(document) for part in re.split(r"[:,.]", text)}
    return {part for part in parts if part in ready or re.search("[áéíóúñ¿¡]", part)}


def drop_noted(evening: Evening) -> None:
    evening.go("event")
    evening.page.locator("[data-k='hypotension']").click()
    for code in ("no_blood", "uf_is_off"):
        evening.page.locator(f"[data-k='{code}']").click()
    evening.go("event", "0")
    evening.page.locator("textarea").fill("Mareo.")


class TestASpanishEvening:
    def test_its_record_holds_no_ready_made_spanish_and_staff_read_english(
        self, phone: Evening, ana: Patient, nurse: User
    ) -> None:
        spanish(phone).ready(started_at=(now_minute() - timedelta(minutes=90)).isoformat())
        self.overruled(phone)
        phone.go("access")
        for row in (0, 3):
            phone.page.locator(".site-row").nth(row).click()
        phone.go("needles")
        phone.main().click()  # a step of the run sheet, done
        drop_noted(phone)
        phone.go("running")
        expect(phone.screen()).to_contain_text("Mareo.")
        phone.run("app", "m.ctx.night.doc.ended_at = new Date().toISOString(); await m.ctx.handOver();")
        assert wait_for(lambda: TreatmentRecord.objects.filter(patient=ana, state="finished").count() == 4)
        record = TreatmentRecord.objects.filter(patient=ana).newest_first()[0]
        assert spanish_in(record.document) == set()
        event = record.event_set.get()
        assert (event.note, event.paused_at is not None) == ("Mareo.", True)
        check = record.answeredcheck_set.get()
        assert (check.name, check.reason) == (
            "Hands and access arm washed",
            "⟦unit_said_so⟧",
        )
        assert [step.words for step in record.stepdone_set.all()] == [
            "Wash the access arm with soap and water, and dry it",
            "Look at the needles, the lines and the sheet: ⟦no_blood⟧",
            "Turn the fluid removal (UF) off.: ⟦uf_is_off⟧",
        ]
        self.pages_of(record, ana, nurse)

    def overruled(self, phone: Evening) -> None:
        phone.go("checks")
        expect(phone.page.locator(".step-words")).to_have_text("Manos y brazo del acceso lavados")
        phone.tap(SPANISH["Not good, or not done"])
        phone.page.locator("[data-k='overrule']").click()
        phone.tap(READY["unit_said_so"])
        phone.go("checks/setup/hands")
        expect(phone.screen()).to_contain_text(READY["unit_said_so"])

    def pages_of(self, record: TreatmentRecord, ana: Patient, nurse: User) -> None:
        pages = {}
        for user in (nurse, ana.account):
            client = Client()
            assert user is not None
            client.force_login(user)
            told = client.get(f"/nights/{record.pk}/", headers={"X-Bedside-Language": "es"})
            pages[user.role] = told.content.decode()
        for words in ("fluid removal off ", "The unit said so on the telephone", "Hands and access arm washed"):
            assert words in pages["nurse"]
            assert words not in pages["patient"]
        assert "extracción de líquido apagada " in pages["patient"]
        assert "Manos y brazo del acceso lavados" in pages["patient"]

    def test_what_was_typed_stays_as_typed(self, phone: Evening) -> None:
        spanish(phone).ready()
        body = """const { ctx } = await import("/static/bedside/js/app.js");
          return given.map((text) => m.wordsOf(ctx.kit, text));"""
        said = phone.run("ready", body, ["Felt: dizzy", "⟦dizzy⟧ at 3", "⟦constructor⟧", "⟦sooner|n=1=2|all=30⟧"])
        assert said == ["Felt: dizzy", "mareo at 3", "⟦constructor⟧", "se siguió tras 1=2 de 30 s"]

    def test_nobody_can_type_a_code(self, phone: Evening) -> None:
        phone.ready(started_at=(now_minute() - timedelta(minutes=90)).isoformat())
        phone.go("finish")
        phone.tap("Blood is back: end now")
        phone.page.get_by_label("Notes").fill("⟦dizzy⟧ said Ben")
        assert wait_for(lambda: phone.doc()["notes"] == "dizzy said Ben")


class TestLanguage:
    def test_chosen_without_a_network_it_reaches_the_account_later_and_only_the_last(
        self, phone: Evening, ana: Patient
    ) -> None:
        phone.ready()
        Shell(phone.watched).kept()  # the words of each language are part of the release that lies on the phone
        phone.go("settings")
        phone.offline()
        phone.tap("Español")
        expect(phone.page.get_by_role("heading", level=1)).to_have_text("Ajustes")
        phone.tap("English")
        phone.tap("Español")
        waiting = "return [...m.list()].filter((each) => each.kind === 'errand').map((each) => each.errand.body);"
        assert wait_for(lambda: phone.run("outbox", waiting) == [{"language": "es"}])
        assert ana.account is not None
        ana.account.refresh_from_db()
        assert ana.account.language == ""
        phone.offline(False)
        assert wait_for(lambda: User.objects.get(pk=ana.account_id).language == "es")
        assert wait_for(lambda: phone.run("outbox", waiting) == [])


MOMENTS = [datetime(2026, 3, 27, tzinfo=UTC) + timedelta(hours=5 * step, minutes=7 * step) for step in range(40)]
"""A week and more, over the night of 29 March on which Europe's clocks change."""


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_phone_says_who_looks_next_as_the_server_does(
    phone: Evening, unit: Unit, ana: Patient, language: str
) -> None:
    (spanish(phone) if language == "es" else phone).ready()
    for zone in ("Europe/Lisbon", "America/New_York"):
        body = """m.setZone(given.zone);
          const { looksNext } = await import("/static/bedside/js/opening.js");
          const { ctx } = await import("/static/bedside/js/app.js");
          return given.moments.map((iso) => looksNext(ctx.kit, new Date(iso)));"""
        given = {"zone": zone, "moments": [each.isoformat() for each in MOMENTS]}
        told = phone.run("words", body, given)
        with translation.override(language):
            ours = [looked_at_next(Unit.objects.current(), each, zone=ZoneInfo(zone)) for each in MOMENTS]
        assert told == ours
        assert len(set(told)) > 5


def test_a_day_is_written_as_spanish_writes_it(phone: Evening) -> None:
    spanish(phone).ready()
    assert phone.run("words", "return m.dayOf('2026-11-25T12:00:00Z');") == "miércoles, 25 de noviembre"


class TestPastThePlannedEnd:
    def at(self, phone: Evening, minutes: int, **document: Any) -> None:
        phone.running(minutes, planned_minutes=240, **document)

    def test_it_says_that_the_time_is_over_and_nags_no_more(self, phone: Evening) -> None:
        looked = (phone.now - timedelta(minutes=40)).isoformat()
        self.at(phone, 265, readings=[{"at": looked, "venous_mmhg": 140}])
        screen = phone.screen()
        expect(screen).to_contain_text("The planned time is over since")
        expect(screen).to_contain_text("Finish, or go on as your unit taught you.")
        expect(screen).not_to_contain_text("Reading due")
        expect(screen).not_to_contain_text("The last reading is from")
        expect(phone.main()).to_have_text("Finish")

    def test_an_old_reading_is_told_to_whoever_goes_on(self, phone: Evening) -> None:
        self.at(phone, 265)
        expect(phone.screen()).to_contain_text("take one if you go on")
        expect(phone.screen()).not_to_contain_text("Reading due")

    def test_longer_than_is_allowed_is_said(self, phone: Evening) -> None:
        self.at(phone, 305)
        expect(phone.screen()).to_contain_text("Longer than the 5:00 h that your prescription allows at most.")

    def test_before_it_a_reading_is_due_as_ever(self, phone: Evening) -> None:
        self.at(phone, 70)
        expect(phone.screen()).to_contain_text("Reading due for 60 minutes.")  # the first, 10 minutes after the start


def test_settings_say_what_a_phone_without_a_pin_means_and_offer_one(phone: Evening) -> None:
    phone.ready()
    phone.go("settings")
    words = "This phone has no PIN."
    expect(phone.screen()).to_contain_text(words)
    phone.tap("Set a PIN")
    for label in ("New PIN, six figures or more are better", "The same again"):
        phone.page.get_by_label(label).fill("240571")
    phone.tap("Set the PIN")
    expect(phone.page.get_by_role("button", name="Change the PIN")).to_be_visible()
    expect(phone.screen()).not_to_contain_text(words)
