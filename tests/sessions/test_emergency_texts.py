"""Emergency cards, first aid, checks and steps: whom to call is named, no two forms differ, no event is without."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.conf import settings
from django.test import Client
from django.utils.translation import gettext, override
from pypdf import PdfReader

from homedialysis import words
from homedialysis.accounts.models import User
from sessions.facts.choices import EventKind, Technique, TextKind
from sessions.models import Patient
from sessions.services import text_rows
from sessions.services.emergency_texts import access_word, emergency_texts
from sessions.services.flow_sheet import flow_sheet_pdf
from sessions.services.text_signing import Signatures
from sessions.services.unit_texts import DEFAULTS, TextPlace, Texts, write_text
from sessions.services.wall_sheet import wall_sheet_pdf
from sessions.texts import cards, checklist, emergency, flows, run_sheets
from tests.factories import A_NIGHT, AccessFactory

BARE = {
    "en": re.compile(r"(?<!\bon )\bcalls?\b(?! the (unit|emergency number)\b)", re.IGNORECASE),
    "es": re.compile(
        r"\bllam(e|ar)\b(?! (ya |ahora |de inmediato )?(a la (guardia de la )?unidad|al número de emergencias))",
        re.IGNORECASE,
    ),
}
"""A call without whom. Whoever takes a call, and what a call is told, is another word."""
NUMBER = {"en": ("the unit", "the emergency number"), "es": ("a la unidad", "al número de emergencias")}
LANGUAGES = tuple(BARE)
NEVER_BACK = re.compile(r"Do not give (the|this) blood back\.$")
UNLESS = re.compile(r"Do not give the blood back unless ")


def card_words(card: dict[str, Any]) -> Iterator[str]:
    for name in text_rows.CARD_WORDS:
        yield from [card[name]] if isinstance(card[name], str) else card[name]


def every_word() -> Iterator[str]:
    """Whatever the program's texts say, in the language of the moment."""
    for card in emergency.default_cards()["cards"]:
        yield from card_words(card)
    yield from emergency.default_first_aid()["texts"].values()
    for item in checklist.default_content()["items"]:
        yield from (item["name"], item["hint"], item["if_failed"])
    for technique in Technique.values:
        for way in run_sheets.CONNECTIONS:
            for step in run_sheets.default_content(technique, way)["steps"]:
                yield from (step["words"], step["hint"])
    for step in flows.default_flows()["steps"]:
        yield from (step["words"], step["hint"])


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_text_says_call_without_whom(language: str) -> None:
    with override(language):
        bare = [text for text in every_word() if BARE[language].search(text.replace("Whoever takes the call", ""))]
    assert bare == []


def test_no_sentence_of_the_phone_says_call_without_whom() -> None:
    told = [str(part) for row in words.catalogue("es", "djangojs") for part in (row.id, row.string)]
    assert len(told) > 1000
    bare = re.compile(r"(^|[:,;.] )(call|llame)( now| ahora)?([.:;]|$)", re.IGNORECASE)
    assert bare.search("If you feel unwell, do not wait for an answer here: call.")
    assert [text for text in told if bare.search(text)] == []


@pytest.mark.parametrize("text", ["Not better within a few minutes: call.", "If not, do not press: call.", "Call now."])
def test_a_bare_call_is_found(text: str) -> None:
    assert BARE["en"].search(text)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("card", cards.CARDS, ids=lambda card: str(card.kind))
def test_every_card_names_a_number_and_says_what_to_say(card: cards.Card, language: str) -> None:
    with override(language):
        told = card.as_json()
        assert all(any(name in line for name in NUMBER[language]) for line in told["call"]), told["call"]
        assert told["call"]
        assert told["now"]
        assert told["never"]
        assert told["helper"]
        assert told["say"]
    emergency_first = NUMBER[language][1] in told["call"][0]
    assert emergency_first or card.first == cards.FirstCall.UNIT
    assert len(told["now"]) <= 6
    assert max(len(line) for line in card_words(told)) <= 200
    assert card.source


