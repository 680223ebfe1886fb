"""The emergency cards that come with the program, each declared once.

The phone with a kit, the phone without one (`static/bedside/js/fallback_cards.js`), the paper sheet and the wall sheet
all read these declarations. They hold only the usual cautions: stop, clamp, press, lie down, call for help. They stay
short because somebody reads them with one hand and a pounding heart. Both positions that are asked for exclude each
other, so every card that lets somebody sit up asks for air first.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from enum import StrEnum
from typing import Any

from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy
from django_stubs_ext import StrOrPromise

from sessions.facts.choices import EventKind
from sessions.texts.checklist import CATHETER, EVERYBODY, NEEDLES

PRACTICE = "common practice, no source"


TRAINING = _("Your training comes first.")
SAY_FIRST = _("This is about home haemodialysis.")
SAY_ADDRESS = _("The address is:")
SAY_DOOR = _("The door:")
ALONE = _("Alone: put the telephone on loudspeaker, say how the door opens, and stay on the line.")
"""What stands on cards beside their own words."""


class FirstCall(StrEnum):
    """Whose number lies under the thumb."""

    EMERGENCY = "emergency"
    UNIT = "on_call"


class BloodBack(StrEnum):
    """Why the blood in the lines is not simply given back once something has happened."""

    NEVER = "never"
    ASK = "ask"


class Group(StrEnum):
    """Under which heading a card is looked for."""

    BLOOD = "blood"
    BODY = "body"
    MACHINE = "machine"


WITH_THE_PROGRAM = frozenset({"source", "blood_back"})
"""What of a card is no word of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """One emergency: what to do now, what never, whom to call, what a helper does, what to say.

    kind is what phone and unit know it by. events: what can be noted of it, and whose first aid it is. signs: how it
    shows itself. alone: what somebody on their own does besides. see: kinds of the cards to open instead or next.
    blood_back: why the blood is not given back after it; None where it is, or where that depends on more.
    """

    kind: str
    group: Group
    title: StrOrPromise
    events: tuple[EventKind, ...]
    now: tuple[StrOrPromise, ...]
    never: tuple[StrOrPromise, ...]
    call: tuple[StrOrPromise, ...]
    helper: tuple[StrOrPromise, ...]
    say: StrOrPromise
    alone: StrOrPromise = ""
    first: FirstCall = FirstCall.EMERGENCY
    signs: StrOrPromise = ""
    for_whom: str = EVERYBODY
    see: tuple[str, ...] = ()
    blood_back: BloodBack | None = None
    source: str = PRACTICE

    def as_json(self) -> dict[str, Any]:
        """What a unit may write anew as plain data, in the language of the moment."""
        own = (each.name for each in fields(self) if each.name not in WITH_THE_PROGRAM)
        return {name: _plain(getattr(self, name)) for name in own}


def _plain(value: Any) -> Any:
    return [str(each) for each in value] if isinstance(value, tuple) else str(value)


STOP = _("Stop the blood pump.")
CLAMP = _("Clamp both lines.")
STOP_UF = _("Stop the fluid removal (UF).")
LOOK = _("Look at your access, the lines and the sheet. Blood anywhere: stop the pump and clamp.")
LEFT_SIDE = _("Lie down on your left side, head and chest lower than your feet.")
FLAT = _("Lie flat, legs up.")
NO_RETURN = _("Do not give the blood back.")
ASK_RETURN = _("Do not give the blood back unless the unit says so.")
CALL_EVEN_IF_WELL = _("Call the emergency number, even if you feel well.")
THEN_UNIT = _("Then call the unit.")
OTHERWISE_UNIT = _("Otherwise call the unit before you do anything else.")

