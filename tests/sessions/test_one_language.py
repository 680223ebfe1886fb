"""Records are kept in one language: the words of the phone, the texts of the kit, and how each is read again."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Any

import pytest
from django.test import Client
from django.utils import translation

from homedialysis.accounts.models import User
from sessions.facts.choices import NeedleKind
from sessions.facts.local_day import day, month, plain_day
from sessions.models import Patient, RecordSource, TextKind, TreatmentRecord
from sessions.pages.bedside import FOLDER
from sessions.pages.differences import changed_fields
from sessions.services.takeout import as_json
from sessions.texts import checklist, ready
from sessions.texts.flows import FLOWS
from tests.crowd import ours
from tests.factories import A_NIGHT, UnitTextFactory, record_night

DROP = "⟦felt⟧: ⟦dizzy⟧, ⟦cramp⟧. ⟦done⟧: ⟦uf_off⟧, ⟦head_low⟧. ⟦better⟧: ⟦no⟧."


def words_of_codes(*names: str) -> set[str]:
    """Codes that the scripts of the bedside write, as plain strings of these modules."""
    return {code for name in names for code in re.findall(r'"([a-z_]+)"', (FOLDER / "js" / name).read_text("utf-8"))}


def test_the_phone_writes_every_code_that_is_declared_and_no_other() -> None:
    scripts = [path.relative_to(FOLDER / "js") for path in (FOLDER / "js").rglob("*.js")]
    texts = "".join((FOLDER / "js" / name).read_text("utf-8") for name in scripts)
    called = set(re.findall(r'\b(?:coded\(|say\([\w.]+, )"(\w+)"', texts))
    assert len(called) > 8
    assert called - set(ready.READY) == set()
    kinds = set(NeedleKind.values) | {"felt", "done", "better"}
    answers = {answer.code for steps in FLOWS.values() for step in steps for answer in step.answers}
    assert set(ready.READY) - kinds - answers - words_of_codes(*map(str, scripts)) == set()


def test_codes_are_read_in_the_language_of_the_reader_and_typed_words_stay() -> None:
    english = "Felt: dizzy, cramp. Done: UF off, head low, legs up. Better: no."
    assert ready.words_of(DROP) == english
    with translation.override("es"):
        read = ready.words_of(DROP)
        for typed in ("dizzy", "Felt: dizzy", "dizzy since noon", ""):
            assert ready.words_of(typed) == typed
    assert read == "Se nota: mareo, calambre. Hecho: UF apagada, cabeza baja, piernas en alto. Mejor: no."


def test_what_fills_the_words_stands_in_them_as_it_was() -> None:
    assert ready.words_of("Dry: ⟦sooner|n=12|all=30⟧") == "Dry: gone on after 12 of 30 s"
    with translation.override("es"):
        assert ready.words_of("⟦needle_out|site=Lower = {n}⟧") == "Aguja fuera: Lower = {n}"


@pytest.mark.parametrize("unknown", ["⟦of_another_year⟧", "⟦dizzy", "⟦⟧", "⟦dizzy|⟧"])
def test_a_code_that_nobody_knows_is_shown_as_it_stands(unknown: str) -> None:
    assert ready.words_of(f"{unknown}, typed") == f"{unknown}, typed"
    with pytest.raises(ValueError, match="code must be one of"):
        ready.coded(unknown)


@pytest.mark.django_db
def test_pages_versions_and_takeout_read_codes_in_the_language_of_the_reader(
    ana: Patient, ana_client: Client, nurse_client: Client
) -> None:
    event = {"at": A_NIGHT.isoformat(), "kind": "hypotension", "note": DROP}
    medicine = {"at": A_NIGHT.isoformat(), "name": "⟦heparin⟧", "amount": 2000, "unit": "⟦units⟧"}
    record = record_night(ana, events=[event], medicines=[medicine])
    assert record.event_set.get().note == DROP
    told = {"headers": {"X-Bedside-Language": "es"}}
    pages = (client.get(f"/nights/{record.pk}/", **told) for client in (ana_client, nurse_client))
    hers, theirs = (page.content.decode() for page in pages)
    with translation.override("es"):
        taken = "".join(as_json(ana, at=A_NIGHT))
        changes = str(changed_fields({}, record.document))
    for text in (hers, taken, changes):
        assert [words for words in ("Se nota: mareo", "Heparina", "unidades", "⟦") if words in text] == [
            "Se nota: mareo",
            "Heparina",
            "unidades",
        ]
    assert ("Felt: dizzy" in theirs, "⟦" in theirs) == (True, False)


def test_days_are_written_as_each_language_writes_them() -> None:
    when = datetime(2026, 11, 25, 12, tzinfo=UTC)
    assert [day(when), plain_day(when), month(when)] == ["Wed 25 Nov 2026", "25 November 2026", "November 2026"]
    with translation.override("es"):
        # The same as Intl.DateTimeFormat("es") writes: CLDR's own forms.
        assert [day(when), plain_day(when), month(when)] == [
            "miércoles, 25 de noviembre de 2026",
            "25 de noviembre de 2026",
            "noviembre de 2026",
        ]
    assert day(None) == ""


@pytest.mark.django_db
class TestTheKit:
    def kit(self, client: Client, language: str) -> Any:
        return client.get("/api/v1/bedside/", headers={"X-Bedside-Language": language}).json()

    def test_in_spanish_it_carries_what_the_record_keeps(self, ana: Patient, ana_client: Client) -> None:
        english, spanish = self.kit(ana_client, "en"), self.kit(ana_client, "es")
        for part, rows, words in (("checklist", "items", "name"), ("run_sheet", "steps", "words")):
            shown = [row[words] for row in english[part][rows]]
            assert [row["kept"] for row in spanish[part][rows]] == shown
            assert [row[words] for row in spanish[part][rows]] != shown
            assert not [row for row in english[part][rows] if "kept" in row]

    def test_what_the_unit_wrote_itself_stands_in_its_own_words(self, ana: Patient, ana_client: Client) -> None:
        content = checklist.default_content()
        content["items"][0]["name"] = "Hands washed as we taught you"
        UnitTextFactory(kind=TextKind.CHECKLIST, content=content)
        items = self.kit(ana_client, "es")["checklist"]["items"]
        assert items[0]["name"] == "Hands washed as we taught you"
        assert "kept" not in items[0]
        assert all("kept" in item for item in items[1:]), "what the unit left as it was is in Spanish"

    def test_it_carries_what_opening_is_worked_out_from(self, unit: Any, ana: Patient, ana_client: Client) -> None:
        told = self.kit(ana_client, "en")["unit"]
        assert told["time_zone"] == "Europe/Lisbon"
        assert told["opening_hours"][0] == {"weekday": 0, "opens": "08:00", "closes": "17:00"}
        assert "closed_words" not in told


@pytest.mark.django_db
class TestFromPaper:
    def test_the_source_is_a_field_of_its_own(self, ana: Patient, ana_client: Client) -> None:
        record = record_night(ana, source="paper")
        assert (record.source, record.document["source"]) == (RecordSource.PAPER, "paper")
        assert ana_client.get(f"/api/v1/treatments/{record.pk}/").json()["source"] == "paper"
        kit = ana_client.get("/api/v1/bedside/").json()
        assert [night["source"] for night in kit["history"]] == ["paper"]
        assert '"source": "paper"' in "".join(as_json(ana, at=A_NIGHT))

    def test_without_it_nothing_is_said(self, ana: Patient, ana_client: Client) -> None:
        record = record_night(ana)
        assert (record.source, record.document["source"]) == ("", "")

    def test_another_source_is_refused_by_name(self, ana: Patient, ana_client: Client) -> None:
        body = record_night(ana).document | {"source": "memory", "started_at": "2026-03-04T21:00:00Z"}
        path = "/api/v1/treatments/00000000-0000-4000-8000-000000000009/"
        told = ana_client.put(path, body, content_type="application/json")
        assert told.status_code == 400
        assert [fault["field"] for fault in told.json()["errors"]] == ["source"]
        assert not ours(TreatmentRecord).filter(document__source="memory").exists()

    def test_pages_of_staff_and_patient_say_it(
        self, ana: Patient, ana_client: Client, nurse: User, nurse_client: Client
    ) -> None:
        record = record_night(ana, source="paper")
        assert "entered from paper" in nurse_client.get(f"/nights/{record.pk}/").content.decode()
        spanish = ana_client.get(f"/nights/{record.pk}/", headers={"X-Bedside-Language": "es"}).content.decode()
        assert "anotado desde papel" in spanish
        changes = nurse_client.get(f"/nights/{record.pk}/versions/").content.decode()
        assert "entered from paper" in changes

    def test_the_patients_page_leads_to_the_paper_sheet(self, ana: Patient, nurse_client: Client) -> None:
        assert f'href="/takeout/{ana.pk}/flow-sheet.pdf"' in nurse_client.get(f"/patients/{ana.pk}/").content.decode()