@pytest.mark.parametrize("language", LANGUAGES)
def test_an_emergency_first_card_begins_its_call_with_the_emergency_number(language: str) -> None:
    with override(language):
        wrong = [
            card.kind
            for card in cards.CARDS
            if card.first == cards.FirstCall.EMERGENCY and NUMBER[language][1] not in str(card.call[0])
        ]
    assert wrong == []


def test_every_event_has_one_first_aid_and_no_two() -> None:
    on_cards = [event for card in cards.CARDS for event in card.events]
    assert len(on_cards) == len(set(on_cards))
    assert set(on_cards) | set(emergency.FIRST_AID) == set(EventKind)
    assert set(on_cards) & set(emergency.FIRST_AID) == set()


def test_first_aid_is_what_stands_on_the_card() -> None:
    texts = emergency.first_aid_of(emergency.default_cards()["cards"], emergency.default_first_aid()["texts"])
    assert set(texts) == set(EventKind.values)
    assert all(texts.values())
    air = cards.BY_KIND["air"]
    assert texts["air"] == " ".join(str(line) for line in (*air.now, *air.never, *air.call))


def test_positions_do_not_contradict() -> None:
    """Whoever has air in the line lies on the left side; a card that lets somebody sit up asks for air first."""
    for card in cards.CARDS:
        told = card.as_json()
        up = [line for line in told["now"] if "sit up" in line and "do not sit up" not in line]
        assert all("no air in the lines" in line.lower() for line in up), card.kind
        if up:
            assert "air" in card.see
        legs = [line for line in told["now"] if "legs up" in line]
        assert all("lie flat" in line.lower() for line in legs), "one way to lie with the legs up, everywhere"
    for kind in ("air", "catheter_open"):
        assert cards.LEFT_SIDE in cards.BY_KIND[kind].now
        assert "Do not sit up." in cards.BY_KIND[kind].as_json()["never"]


@pytest.mark.parametrize("kind", ["air", "catheter_open", "blood_colour", "allergy"])
def test_blood_that_harms_is_not_given_back(kind: str) -> None:
    assert any("give" in line and "blood back" in line for line in cards.BY_KIND[kind].as_json()["never"])


@pytest.mark.parametrize("kind", ["faint", "machine_alarm", "power_water"])
def test_trouble_that_may_be_a_bleed_looks_at_the_access_first(kind: str) -> None:
    assert "access" in str(cards.BY_KIND[kind].now[0])


def stopped_on_the_way(kind: str) -> dict[str, set[bool]]:
    """Key of each step that can be come to -> whether the blood pump was stopped by then, on the ways to it."""
    steps = {each.key: each for each in flows.FLOWS[kind]}
    keys, found = list(steps), {key: set[bool]() for key in steps}
    waiting = [(keys[0], False)]
    while waiting:
        key, stopped = waiting.pop()
        if key not in steps or stopped in found[key]:
            continue
        found[key].add(stopped)
        after = keys[keys.index(key) + 1] if key != keys[-1] else flows.OVER
        given = [(each.then, each.does) for each in steps[key].answers] or [("", steps[key].does)]
        pumps = kind != EventKind.HYPOTENSION  # there the fluid removal pauses, and no pump
        waiting += [(then or after, stopped or (pumps and flows.PAUSE in does)) for then, does in given]
    return found


def test_no_pump_is_started_on_lines_that_the_blood_came_back_through_by_hand() -> None:
    steps = {each.key: each for each in flows.FLOWS[EventKind.POWER_FAILURE]}
    keys = list(steps)
    by_hand = next(each for each in steps["hand"].answers if each.code == "by_hand")
    reached, waiting = set(), [by_hand.then]
    while waiting:
        key = waiting.pop()
        if key in reached or key not in steps or key == "lines":  # on the way to the pump only by way of new lines
            continue
        reached.add(key)
        following = keys[keys.index(key) + 1] if keys.index(key) + 1 < len(keys) else flows.OVER
        waiting += [each.then or following for each in steps[key].answers] or [following]
    assert reached
    assert "pump_on" not in reached


