"""The unit's own texts: written in plain forms, version by version, and adapted for one patient."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import IntegrityError, ProgrammingError, transaction
from django.test import Client

from homedialysis.accounts.models import ReadLog, User
from sessions.facts.choices import Technique, TextKind
from sessions.models import EventKind, Patient, UnitText
from sessions.services.unit_texts import (
    DEFAULTS,
    NotATextWriter,
    TextMovedOn,
    TextPlace,
    Texts,
    technique_of,
    write_text,
)
from sessions.texts import checklist, run_sheets
from sessions.texts.cards import CARDS
from sessions.texts.emergency import FIRST_AID
from tests.conftest import signed_in
from tests.crowd import ours
from tests.factories import A_NIGHT, AccessFactory, SiteFactory, UnitTextFactory

pytestmark = pytest.mark.django_db
CHECKS = "/unit/bedside/checklist/"


def fields_of(page: Any) -> dict[str, Any]:
    """What a browser would send of the forms on a page, without a button."""
    rows = page.context["rows"]
    sent: dict[str, Any] = {"rows": str(len(rows.forms))}
    for form in rows.forms:
        for name in form.fields:
            value = form[name].value()
            if value is True:
                sent[form.add_prefix(name)] = "on"
            elif value not in (None, False):
                sent[form.add_prefix(name)] = str(value)
    save = page.context["save"]
    return sent | {"base": str(save["base"].value()), "why": save["why"].value() or ""}


def names(page: Any) -> list[str]:
    return [form.called for form in page.context["rows"].forms]


def test_the_programs_checks_are_the_unit_s_first_words(nurse_client: Client) -> None:
    page = nurse_client.get(CHECKS)
    assert names(page) == [str(item.name) for item in checklist.DEFAULT]
    assert "The text that comes with the program holds" in page.content.decode()


def test_a_check_is_changed_and_saved_as_a_version(nurse_client: Client, nurse: User) -> None:
    sent = fields_of(nurse_client.get(CHECKS))
    answer = nurse_client.post(
        CHECKS, sent | {"row-1-limit_high": "0.05", "why": "Our water service asks for half.", "do": "save"}
    )
    assert (answer.status_code, answer.headers["Location"]) == (302, f"{CHECKS}#content")
    row = ours(UnitText).get()
    assert (row.kind, row.version, row.made_by, row.why) == (
        "checklist",
        1,
        nurse,
        "Our water service asks for half.",
    )
    assert row.content["items"][1] == checklist.DEFAULT[1].as_json() | {"limit_high": 0.05, "own": {}}
    assert [item["key"] for item in row.content["items"]] == [item.key for item in checklist.DEFAULT]
    page = nurse_client.get(CHECKS)
    assert "Version 1 holds" in page.content.decode()
    assert page.context["rows"].forms[1]["limit_high"].value() == 0.05


def test_rows_move_come_and_go_and_nothing_is_saved_before_it_is_asked(nurse_client: Client) -> None:
    page = nurse_client.get(CHECKS)
    before = names(page)
    page = nurse_client.post(CHECKS, fields_of(page) | {"do": "up-1"})
    assert names(page) == [before[1], before[0], *before[2:]]
    assert "Nothing is saved yet" in page.content.decode()
    page = nurse_client.post(CHECKS, fields_of(page) | {"do": "down-0"})
    assert names(page) == before
    page = nurse_client.post(CHECKS, fields_of(page) | {"do": "remove-3"})
    assert names(page) == before[:3] + before[4:]
    page = nurse_client.post(CHECKS, fields_of(page) | {"do": "add"})
    assert names(page)[-1] == ""
    last = len(names(page)) - 1
    given = {f"row-{last}-name": "Cat is out", f"row-{last}-part": "setup", "why": "Cats.", "do": "save"}
    assert nurse_client.post(CHECKS, fields_of(page) | given).status_code == 302
    kept = ours(UnitText).get().content["items"]
    assert (kept[-1]["name"], kept[-1]["key"], kept[-1]["asks_value"]) == ("Cat is out", "cat_is_out", False)
    assert len(kept) == len(before)


@pytest.mark.parametrize("do", ["up-0", "down-999", "remove-999", "up-", "fly-2", "", "stay", "remove--1"])
def test_a_button_that_makes_no_sense_changes_nothing(nurse_client: Client, do: str) -> None:
    page = nurse_client.get(CHECKS)
    again = nurse_client.post(CHECKS, fields_of(page) | {"do": do})
    assert (again.status_code, names(again)) == (200, names(page))
    assert not ours(UnitText).exists()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"row-1-limit_high": "much"}, "is not a number"),
        ({"row-4-limit_low": "16"}, "The highest must not lie below the lowest, 16; 15 was given."),
        ({"row-0-limit_high": "2"}, "A limit needs a number to judge"),
        ({"row-2-name": ""}, "This field is required"),
        ({"row-2-name": "x" * 81}, "at most 80 characters (it has 81)"),
        ({"row-2-key": "Key!"}, "“Key!” was given"),
        ({"why": ""}, "This field is required"),
        ({"why": " "}, "This field is required"),
        ({}, "Nothing is different from what holds"),
    ],
)
def test_what_cannot_be_saved_is_said_and_kept_in_sight(
    nurse_client: Client, change: dict[str, str], words: str
) -> None:
    sent = fields_of(nurse_client.get(CHECKS)) | {"why": "Trying.", "do": "save"} | change
    answer = nurse_client.post(CHECKS, sent)
    assert (answer.status_code, ours(UnitText).count()) == (400, 0)
    page = answer.content.decode()
    assert words in page
    assert all(value in page for value in change.values())


def test_an_empty_list_is_refused(nurse_client: Client) -> None:
    answer = nurse_client.post(CHECKS, {"rows": "0", "base": "0", "why": "None.", "do": "save"})
    assert "At least one check is needed" in answer.content.decode()


@pytest.mark.parametrize("rows", ["x", "-1", "", "9" * 9])
def test_a_made_up_number_of_rows_is_no_harm(nurse_client: Client, rows: str) -> None:
    assert nurse_client.post(CHECKS, {"rows": rows, "do": "stay"}).status_code == 200


def test_two_who_write_at_once_lose_nothing(nurse_client: Client, nephrologist_client: Client) -> None:
    mine = fields_of(nurse_client.get(CHECKS)) | {"row-0-hint": "Mine.", "why": "Mine.", "do": "save"}
    theirs = fields_of(nephrologist_client.get(CHECKS)) | {"row-0-hint": "Theirs.", "why": "Theirs.", "do": "save"}
    assert nephrologist_client.post(CHECKS, theirs).status_code == 302
    page = nurse_client.post(CHECKS, mine)
    assert page.status_code == 400
    assert "Dr Lee saved version 1 while you were writing (Theirs.)" in page.content.decode()
    assert page.context["rows"].forms[0]["hint"].value() == "Mine."
    assert nurse_client.post(CHECKS, fields_of(page) | {"do": "save"}).status_code == 302
    assert list(ours(UnitText).order_by("version").values_list("version", "why")) == [(1, "Theirs."), (2, "Mine.")]


def test_an_old_version_can_still_be_read(nurse_client: Client, technologist: User) -> None:
    first = UnitTextFactory(content={"items": [checklist.DEFAULT[0].as_json() | {"name": "Old words"}]})
    UnitTextFactory(why="Newer.")
    assert "Old words" not in nurse_client.get(CHECKS).content.decode()
    page = signed_in(technologist).get(f"/unit/bedside/versions/{first.pk}/")
    assert "Old words" in page.content.decode()
    assert nurse_client.get("/unit/bedside/versions/999999/").status_code == 404


def test_versions_are_never_changed_or_deleted() -> None:
    row = UnitTextFactory()
    row.why = "Other."
    for change in (row.save, row.delete):
        with pytest.raises(ProgrammingError, match="Cannot update or delete rows"), transaction.atomic():
            change()
    with pytest.raises(IntegrityError, match="unit_text_version_once"), transaction.atomic():
        UnitTextFactory(version=row.version)


@pytest.mark.parametrize("technique", Technique.values)
@pytest.mark.parametrize("way", [run_sheets.BOTH_NEEDLES, run_sheets.BLEED_OUT])
def test_the_programs_steps_for_each_way_to_connect_can_be_put_in(
    nurse_client: Client, technique: str, way: str
) -> None:
    where = f"/unit/bedside/run-sheets/{technique}/"
    page = nurse_client.post(where, fields_of(nurse_client.get(where)) | {"do": f"default-{way}"})
    assert names(page) == [str(step.words) for step in run_sheets.default_steps(technique, way)]
    answer = nurse_client.post(where, fields_of(page) | {"row-0-hint": "Ours.", "why": "Our way.", "do": "save"})
    assert answer.status_code == 302, names(page)
    row = ours(UnitText).get()
    assert (row.kind, row.technique, row.patient) == ("run_sheet", technique, None)
    assert row.content["steps"][0]["own"] == {"hint": "en"}
    programs = run_sheets.default_content(technique, way)["steps"][1:]
    assert row.content["steps"][1:] == [step | {"own": {}} for step in programs]


@pytest.mark.parametrize("technique", Technique.values)
@pytest.mark.parametrize("way", [run_sheets.BOTH_NEEDLES, run_sheets.BLEED_OUT])
def test_every_sheet_cleans_waits_asks_and_starts_slowly(technique: str, way: str) -> None:
    steps = run_sheets.default_steps(technique, way)
    keys = [step.key for step in steps]
    assert len(set(keys)) == len(keys)
    asked = {(step.asks, step.use) for step in steps}
    assert {("flash", "arterial"), ("flash", "venous"), ("flush", "arterial"), ("flush", "venous")} <= asked
    if technique != Technique.CATHETER:
        assert {(ask, use) for ask in ("needle", "tape", "attempts", "pain") for use in ("arterial", "venous")} <= asked
    waits = [index for index, step in enumerate(steps) if step.countdown_s]
    needles = [index for index, step in enumerate(steps) if step.asks in ("needle", "flash")]
    assert len(waits) == 2
    assert min(waits) < min(needles), "nothing goes in before the antiseptic has acted"
    assert keys.index("pump_slow") < keys.index("pump_up") < keys.index("safe")


def test_a_step_that_asks_about_a_needle_names_it(nurse_client: Client) -> None:
    where = "/unit/bedside/run-sheets/buttonhole/"
    sent = fields_of(nurse_client.get(where)) | {"row-0-asks": "pain", "why": "Trying.", "do": "save"}
    assert "Say which needle this is asked of" in nurse_client.post(where, sent).content.decode()
    sent |= {"row-0-asks": "", "row-0-countdown_s": "0"}
    assert "greater than or equal to 1" in nurse_client.post(where, sent).content.decode()


def test_cards_and_first_aid_are_rewritten_under_their_own_keys(nurse_client: Client) -> None:
    where = "/unit/bedside/cards/"
    forged = {"row-0-key": "something_else", "row-0-now": "Stop the pump.\n\n Clamp. ", "why": "Short.", "do": "save"}
    assert nurse_client.post(where, fields_of(nurse_client.get(where)) | forged).status_code == 302
    cards = ours(UnitText).get(kind="cards").content["cards"]
    assert (cards[0]["kind"], cards[0]["now"]) == ("needle_out", ["Stop the pump.", "Clamp."])
    assert cards[0]["own"] == {"now": "en"}
    assert [card["kind"] for card in cards] == [card.kind for card in CARDS]
    where = "/unit/bedside/first_aid/"
    page = nurse_client.get(where)
    assert names(page) == [str(kind.label) for kind in FIRST_AID]
    index = list(FIRST_AID).index(EventKind.CRAMP)
    forged = {"row-0-key": "air", f"row-{index}-words": "Stretch.", "why": "Short.", "do": "save"}
    assert nurse_client.post(where, fields_of(page) | forged).status_code == 302
    texts = ours(UnitText).get(kind="first_aid").content["texts"]
    assert (texts["cramp"], set(texts)) == ("Stretch.", {kind.value for kind in FIRST_AID})


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ("\n".join("abcdefghi"), "At most 8 lines; 9 were given"),
        ("x" * 201, "A line has at most 200 characters; one of 201 was given"),
        ("  \n ", "required"),
    ],
)
def test_a_card_stays_short(nurse_client: Client, lines: str, words: str) -> None:
    where = "/unit/bedside/cards/"
    sent = fields_of(nurse_client.get(where)) | {"row-1-now": lines, "why": "Long.", "do": "save"}
    page = nurse_client.post(where, sent)
    assert page.status_code == 400
    assert words in str(page.context["rows"].forms[1].errors["now"])


@pytest.fixture
def hers(ana: Patient) -> str:
    SiteFactory(access=AccessFactory(patient=ana), technique="buttonhole")
    return f"/patients/{ana.pk}/run-sheet/"


def kit_of(client: Client) -> Any:
    return client.get("/api/v1/bedside/").json()


def test_the_training_nurse_adapts_a_run_sheet_for_one_patient(
    nurse_client: Client, ana_client: Client, ben_client: Client, hers: str, ana: Patient
) -> None:
    page = nurse_client.get(hers)
    assert "follows the unit&#x27;s run sheet" in page.content.decode() or "follows the unit's" in page.content.decode()
    sent = fields_of(page) | {"row-0-words": "Sit down first, Ana", "why": "Gets dizzy.", "do": "save"}
    assert nurse_client.post(hers, sent).status_code == 302
    row = ours(UnitText).get()
    assert (row.patient, row.technique) == (ana, "buttonhole")
    told = kit_of(ana_client)["run_sheet"]
    assert (told["version"], told["steps"][0]["words"]) == (row.version, "Sit down first, Ana")
    assert kit_of(ben_client)["run_sheet"]["version"] == 0
    page = nurse_client.get(hers)
    assert "by Nurse Kim: Gets dizzy." in page.content.decode()
    index = nurse_client.get("/unit/bedside/").content.decode()
    assert ("Ana Verdemar" in index, "Gets dizzy." in index) == (True, True)


def test_a_later_change_of_the_unit_s_sheet_is_pointed_out(
    nurse_client: Client, ana_client: Client, nurse: User, ana: Patient, hers: str
) -> None:
    UnitTextFactory(kind="run_sheet", technique="buttonhole", patient=ana, version=1, made_by=nurse)
    units = run_sheets.default_content("buttonhole")
    units["steps"][0]["words"] = "The unit's new words"
    place = TextPlace(TextKind.RUN_SHEET, "buttonhole")
    write_text(place=place, content=units, why="New rule.", base=0, by=nurse, at=A_NIGHT.replace(year=2027))
    page = nurse_client.get(hers)
    assert "changed after that" in page.content.decode()
    assert kit_of(ana_client)["run_sheet"]["version"] == 1, "the patient's own still holds"
    page = nurse_client.post(hers, fields_of(page) | {"do": "default"})
    assert names(page)[0] == "The unit's new words"
    given = {"do": "withdraw", "why": "Not needed any more."}
    assert nurse_client.post(hers, fields_of(page) | given).status_code == 302
    told = kit_of(ana_client)["run_sheet"]
    assert (told["version"], told["steps"][0]["words"]) == (2, "The unit's new words")
    page = nurse_client.get(hers)
    assert "taken back" in page.content.decode()
    again = nurse_client.post(hers, fields_of(page) | given)
    assert "no words of its own to take back" in again.content.decode()
    assert ours(UnitText).count() == 3


def test_reading_a_patient_s_own_sheet_is_noted(technologist: User, ana: Patient, hers: str) -> None:
    row = UnitTextFactory(kind="run_sheet", technique="buttonhole", patient=ana)
    client = signed_in(technologist)
    for where in (f"/unit/bedside/versions/{row.pk}/", "/unit/bedside/"):
        assert client.get(where).status_code == 200
        assert ReadLog.objects.filter(user=technologist, patient_id=ana.pk, path=where).count() == 1


@pytest.mark.parametrize("where", ["/unit/bedside/run_sheet/", "/unit/bedside/nothing/", "/unit/bedside/run-sheets/x/"])
def test_a_text_that_is_not_there_is_404(nurse_client: Client, where: str) -> None:
    assert nurse_client.get(where).status_code == 404


def test_who_may_not_write_reads(technologist: User, ana_client: Client) -> None:
    client = signed_in(technologist)
    page = client.get(CHECKS)
    assert (page.status_code, 'name="do"' in page.content.decode()) == (200, False)
    assert client.post(CHECKS, {"do": "save"}).status_code == 403
    assert ana_client.get(CHECKS).status_code == 403
    with pytest.raises(NotATextWriter):
        write_text(
            place=TextPlace(TextKind.CHECKLIST), content={"items": []}, why="Mine.", base=0, by=technologist, at=A_NIGHT
        )


def test_a_writer_who_began_too_early_is_told(nurse: User) -> None:
    place = TextPlace(TextKind.CARDS)
    content = DEFAULTS[TextKind.CARDS]("")
    first = write_text(place=place, content=content, why="First.", base=0, by=nurse, at=A_NIGHT)
    with pytest.raises(TextMovedOn, match="saved version 1"):
        write_text(place=place, content=content, why="Second.", base=0, by=nurse, at=A_NIGHT)
    assert Texts().standing(place).row == first


@pytest.mark.parametrize(
    ("kind", "techniques", "found"),
    [
        ("", [], "rope_ladder"),
        ("fistula", [], "rope_ladder"),
        ("catheter", [], "catheter"),
        ("fistula", ["buttonhole", "rope_ladder", "buttonhole"], "buttonhole"),
        ("catheter", ["rope_ladder"], "rope_ladder"),
    ],
)
def test_the_technique_is_that_of_most_sites(ana: Patient, kind: str, techniques: list[str], found: str) -> None:
    access = AccessFactory.build(patient=ana, kind=kind) if kind else None
    assert technique_of(access, techniques) == found