CARDS = (
    Card(
        kind="needle_out", group=Group.BLOOD, title=_("Needle out, or blood on the sheet"), for_whom=NEEDLES,
        events=(EventKind.NEEDLE_DISLODGED,),
        blood_back=BloodBack.NEVER,
        now=(
            STOP,
            _("Clamp the lines and the needle that is still in."),
            _("Press firmly with gauze where the needle was. Keep pressing."),
            _("Lie down."),
        ),
        never=(_("Do not connect again."), NO_RETURN),
        call=(
            _("Faint, more than a cupful of blood, or it will not stop: call the emergency number."),
            OTHERWISE_UNIT,
        ),
        helper=(
            _("Stop the blood pump, press firmly with gauze, and do not let go."),
            _("Then clamp, and lay the person down."),
        ),
        alone=ALONE,
        say=_("A dialysis needle came out and there is bleeding."),
        see=("bleeding", "faint"),
    ),
    Card(
        kind="catheter_open", group=Group.BLOOD, title=_("Catheter line off, or cap off"), for_whom=CATHETER,
        events=(EventKind.CATHETER_OPEN,),
        blood_back=BloodBack.NEVER,
        now=(
            _("Pinch the catheter closed with your fingers, close to the skin."),
            _("Close its clamp."),
            STOP,
            LEFT_SIDE,
        ),
        never=(_("Do not connect again."), NO_RETURN, _("Do not sit up.")),
        call=(CALL_EVEN_IF_WELL, THEN_UNIT),
        helper=(
            _("Pinch the catheter closed close to the skin, and hold it until its clamp is shut."),
            _("Help the person onto the left side, head low."),
        ),
        alone=ALONE,
        say=_("A catheter in a large vein came open. Blood was lost, and air may have got in."),
        see=("air",),
    ),
    Card(
        kind="line_apart", group=Group.BLOOD, title=_("A line came apart"), events=(EventKind.LINE_APART,),
        blood_back=BloodBack.NEVER,
        now=(
            STOP,
            _("Clamp on both sides of the gap, first on your own side."),
            _("Lie down."),
        ),
        never=(_("Do not put the ends together again."), NO_RETURN),
        call=(
            _("Faint, short of breath, or more than a cupful of blood: call the emergency number."),
            OTHERWISE_UNIT,
        ),
        helper=(_("Stop the blood pump and clamp on both sides of the gap, first on the person's side."),),
        alone=ALONE,
        say=_("A blood line came apart and blood was lost."),
        see=("catheter_open", "air", "faint"),
    ),
    Card(
        kind="air", group=Group.BLOOD, title=_("Air in the line"), events=(EventKind.AIR,),
        blood_back=BloodBack.NEVER,
        now=(
            _("Clamp the venous line."),
            STOP,
            LEFT_SIDE,
            _("Stay so until help comes, also when you are short of breath."),
        ),
        never=(_("Do not give this blood back."), _("Do not sit up.")),
        call=(CALL_EVEN_IF_WELL, THEN_UNIT),
        helper=(
            _("Clamp the venous line, then stop the blood pump."),
            _("Help the person onto the left side, head low. Do not let the person sit up."),
        ),
        alone=ALONE,
        say=_("Air may have got into the blood."),
        source="position and clamp from memory; " + PRACTICE,
    ),
    Card(
        kind="blood_colour", group=Group.BLOOD, title=_("Blood in the lines looks wrong"),
        events=(EventKind.BLOOD_COLOUR,),
        signs=_("Bright red like cherries, or dark like cola, with or without pain in chest, back or belly."),
        blood_back=BloodBack.NEVER,
        now=(
            STOP,
            CLAMP,
            _("Stay lying or sitting, and do not get up."),
            _("Keep the lines, the dialyser and some of the water for the unit."),
        ),
        never=(NO_RETURN,),
        call=(CALL_EVEN_IF_WELL, THEN_UNIT),
        helper=(_("Stop the blood pump, clamp both lines, and call the emergency number."),),
        alone=ALONE,
        say=_("The blood may be breaking up during dialysis. Potassium may be high."),
        see=("chlorine", "chest_pain"),
        source="stop, do not return the blood, call: from memory; " + PRACTICE,
    ),
    Card(
        kind="bleeding", group=Group.BLOOD, title=_("Bleeding that will not stop"), events=(EventKind.BLEEDING,),
        now=(
            _("Press on the place with gauze, firmly, for ten minutes. Do not lift the gauze to look."),
            _("Spurting, or through the gauze: press hard with one finger on the very place, and lie down. "
              "An arm: hold it up."),
            _("Still bleeding after ten minutes: press for ten more."),
        ),
        never=(_("Do not tie anything around the arm."), _("Do not heap towels on it: they hide the blood.")),
        call=(
            _("Spurting, faint, or more than a cupful of blood: call the emergency number at once."),
            _("Still bleeding after twenty minutes: call the unit."),
        ),
        helper=(_("Press hard on the very place with one finger and gauze, and do not let go."),),
        alone=ALONE,
        say=_("The dialysis access is bleeding and does not stop."),
        see=("faint",),
    ),
    Card(
        kind="swelling", group=Group.BLOOD, title=_("Swelling at a needle"), for_whom=NEEDLES,
        events=(EventKind.INFILTRATION,), first=FirstCall.UNIT,
        now=(
            STOP,
            CLAMP,
            _("Do not use this needle any more. Take it out only as you were trained."),
            _("Press as you were trained, keep the arm up, and cool it through a cloth."),
        ),
        never=(_("Do not put in another needle before the unit has said so."),),
        call=(
            _("It grows fast, or the hand is cold, numb, white or very painful: call the emergency number."),
            _("Otherwise call the unit."),
        ),
        helper=(_("Stop the blood pump, clamp both lines, and look at the hand: cold, numb, white?"),),
        say=_("Blood is running into the arm beside the dialysis needle."),
        see=("bleeding",),
    ),
    Card(
        kind="no_answer", group=Group.BODY, title=_("The person does not answer"), events=(EventKind.NO_ANSWER,),
        signs=_("For whoever is there."),
        blood_back=BloodBack.NEVER,
        now=(
            _("Call the emergency number. Put the telephone on loudspeaker."),
            _("Stop the blood pump. Clamp both lines."),
            _("Blood: press on it."),
            _("Not breathing normally: lay the person flat and start chest compressions. "
              "Whoever takes the call tells you how."),
            _("Breathing: lay the person on the left side, and stay."),
        ),
        never=(_("Do not leave the person alone."), NO_RETURN, _("Nothing to eat or drink.")),
        call=(_("Call the emergency number before anything else."), THEN_UNIT),
        helper=(_("This card is for you: do its steps one after the other."),),
        say=_("Somebody connected to a dialysis machine does not answer."),
        see=("needle_out", "catheter_open", "air"),
    ),
    Card(
        kind="faint", group=Group.BODY, title=_("Faint, or very low pressure"),
        events=(EventKind.FAINTED, EventKind.HYPOTENSION, EventKind.DIZZY),
        now=(
            LOOK,
            STOP_UF,
            FLAT,
            _("Saline only as you were trained and as it was ordered."),
            _("Measure the pressure."),
        ),
        never=(_("Do not stand up, even when you feel better."),),
        call=(
            _("Passed out, or not better within five minutes: call the emergency number."),
            _("Better: call the unit before you go on."),
        ),
        helper=(_("Lay the person flat, legs up, and look for blood."),),
        alone=ALONE,
        say=_("Blood pressure has fallen very low during dialysis."),
        see=("needle_out", "catheter_open", "no_answer"),
    ),
    Card(
        kind="chest_pain", group=Group.BODY, title=_("Chest pain, or short of breath"),
        events=(EventKind.CHEST_PAIN, EventKind.BREATHLESS),
        blood_back=BloodBack.ASK,
        now=(
            _("Look at the lines. Air in them: open “Air in the line” instead, and do not sit up."),
            _("Stop the blood pump. Clamp both lines."),
            _("Call the emergency number now."),
            _("No air in the lines, and short of breath: sit up in bed."),
        ),
        never=(
            _("Do not stand up."),
            _("Do not give the blood back unless the emergency service or the unit says so."),
        ),
        call=(_("Call the emergency number now."), THEN_UNIT),
        helper=(_("Stop the blood pump, clamp both lines, and call the emergency number."),),
        alone=ALONE,
        say=_("Chest pain or shortness of breath during dialysis."),
        see=("air", "blood_colour", "heart"),
    ),
    Card(
        kind="heart", group=Group.BODY, title=_("Heart racing or uneven, or sudden weakness"),
        events=(EventKind.HEART,),
        signs=_("Racing, very slow or stumbling heart, or legs and arms suddenly weak; also between treatments."),
        now=(
            STOP_UF,
            _("Lie down and do not get up."),
            _("Call the emergency number now. Say that it may be the potassium."),
            _("Chest pain, or about to pass out: stop the blood pump and clamp both lines."),
        ),
        never=(_("Do not drive yourself."), _("Do not wait for the next treatment.")),
        call=(_("Call the emergency number now."), _("Then call the unit: it says how the treatment is ended.")),
        helper=(_("Call the emergency number, and stay with the person."),),
        alone=ALONE,
        say=_("The heart is racing, very slow or uneven. Potassium may be too high or too low."),
        see=("chest_pain", "no_answer"),
    ),
    Card(
        kind="allergy", group=Group.BODY, title=_("Allergic reaction"), events=(EventKind.ALLERGY,),
        signs=_("Itching, hives, swollen face or tongue, wheezing, most often in the first half hour."),
        blood_back=BloodBack.NEVER,
        now=(
            _("Stop the blood pump. Clamp both lines."),
            _("Call the emergency number now."),
            _("Use the medicine against allergy that was ordered for you, if there is one."),
            _("Faint: lie flat, legs up. Short of breath and no air in the lines: sit up."),
        ),
        never=(NO_RETURN,),
        call=(_("Call the emergency number now."), THEN_UNIT),
        helper=(_("Stop the blood pump, clamp both lines, and call the emergency number."),),
        alone=ALONE,
        say=_("Severe allergic reaction during dialysis."),
        see=("air", "faint", "no_answer"),
    ),
    Card(
        kind="fever", group=Group.BODY, title=_("Fever or shivering"), events=(EventKind.FEVER_CHILLS,),
        first=FirstCall.UNIT,
        now=(
            STOP_UF,
            _("Take the temperature."),
            _("Look at the access: redness, pus, pain."),
            _("Call the unit at once, at night too."),
        ),
        never=(
            _("Do not wait for the morning."),
            _("Shivering began soon after connecting: do not give the blood back unless the unit says so."),
        ),
        call=(
            _("Shivering hard, confused, faint or very ill: call the emergency number."),
            _("Otherwise call the unit at once, at night too."),
        ),
        helper=(_("Confused, or hard to wake: call the emergency number."),),
        say=_("Fever and shivering during dialysis: it may be blood poisoning."),
        see=("faint", "no_answer"),
    ),
    Card(
        kind="chlorine", group=Group.MACHINE, title=_("Chlorine over the limit while connected"),
        events=(EventKind.CHLORINE,), first=FirstCall.UNIT,
        blood_back=BloodBack.ASK,
        now=(
            STOP,
            CLAMP,
            _("Look at the blood in the lines. Like cherries or cola: open “Blood in the lines looks wrong”."),
            _("Call the unit at once. Keep some of the water, and the value you measured."),
        ),
        never=(ASK_RETURN, _("Do not go on with this water.")),
        call=(
            _("Headache, pain in chest, back or belly, or short of breath: call the emergency number."),
            _("Otherwise call the unit at once."),
        ),
        helper=(_("Stop the blood pump, clamp both lines, and call the unit."),),
        say=_("Chlorine got into the dialysis water; the blood may be breaking up."),
        see=("blood_colour", "chest_pain"),
        source="limit of 0.1 mg/L: ISO 23500-3:2019, from memory; steps: " + PRACTICE,
    ),
    Card(
        kind="machine_alarm", group=Group.MACHINE, title=_("Machine alarm will not clear"),
        events=(EventKind.MACHINE_ALARM,), first=FirstCall.UNIT,
        now=(
            LOOK,
            _("Read what the machine says, and put right what you were trained to."),
            _("The alarm comes back: stop the blood pump, clamp both lines, call the unit."),
        ),
        never=(_("Never silence the same alarm again and again."),),
        call=(
            _("Faint, chest pain, short of breath, or much blood: call the emergency number."),
            _("Otherwise call the unit."),
        ),
        helper=(_("Look for blood at the access and along the lines before anything else."),),
        say=_("The dialysis machine gives an alarm that does not clear."),
        see=("needle_out", "catheter_open", "line_apart", "air"),
    ),
    Card(
        kind="power_water", group=Group.MACHINE, title=_("Power or water failure"),
        events=(EventKind.POWER_FAILURE, EventKind.WATER_FAILURE), first=FirstCall.UNIT,
        now=(
            _("Take the torch. Look at your access and the lines."),
            _("Power out: give the blood back by hand only if you were trained to. Otherwise clamp both lines."),
            _("Water out: stop the fluid removal (UF), and end the treatment as you were trained."),
            _("Call the unit: how to go on, and when to treat again."),
        ),
        never=(_("Do not walk about in the dark while you are connected."),),
        call=(
            _("Bleeding, faint, chest pain or short of breath: call the emergency number."),
            _("Otherwise call the unit."),
        ),
        helper=(_("Hold the torch on the access and the lines."),),
        say=_("Power or water failed during dialysis."),
        see=("needle_out", "catheter_open", "air"),
    ),
)  # fmt: skip
BY_KIND = {card.kind: card for card in CARDS}
BLOOD_BACK: dict[EventKind, BloodBack] = {
    **{event: card.blood_back for card in CARDS for event in card.events if card.blood_back},
    EventKind.CLOTTING: BloodBack.ASK,
    EventKind.BLOOD_LEAK: BloodBack.ASK,
}
"""Kind of event -> why the blood is not simply given back after it; the last two have no card of their own."""
BLOOD_BACK_WORDS = {BloodBack.NEVER: NO_RETURN, BloodBack.ASK: ASK_RETURN}
CARD_OF = {event: card.kind for card in CARDS for event in card.events}
"""Kind of event -> the card that is its first aid."""

GROUPS = {
    Group.BLOOD: _("Blood, access and lines"),
    Group.BODY: pgettext_lazy("heading over emergencies", "How you feel"),
    Group.MACHINE: _("Water, power and machine"),
}


def meant_for(for_whom: str, access: str) -> bool:
    """Whether something for these people concerns somebody with this access; access "" when none is known."""
    return not for_whom or not access or for_whom == access