@pytest.mark.parametrize("kind", list(flows.FLOWS))
def test_a_way_says_that_the_pump_stays_stopped_only_where_it_stopped_it(kind: str) -> None:
    come_to = stopped_on_the_way(kind)
    for step in flows.FLOWS[kind]:
        if "stays stopped" in str(step.hint):
            assert False not in come_to[step.key], step.key
    if False in come_to["help"]:
        assert "stop it and clamp both lines" in str(flows.HELP_PUMP_RUNS.hint)


def test_every_link_leads_to_a_card_and_never_to_itself() -> None:
    for card in cards.CARDS:
        assert card.kind not in card.see
        assert set(card.see) <= set(cards.BY_KIND)


class TestForms:
    """Phone with a kit, phone without: of one declaration."""

    @pytest.mark.parametrize("language", LANGUAGES)
    def test_the_phone_without_a_kit_says_what_the_declarations_say(self, language: str) -> None:
        script = words.FALLBACK_CARDS.read_text(encoding="utf-8")
        kept = json.loads(script[script.index("{") : script.rindex("}") + 1])
        assert set(kept) == {"en", *words.languages()}
        with override(language):
            declared = emergency.default_cards()["cards"]
        assert [card["kind"] for card in kept[language]["cards"]] == [card.kind for card in cards.CARDS]
        for card, own in zip(kept[language]["cards"], declared, strict=True):
            assert {name: card[name] for name in text_rows.CARD_WORDS} == {
                name: own[name] for name in text_rows.CARD_WORDS
            }
            assert card["checked"] is False

    def test_the_script_is_as_it_would_be_made_now(self) -> None:
        assert words.FALLBACK_CARDS.read_text(encoding="utf-8") == words.fallback_cards()

    @pytest.mark.django_db
    @pytest.mark.parametrize("language", LANGUAGES)
    def test_the_kit_says_what_the_declarations_say(self, language: str) -> None:
        with override(language):
            told = emergency_texts(Texts(), Signatures(Texts(), A_NIGHT.date()), "")
            declared = emergency.default_cards()["cards"]
        assert [list(card_words(card)) for card in told["cards"]] == [list(card_words(card)) for card in declared]


def kit_of(client: Client, language: str = "en") -> Any:
    return client.get("/api/v1/bedside/", HTTP_ACCEPT_LANGUAGE=language).json()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("access", "there", "missing"),
    [("fistula", "needle_out", "catheter_open"), ("catheter", "catheter_open", "needle_out")],
)
def test_somebody_gets_the_cards_of_their_own_access(
    ana: Patient, ana_client: Client, access: str, there: str, missing: str
) -> None:
    AccessFactory(patient=ana, kind=access)
    kit = kit_of(ana_client)
    kinds = {card["kind"] for card in kit["cards"]}
    assert there in kinds
    assert missing not in kinds
    assert {kind for card in kit["cards"] for kind in card["see"]} <= kinds
    assert set(kit["first_aid"]) == set(EventKind.values)
    of_needles = {EventKind.NEEDLE_DISLODGED, EventKind.INFILTRATION, EventKind.ACCESS_SILENT}
    never = of_needles if access == "catheter" else {EventKind.CATHETER_OPEN}
    assert set(kit["event_kinds_here"]) == set(EventKind.values) - never


@pytest.fixture
def in_spanish(ana: Patient) -> None:
    assert ana.account is not None
    type(ana.account).objects.filter(pk=ana.account.pk).update(language="es")


def changed(kind: str, technique: str = "") -> dict[str, Any]:
    return DEFAULTS[kind](technique)


