"""Signatures under the texts of patients: both roles, each language, until the words change or the day passes."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
import time_machine
from django.conf import settings
from django.db import ProgrammingError, transaction
from django.test import Client
from django.utils import timezone
from django.utils.translation import override

from homedialysis.accounts.models import User
from sessions.facts.choices import EventKind, Technique, TextKind
from sessions.models import Patient, TextSignature
from sessions.services.text_signing import Signatures, State, TextPart, parts, sign, unsigned_parts
from sessions.services.unit_texts import DEFAULTS, TextPlace, Texts, write_text
from sessions.texts.cards import CARDS
from sessions.texts.emergency import FIRST_AID
from tests.conftest import signed_in
from tests.crowd import ours
from tests.factories import A_NIGHT, PASSWORD, AccessFactory, SiteFactory, UnitTextFactory

pytestmark = pytest.mark.django_db
BOTH = ("en", "es")
AIR = TextPart(TextPlace(TextKind.CARDS), "air")
WHERE = "/unit/bedside/signing/cards.air/"


def signing(part: TextPart, by: User, *, languages: Any = BOTH, days: int = 365, at: Any = None) -> TextSignature:
    at = at or timezone.now()
    texts = Texts(part.place.patient)
    return sign(part, texts=texts, languages=languages, by=by, at=at, read_again_on=at.date() + timedelta(days=days))


def checked(part: TextPart, language: str = "en", on: date | None = None) -> bool:
    with override(language):
        return Signatures(Texts(), on or timezone.localdate()).checked(part)


def kit_of(client: Client) -> Any:
    return client.get("/api/v1/bedside/").json()


def card_of(kit: Any, kind: str) -> Any:
    return next(card for card in kit["cards"] if card["kind"] == kind)


def test_every_card_first_aid_check_list_and_sheet_is_a_part() -> None:
    names = [part.name for part in parts(Texts())]
    assert len(names) == len(set(names)) == len(CARDS) + len(FIRST_AID) + 2 + 3
    assert "cards.air" in names
    assert "first_aid.cramp" in names
    assert names[-4:] == ["checklist", *(f"run_sheet.{technique}" for technique in Technique.values)]


def test_a_text_is_checked_once_nurse_and_nephrologist_have_signed(nurse: User, nephrologist: User) -> None:
    assert not checked(AIR)
    signing(AIR, nurse)
    assert not checked(AIR)
    signing(AIR, nephrologist)
    assert checked(AIR)
    assert not checked(TextPart(TextPlace(TextKind.CARDS), "faint"))


def test_each_language_is_signed_for_itself(nurse: User, nephrologist: User) -> None:
    signing(AIR, nurse)
    signing(AIR, nephrologist, languages=["en"])
    assert (checked(AIR), checked(AIR, "es")) == (True, False)


def test_a_day_to_read_again_ends_it(nurse: User, nephrologist: User) -> None:
    for by in (nurse, nephrologist):
        signing(AIR, by, days=30)
    today = timezone.localdate()
    assert checked(AIR, on=today + timedelta(days=29))
    assert not checked(AIR, on=today + timedelta(days=30))
    assert Signatures(Texts(), today + timedelta(days=30)).state(AIR, "nurse") == State.OLD


def test_changed_words_end_it_and_those_of_other_cards_do_not(nurse: User, nephrologist: User) -> None:
    faint = TextPart(TextPlace(TextKind.CARDS), "faint")
    for by in (nurse, nephrologist):
        signing(AIR, by)
        signing(faint, by)
    content = DEFAULTS[TextKind.CARDS]("")
    next(card for card in content["cards"] if card["kind"] == "air")["now"][0] = "Clamp at once."
    write_text(place=TextPlace(TextKind.CARDS), content=content, why="Shorter.", base=0, by=nurse, at=timezone.now())
    assert (checked(AIR), checked(faint)) == (False, True)
    assert Signatures(Texts(), timezone.localdate()).state(AIR, "nurse") == State.CHANGED
    for by in (nurse, nephrologist):
        signing(AIR, by)
    assert checked(AIR)


def rewritten(by: User, *lines: str) -> None:
    """The card of air in the line with other lines of whom to call."""
    content = DEFAULTS[TextKind.CARDS]("")
    next(card for card in content["cards"] if card["kind"] == "air")["call"] = list(lines)
    write_text(place=TextPlace(TextKind.CARDS), content=content, why="Shorter.", base=0, by=by, at=timezone.now())


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (["Call at once, even if you feel well."], "“Call at once, even if you feel well.” names nobody."),
        (["Call the emergency number.", "Then call."], "“Then call.” names nobody."),
        (["At the next opportunity call."], "names nobody."),
        ([], "It says nothing of a call."),
    ],
)
def test_a_card_of_the_unit_without_whom_to_call_cannot_be_signed(nurse: User, lines: list[str], said: str) -> None:
    rewritten(nurse, *lines)
    client = signed_in(nurse)
    assert said in client.get(WHERE).content.decode(), "told before anybody tries"
    answer = post(client, WHERE)
    assert answer.status_code == 400
    assert said in answer.content.decode()
    assert not TextSignature.objects.filter(signed_by=nurse).exists()
    with pytest.raises(ValueError, match="each line of whom to call names the unit or the emergency number"):
        signing(AIR, nurse)


@pytest.mark.parametrize("lines", [["Call 112 now."], ["Ring 01632 960100."], ["Call the UNIT.", "Llame a la unidad."]])
def test_a_card_of_the_unit_that_names_whom_to_call_can(nurse: User, lines: list[str]) -> None:
    rewritten(nurse, *lines)
    assert post(signed_in(nurse), WHERE).status_code == 302


def test_the_phone_is_told_which_texts_nobody_has_checked(
    ana: Patient, ana_client: Client, nurse: User, nephrologist: User
) -> None:
    kit = kit_of(ana_client)
    assert not any(card["checked"] for card in kit["cards"])
    assert (kit["checklist"]["checked"], kit["run_sheet"]["checked"]) == (False, False)
    assert set(kit["first_aid_unchecked"]) == set(EventKind.values)
    for part in parts(Texts()):
        for by in (nurse, nephrologist):
            signing(part, by)
    kit = kit_of(ana_client)
    assert all(card["checked"] for card in kit["cards"])
    assert (kit["checklist"]["checked"], kit["run_sheet"]["checked"]) == (True, True)
    assert kit["first_aid_unchecked"] == []
    assert kit["flows_checked"] is True
    assert unsigned_parts(Texts(), timezone.localdate()) == []
    with time_machine.travel(timezone.now() + timedelta(days=366), tick=False):
        kit = kit_of(signed_in(ana.account))
        assert not card_of(kit, "air")["checked"]


def test_an_adapted_sheet_has_signatures_of_its_own(
    ana: Patient, ana_client: Client, nurse: User, nephrologist: User
) -> None:
    SiteFactory(access=AccessFactory(patient=ana), technique="buttonhole")
    units = TextPart(TextPlace(TextKind.RUN_SHEET, "buttonhole"))
    for by in (nurse, nephrologist):
        signing(units, by)
    assert kit_of(ana_client)["run_sheet"]["checked"] is True
    content = DEFAULTS[TextKind.RUN_SHEET]("buttonhole")
    content["steps"][0]["words"] = "Sit down first, Ana"
    place = TextPlace(TextKind.RUN_SHEET, "buttonhole", ana)
    write_text(place=place, content=content, why="Dizzy.", base=0, by=nurse, at=timezone.now())
    assert kit_of(ana_client)["run_sheet"]["checked"] is False
    where = f"/patients/{ana.pk}/run-sheet/buttonhole/signing/"
    for by in (nurse, nephrologist):
        answer = post(signed_in(by), where)
        assert answer.headers["Location"] == "/unit/bedside/signing/"
    assert kit_of(ana_client)["run_sheet"]["checked"] is True
    assert signed_in(nurse).get(f"/patients/{ana.pk}/run-sheet/catheter/signing/").status_code == 404


def post(client: Client, where: str, **changes: Any) -> Any:
    """Sign what a page shows, as its form does."""
    page = client.get(where)
    again = timezone.localdate() + timedelta(days=365)
    sent = {"seen": page.context["seen"], "languages": ["en", "es"], "read_again_on": again.isoformat()}
    return client.post(where, sent | {"password": PASSWORD} | changes)


def test_one_after_another_with_the_password_asked_once(nurse_client: Client, nurse: User) -> None:
    index = nurse_client.get("/unit/bedside/signing/")
    total = len(parts(Texts()))
    assert index.context["count"] == total
    assert f"Read and sign {total}, one after another" in " ".join(index.content.decode().split())
    where, read = f"/unit/bedside/signing/{index.context['mine'].name}/", []
    for number in range(total):
        page = nurse_client.get(where)
        assert ('name="password"' in page.content.decode()) == (number == 0)
        read.append(where)
        answer = post(nurse_client, where) if number == 0 else post(nurse_client, where, password="")
        assert answer.status_code == 302, answer.content.decode()
        where = answer.headers["Location"]
    assert where == "/unit/bedside/signing/"
    assert len(set(read)) == total
    assert TextSignature.objects.filter(signed_by=nurse, role="nurse").count() == total
    assert nurse_client.get(where).context["mine"] is None


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"password": "wrong"}, "The password is not right. Nothing was signed."),
        ({"seen": "another"}, "The text changed while you were reading"),
        ({"languages": []}, "This field is required"),
        ({"languages": ["xx"]}, "not one of the available choices"),
        ({"read_again_on": "2020-01-01"}, "must lie between"),
        ({"read_again_on": "2999-01-01"}, "must lie between"),
        ({"read_again_on": ""}, "This field is required"),
    ],
)
def test_what_cannot_be_signed_is_said(nurse_client: Client, change: dict[str, Any], words: str) -> None:
    answer = post(nurse_client, WHERE, **change)
    assert answer.status_code == 400
    assert words in answer.content.decode()
    assert not ours(TextSignature).exists()


def test_the_page_shows_every_language_as_patients_read_it(nurse_client: Client) -> None:
    page = nurse_client.get(WHERE).content.decode()
    assert "Lie down on your left side, head and chest lower than your feet." in page
    assert "Túmbese sobre el lado izquierdo" in page
    assert f'<section class="card" lang="{settings.LANGUAGES[1][0]}">' in page


def test_who_signs_nothing_reads(technologist: User) -> None:
    client = signed_in(technologist)
    page = client.get(WHERE)
    assert (page.status_code, 'name="seen"' in page.content.decode()) == (200, False)
    assert client.post(WHERE, {}).status_code == 403
    with pytest.raises(ValueError, match="A nurse and a nephrologist"):
        signing(AIR, technologist)
    assert client.get("/unit/bedside/signing/nothing/").status_code == 404


def test_the_unit_s_list_says_how_many_are_missing(nurse_client: Client, nurse: User, nephrologist: User) -> None:
    total = len(parts(Texts()))
    assert f"{total} of {total} texts are not signed" in " ".join(
        nurse_client.get("/unit/bedside/").content.decode().split()
    )
    for part in parts(Texts()):
        for by in (nurse, nephrologist):
            signing(part, by)
    assert "Every text is signed by a nurse and a nephrologist." in nurse_client.get("/unit/bedside/").content.decode()


def test_a_signature_is_never_changed(nurse: User) -> None:
    row = signing(AIR, nurse)
    for change in (row.save, row.delete):
        with pytest.raises(ProgrammingError, match="Cannot update or delete rows"), transaction.atomic():
            change()


def test_an_old_unit_version_does_not_hide_a_new_card(nurse: User) -> None:
    UnitTextFactory(kind="cards", content={"cards": []}, made_by=nurse, made_at=A_NIGHT)
    assert [part.key for part in parts(Texts()) if part.place.kind == TextKind.CARDS] == [card.kind for card in CARDS]
