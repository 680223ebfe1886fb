"""First-aid words that come with the program, and what cards and words hold until the unit writes its own.

A kind of event that has an emergency card has its first aid there; the others have a few words of their own (common
practice, no source). So no kind of event is without, and none has two that could differ.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from sessions.facts.choices import EventKind
from sessions.texts.cards import CARD_OF, CARDS, meant_for
from sessions.texts.checklist import EVERYBODY, NEEDLES

FIRST_AID: dict[EventKind, StrOrPromise] = {
    EventKind.CRAMP: _("Lower or stop the fluid removal (UF). Stretch the muscle. Warm it. Measure the pressure. "
                       "If it does not pass, call the unit."),
    EventKind.HEADACHE: _("Measure the pressure. Sudden and strong, or with confusion or weakness: stop the pump, "
                          "clamp both lines, call the emergency number. If it stays, call the unit."),
    EventKind.NAUSEA: _("Measure the pressure. Lie on your side. If the pressure is low, do what it says under “Faint, "
                        "or very low pressure”. If it does not pass, call the unit."),
    EventKind.CLOTTING: _("Do not force the blood back. Stop the pump and clamp both lines as trained. Call the unit."),
    EventKind.BLOOD_LEAK: _("Stop the pump and clamp both lines. Do not give the blood back unless the unit says so. "
                            "Call the unit. Shivering, faint or chest pain: call the emergency number."),
    EventKind.ACCESS_REDNESS: _("Do not use this place. Call the unit the same day. Fever, a shiny, thin or black "
                                "spot, or a scab that bleeds: call the unit now."),
    EventKind.ACCESS_SILENT: _("Do not put a needle in. It may be clotted, and hours count: call the unit now, at "
                               "night too. Nothing tight over it, and do not press on it."),
    EventKind.OTHER: _("In doubt, stop the pump, clamp both lines and call the unit. In danger, call the emergency "
                       "number."),
}  # fmt: skip


FOR_WHOM: dict[EventKind, str] = {
    **{kind: card.for_whom for card in CARDS for kind in card.events},
    EventKind.ACCESS_SILENT: NEEDLES,
}
"""Kinds of event that happen to one kind of access alone."""


def kinds_for(access: str) -> list[str]:
    """The kinds of event that can happen to somebody with this access; every one where none is known."""
    return [kind.value for kind in EventKind if meant_for(FOR_WHOM.get(kind, EVERYBODY), access)]


def default_cards() -> dict[str, Any]:
    """{"cards": […]} in the language of the moment."""
    return {"cards": [card.as_json() for card in CARDS]}


def default_first_aid() -> dict[str, Any]:
    """{"texts": {event kind: words}} in the language of the moment, of the events without a card."""
    return {"texts": {kind.value: str(words) for kind, words in FIRST_AID.items()}}


def first_aid_of(cards: list[dict[str, Any]], texts: Mapping[str, str]) -> dict[str, str]:
    """Kind of event -> its first aid: what stands on its card of these, else the words of its own."""
    of_cards = {card["kind"]: " ".join([*card["now"], *card["never"], *card["call"]]) for card in cards}
    return {kind.value: texts.get(kind.value) or of_cards.get(CARD_OF.get(kind, ""), "") for kind in EventKind}