@pytest.mark.django_db
class TestOwnWords:
    """What the unit changed stands as it wrote it; the rest stays the program's, in each reader's language."""

    @pytest.fixture(autouse=True)
    def written(self, nurse: User) -> None:
        content = changed(TextKind.CHECKLIST)
        content["items"][1]["hint"] = "After 20 minutes, at the tap."
        write_text(place=TextPlace(TextKind.CHECKLIST), content=content, why="Ours.", base=0, by=nurse, at=A_NIGHT)
        content = changed(TextKind.CARDS)
        content["cards"][3]["now"] = ["Clamp.", "Lie down."]
        write_text(place=TextPlace(TextKind.CARDS), content=content, why="Ours.", base=0, by=nurse, at=A_NIGHT)
        content = changed(TextKind.FIRST_AID)
        content["texts"]["cramp"] = "Stretch."
        write_text(place=TextPlace(TextKind.FIRST_AID), content=content, why="Ours.", base=0, by=nurse, at=A_NIGHT)

    def test_one_edit_leaves_the_rest_in_spanish(self, ana_client: Client, in_spanish: None) -> None:
        kit = kit_of(ana_client)
        with override("es"):
            ours = checklist.default_content()["items"]
            ours_cards = emergency.default_cards()["cards"]
        items = kit["checklist"]["items"]
        assert [item["name"] for item in items[:10]] == [item["name"] for item in ours[:10]]
        assert items[1]["hint"] == "After 20 minutes, at the tap. Lo escribió su unidad (Inglés)."
        assert [item["hint"] for item in items[2:10]] == [item["hint"] for item in ours[2:10]]
        air = next(card for card in kit["cards"] if card["kind"] == "air")
        assert air["now"] == ["Clamp.", "Lie down."]
        assert air["own"] == "Lo escribió su unidad (Inglés)."
        assert air["title"] == "Aire en la línea"
        assert kit["first_aid"]["cramp"] == "Stretch. Lo escribió su unidad (Inglés)."
        assert kit["first_aid"]["headache"].startswith("Mida")
        others = {card["kind"]: card for card in kit["cards"] if card["kind"] != "air"}
        assert all(card["own"] == "" for card in others.values())
        assert all(others[card["kind"]]["now"] == card["now"] for card in ours_cards if card["kind"] in others)

    def test_a_record_keeps_the_english_of_what_was_shown_in_spanish(
        self, ana_client: Client, in_spanish: None
    ) -> None:
        items = kit_of(ana_client)["checklist"]["items"]
        assert items[0]["kept"] == "Hands and access arm washed"
        assert checklist.name_of("hands", 1, items[0]["kept"]) == items[0]["kept"]
        with override("es"):
            assert checklist.name_of("hands", 1, items[0]["kept"]) == items[0]["name"]
            assert checklist.name_of("hands", 1, "The unit's own") == "The unit's own"

    def test_in_its_own_language_nothing_is_said_of_it(self, ana_client: Client) -> None:
        kit = kit_of(ana_client)
        assert kit["checklist"]["items"][1]["hint"] == "After 20 minutes, at the tap."
        assert next(card for card in kit["cards"] if card["kind"] == "air")["own"] == ""

    def test_a_later_edit_keeps_what_was_written_before(self, nurse: User) -> None:
        standing = Texts().standing(TextPlace(TextKind.CARDS))
        content = json.loads(json.dumps(standing.content))
        content["cards"][0]["say"] = "A needle is out."
        write_text(place=TextPlace(TextKind.CARDS), content=content, why="More.", base=1, by=nurse, at=A_NIGHT)
        now = Texts().standing(TextPlace(TextKind.CARDS)).content["cards"]
        assert {card["kind"]: card["own"] for card in now if card["own"]} == {
            "air": {"now": "en"},
            "needle_out": {"say": "en"},
        }


def test_words_kept_by_an_early_release_are_the_programs() -> None:
    """0.2.0 kept all rows when one was changed, and a card's lines in one list."""
    kept = {
        "cards": [
            {
                "kind": "air", "title": "Air in the line", "event_kind": "air",
                "lines": [
                    "Clamp the venous line. Stop the blood pump.",
                    "Do not give this blood back.",
                    "Lie down on your left side, head and chest lower than your feet.",
                    "Call the emergency number, even if you feel well.",
                    "What your unit taught you goes before this card.",
                ],
            },
            {"kind": "faint", "title": "Faint", "event_kind": "fainted", "lines": ["Lie down, Ana."]},
        ]
    }  # fmt: skip
    read = {card["kind"]: card for card in text_rows.read(TextKind.CARDS, "", kept)["cards"]}
    assert list(read) == [card.kind for card in cards.CARDS]
    assert read["air"] == cards.BY_KIND["air"].as_json() | {"own": {}}
    assert (read["faint"]["title"], read["faint"]["now"]) == ("Faint", ["Lie down, Ana."])
    assert read["faint"]["own"] == {"title": settings.LANGUAGE_CODE, "now": settings.LANGUAGE_CODE}
    assert read["faint"]["call"] == cards.BY_KIND["faint"].as_json()["call"]
    texts = text_rows.read(TextKind.FIRST_AID, "", {"texts": {
        "air": "Clamp the venous line, stop the pump. Left side, head low. Call the emergency number.",
        "fainted": "Lie down, Ana.",
    }})  # fmt: skip
    assert texts["texts"] == emergency.default_first_aid()["texts"] | {"fainted": "Lie down, Ana."}


