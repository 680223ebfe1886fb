"""Emergency cards and first-aid words that come with the program, which hold until the unit writes its own.

Only the usual cautions (common practice, no source): stop, clamp, press, lie down, call for help. They stay short
because somebody reads them with one hand and a pounding heart, and each leaves the last word to the training.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from sessions.facts.choices import EventKind


@dataclass(frozen=True, slots=True)
class Card:
    """kind as the phone knows it; event_kind is what is noted in the record when the card is opened."""

    kind: str
    title: StrOrPromise
    event_kind: EventKind
    lines: tuple[StrOrPromise, ...]

    def as_json(self) -> dict[str, Any]:
        """As kept in a version of the cards, in the language of the moment."""
        return {
            "kind": self.kind,
            "title": str(self.title),
            "event_kind": self.event_kind.value,
            "lines": [str(line) for line in self.lines],
        }


TRAINING = _("What your unit taught you goes before this card.")
NO_RETURN = _("Do not give this blood back.")

CARDS = (
    Card("needle_out", _("Needle out, or blood on the sheet"), EventKind.NEEDLE_DISLODGED, (
        _("Stop the blood pump."),
        _("Clamp the lines and the needle that is still in."),
        _("Press on the place with gauze, firmly, and keep pressing."),
        _("Faint, much blood lost, or it will not stop: call the emergency number."),
        _("Do not connect again. Call the unit on call."),
        TRAINING,
    )),
    Card("air", _("Air in the line"), EventKind.AIR, (
        _("Clamp the venous line. Stop the blood pump."),
        NO_RETURN,
        _("Lie down on your left side, head and chest lower than your feet."),
        _("Call the emergency number, even if you feel well."),
        TRAINING,
    )),
    Card("chest_pain", _("Chest pain, or short of breath"), EventKind.CHEST_PAIN, (
        _("Call the emergency number now."),
        _("Stop the blood pump. Clamp both lines."),
        _("Do not stand up. Short of breath: sit upright."),
        _("Air in the line, or blood that looks bright red like cherries or dark like cola: do not give it back."),
        TRAINING,
    )),
    Card("faint", _("Faint, or very low pressure"), EventKind.FAINTED, (
        _("Stop the fluid removal (UF)."),
        _("Lie flat, legs up. Do not stand."),
        _("Saline only as you were trained and as it was ordered."),
        _("Passed out, or not better within a few minutes: call the emergency number."),
        _("Better: call the unit on call before you go on."),
        TRAINING,
    )),
    Card("machine_alarm", _("Machine alarm that stays"), EventKind.MACHINE_ALARM, (
        _("Look at needles, lines and sheet first. Blood: stop the pump and clamp."),
        _("Read what the machine says, and put right what you were trained to."),
        _("Never silence the same alarm again and again."),
        _("It stays: stop the blood pump, clamp both lines, call the unit on call."),
        TRAINING,
    )),
    Card("power_water", _("Power or water failure"), EventKind.POWER_FAILURE, (
        _("Stay calm, take the torch. Look at needles and lines."),
        _("Power out: give the blood back by hand only if you were trained to. Otherwise clamp the lines and needles."),
        _("Water out: end the treatment as you were trained."),
        _("Call the unit on call: how to go on, and when to treat again."),
        TRAINING,
    )),
)  # fmt: skip

FIRST_AID: dict[EventKind, StrOrPromise] = {
    EventKind.HYPOTENSION: _("Stop the fluid removal (UF). Lie flat, legs up; do not stand. Saline as trained and as "
                             "ordered. Not better within a few minutes: call."),
    EventKind.CRAMP: _("Lower or stop the fluid removal (UF). Stretch the muscle, warmth. Measure the pressure."),
    EventKind.HEADACHE: _("Measure the pressure. Sudden and strong, or with confusion or weakness: stop and call the "
                          "emergency number."),
    EventKind.NAUSEA: _("Measure the pressure. Lie on your side. Low: do as for low pressure."),
    EventKind.CHEST_PAIN: _("Stop the pump, clamp both lines, call the emergency number now."),
    EventKind.BREATHLESS: _("Sit upright. Stop the pump, clamp both lines, call the emergency number now."),
    EventKind.DIZZY: _("Stop the fluid removal (UF). Lie flat, legs up; do not stand. Measure the pressure."),
    EventKind.FAINTED: _("Lie flat, legs up. Stop the fluid removal (UF). Call the emergency number."),
    EventKind.FEVER_CHILLS: _("Take the temperature. Call the unit at once; shivering hard or confused: the emergency "
                              "number."),
    EventKind.BLEEDING: _("Press with gauze, firmly, ten minutes without looking. It goes on: call the unit. It is "
                          "much: the emergency number."),
    EventKind.NEEDLE_DISLODGED: _("Stop the pump, clamp, press firmly. Much blood or faint: the emergency number."),
    EventKind.AIR: _("Clamp the venous line, stop the pump. Left side, head low. Call the emergency number."),
    EventKind.CLOTTING: _("Do not force the blood back. Stop and clamp as trained, and call the unit."),
    EventKind.BLOOD_LEAK: _("Stop the pump and clamp both lines as trained. Do not give the blood back unless the unit "
                            "says so. Call the unit."),
    EventKind.INFILTRATION: _("Stop the pump, do not use this needle. Press gently, cool, keep the arm up. Call the "
                              "unit before you put in another."),
    EventKind.MACHINE_ALARM: _("Needles, lines and sheet first. Then what the machine says. It stays: stop, clamp, "
                               "call the unit."),
    EventKind.ACCESS_REDNESS: _("Do not put a needle there. Call the unit the same day; with fever at once."),
    EventKind.POWER_FAILURE: _("Torch. Give the blood back by hand only if trained, otherwise clamp. Call the unit."),
    EventKind.WATER_FAILURE: _("End the treatment as trained. Call the unit: how to go on."),
    EventKind.LINE_APART: _(
        "Stop the pump. Clamp on both sides of the place where it came apart. Do not put it "
        "together again. Much blood or faint: the emergency number."
    ),
    EventKind.CATHETER_OPEN: _(
        "Pinch the catheter closed close to the skin, then close its clamp. Stop the pump. Lie on "
        "your left side, head low. Call the emergency number, even if you feel well."
    ),
    EventKind.BLOOD_COLOUR: _("Stop the pump, clamp both lines. Do not give the blood back. Call the emergency number, "
                              "even if you feel well."),
    EventKind.CHLORINE: _(
        "Stop the pump, clamp both lines. Do not give the blood back unless the unit says so. Call "
        "the unit at once."
    ),
    EventKind.ALLERGY: _("Stop the pump, clamp both lines. Do not give the blood back. Call the emergency number now."),
    EventKind.HEART: _("Stop the fluid removal (UF). Call the emergency number now, and do not drive."),
    EventKind.NO_ANSWER: _(
        "Whoever is there: call the emergency number. Stop the pump, clamp both lines. Not "
        "breathing normally: chest compressions; the operator tells you how."
    ),
    EventKind.OTHER: _("In doubt, stop and call the unit."),
}  # fmt: skip


def default_cards() -> dict[str, Any]:
    """{"cards": […]} in the language of the moment."""
    return {"cards": [card.as_json() for card in CARDS]}


def default_first_aid() -> dict[str, Any]:
    """{"texts": {event kind: words}} in the language of the moment."""
    return {"texts": {kind.value: str(words) for kind, words in FIRST_AID.items()}}
