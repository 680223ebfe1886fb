"""What stands on a phone, or on paper, for an emergency: the cards of this access and the first aid of each event."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext

from sessions.facts.choices import AccessKind, EventKind, TextKind
from sessions.models import VascularAccess
from sessions.services import text_rows
from sessions.services.text_signing import Signatures, TextPart
from sessions.services.unit_texts import TextPlace, Texts
from sessions.texts import cards as cards_texts
from sessions.texts import run_sheets
from sessions.texts.checklist import CATHETER, NEEDLES
from sessions.texts.emergency import default_cards, first_aid_of

Json = dict[str, Any]


def access_word(access: VascularAccess | None) -> str:
    """Whom a text has to be for: somebody with needles, with a catheter, or "" where no access is known."""
    if access is None:
        return ""
    return CATHETER if access.kind == AccessKind.CATHETER else NEEDLES


def emergency_texts(texts: Texts, signed: Signatures, for_whom: str) -> Json:
    """The keys of the kit that speak of emergencies: the cards, the first aid of each event, what stands on each."""
    every = texts.standing(TextPlace(TextKind.CARDS)).content["cards"]
    own = texts.standing(TextPlace(TextKind.FIRST_AID)).content
    words = {key: _with_note(key, each, own) for key, each in own["texts"].items()}
    checked = {card["kind"]: signed.checked(TextPart(TextPlace(TextKind.CARDS), card["kind"])) for card in every}
    aid = {key: signed.checked(TextPart(TextPlace(TextKind.FIRST_AID), key)) for key in words}
    by_event = {
        event.value: aid[event.value] if words.get(event.value) else checked[cards_texts.CARD_OF[event]]
        for event in EventKind
    }
    return {
        "cards": [card | {"checked": checked[card["kind"]]} for card in cards_for(every, for_whom)],
        "card_of": {event.value: kind for event, kind in cards_texts.CARD_OF.items()},
        "blood_back": blood_back(),
        "first_aid": first_aid_of(every, words),
        "first_aid_unchecked": [event for event, whether in by_event.items() if not whether],
        "on_each_card": on_each_card(),
    }


def _with_note(key: str, words: str, content: Json) -> str:
    row = {"words": words, "own": content["own"].get(key, {})}
    return " ".join(filter(None, [words, text_rows.foreign(row)]))


def cards_for(every: list[Json], for_whom: str) -> list[Json]:
    """The cards that concern somebody with this access, each naming only other cards among them."""
    meant = [card for card in every if cards_texts.meant_for(card["for_whom"], for_whom)]
    kinds = {card["kind"] for card in meant}
    return [
        {name: value for name, value in card.items() if name not in ("own", "for_whom")}
        | {"see": [kind for kind in card["see"] if kind in kinds], "own": text_rows.foreign(card)}
        for card in meant
    ]


def program_texts() -> Json:
    """What a phone shows on which nothing of the unit is: the program's own cards for everybody, checked by nobody."""
    rows = text_rows.read(TextKind.CARDS, "", default_cards())["cards"]
    cards = [card | {"checked": False} for card in cards_for(rows, "")]
    return {"cards": cards, "on_each_card": on_each_card()}


def blood_back() -> Json:
    """After which events the blood is not simply given back, what is said then, and which steps are left out."""
    return {
        "kinds": {event.value: rule.value for event, rule in cards_texts.BLOOD_BACK.items()},
        "words": {rule.value: str(words) for rule, words in cards_texts.BLOOD_BACK_WORDS.items()},
        "steps": [step.key for step in run_sheets.WASH_BACK],
    }


def on_each_card() -> Json:
    """The words that stand on every card, in the language of the moment."""
    return {
        "training": str(cards_texts.TRAINING),
        "say_first": str(cards_texts.SAY_FIRST),
        "say_address": str(cards_texts.SAY_ADDRESS),
        "say_door": str(cards_texts.SAY_DOOR),
        "groups": {group.value: str(words) for group, words in cards_texts.GROUPS.items()},
        "headings": {
            "never": gettext("Never"),
            "call": gettext("Whom to call"),
            "helper": gettext("If somebody is with you"),
            "say": gettext("What to say on the telephone"),
            "see": gettext("Open instead, or next"),
        },
        "unchecked": gettext("Your unit has not checked this text."),
    }