@pytest.mark.django_db
@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("access", ["fistula", "catheter"])
def test_the_wall_and_the_paper_sheet_say_what_the_phone_says(ana: Patient, access: str, language: str) -> None:
    AccessFactory(patient=ana, kind=access)
    with override(language):
        told = emergency_texts(Texts(), Signatures(Texts(), A_NIGHT.date()), access_word(ana.accesses.in_use().first()))
        wall = squeezed(wall_sheet_pdf(ana, at=A_NIGHT))
        paper = squeezed(flow_sheet_pdf(ana, at=A_NIGHT))
    for card in told["cards"]:
        missing = [words for words in card_words(card) if without_breaks(words) not in wall]
        assert missing == [], card["kind"]
        short = [card["title"], *card["now"], *card["never"], *card["call"]]
        assert [words for words in short if without_breaks(words) not in paper] == [], card["kind"]
    absent = next(
        card for card in cards.CARDS if card.for_whom and not cards.meant_for(card.for_whom, access_of(access))
    )
    with override(language):
        assert without_breaks(str(absent.title)) not in wall
        assert without_breaks(gettext("Your unit has not checked this text.")) in wall
    assert "112" in wall
    assert "01632960100" in wall


def access_of(kind: str) -> str:
    return checklist.CATHETER if kind == "catheter" else checklist.NEEDLES


def without_breaks(text: str) -> str:
    """Letters and figures alone: a page breaks and hyphenates as it likes."""
    return re.sub(r"[\W_]+", "", text.replace("\ufb01", "fi").replace("\ufb02", "fl"))


def squeezed(made: bytes) -> str:
    return without_breaks(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(made)).pages))


@pytest.mark.django_db
def test_the_wall_sheet_names_nobody_and_is_the_patients_alone(
    ana: Patient, ana_client: Client, ben_client: Client
) -> None:
    answer = ana_client.get(f"/takeout/{ana.pk}/wall-sheet.pdf")
    assert (answer.status_code, answer.headers["Content-Type"]) == (200, "application/pdf")
    assert without_breaks(ana.name) not in squeezed(answer.content)
    assert ben_client.get(f"/takeout/{ana.pk}/wall-sheet.pdf").status_code == 404


def test_whatever_never_gives_blood_back_is_declared_so_beside_its_words() -> None:
    """The end of a treatment follows the declaration, so the card and the end cannot say two things."""
    never = {card.kind for card in cards.CARDS if any(NEVER_BACK.match(str(line)) for line in card.never)}
    ask = {card.kind for card in cards.CARDS if any(UNLESS.match(str(line)) for line in card.never)}
    assert {card.kind for card in cards.CARDS if card.blood_back == cards.BloodBack.NEVER} == never
    assert {card.kind for card in cards.CARDS if card.blood_back == cards.BloodBack.ASK} == ask
    assert {"needle_out", "air", "blood_colour", "line_apart", "catheter_open"} <= never
    assert {EventKind.CLOTTING, EventKind.CHLORINE, EventKind.BLOOD_LEAK} <= set(cards.BLOOD_BACK)


def test_the_phone_is_told_after_what_the_blood_stays_out_and_which_steps_go(ana_client: Client) -> None:
    told = ana_client.get("/api/v1/bedside/").json()["blood_back"]
    assert told["kinds"]["needle_dislodged"] == "never"
    assert told["words"] == {
        "never": "Do not give the blood back.",
        "ask": "Do not give the blood back unless the unit says so.",
    }
    assert told["steps"] == ["off_slow", "off_saline", "off_wash"]
    assert "blood_back" not in cards.CARDS[0].as_json()
