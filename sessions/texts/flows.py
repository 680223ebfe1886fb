"""Trouble as a way through: what is done now, step by step, for each kind of event that has one.

A step is one screen of the phone in large letters. Its words are the unit's to rewrite; its order, and what an answer
leads to, come with the program, so that a way never loses its end. Usual cautions (common practice, no source), short
because somebody reads them lying flat, with one hand. The wait before the pressure is measured again is common
practice too, no source, and the unit's to set.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from sessions.facts.choices import EventKind
from sessions.texts.cards import ASK_RETURN, meant_for
from sessions.texts.checklist import CATHETER, EVERYBODY, NEEDLES

PAUSE, RESUME, WENT_ON, ENDED = "pause", "resume", "went_on", "ended"
UNIT, EMERGENCY, NOT_REACHED = "unit", "emergency", "not_reached"
OVER = "over"
"""Where an answer leads that ends the way."""
MEASURE_AGAIN_MINUTES = 5
WAITS = "wait"


@dataclass(frozen=True, slots=True)
class Reply:
    """A whole phrase that is touched: its code among the ready-made words, the step it leads to ("" the next one,
    "card:needle_dislodged" the emergency card of that event), what it says of the treatment, and whether it is the
    dangerous one."""

    code: str
    then: str = ""
    does: tuple[str, ...] = ()
    danger: bool = False


@dataclass(frozen=True, slots=True)
class FlowStep:
    """key: in its flow; asks: what the phone asks beside the answers; minutes: to wait; urgent: the emergency number
    comes first; does: what is done with the step, where nothing is to be answered."""

    key: str
    words: StrOrPromise
    hint: StrOrPromise = ""
    answers: tuple[Reply, ...] = ()
    asks: str = ""
    does: tuple[str, ...] = ()
    minutes: int | None = None
    urgent: bool = False
    for_whom: str = EVERYBODY


NO_BLOOD = Reply("no_blood")
TREATMENT_OVER = Reply("treatment_over", "blood")
LOOK = FlowStep(
    "look", _("Look at the needles, the lines and the sheet"), _("A needle that slips can show itself in this way."),
    (NO_BLOOD, Reply("blood_seen", "card:needle_dislodged", danger=True)), for_whom=NEEDLES,
)  # fmt: skip
LOOK_CATHETER = FlowStep(
    "look_catheter", _("Look at the catheter, the lines and the sheet"),
    _("A line or a cap that came off can show itself in this way."),
    (NO_BLOOD, Reply("blood_seen", "card:catheter_open", danger=True)), for_whom=CATHETER,
)  # fmt: skip
STOP = FlowStep("stop", _("Stop the blood pump. Clamp both lines."), _("As you were trained."), does=(PAUSE,))
KEEP = FlowStep("keep", ASK_RETURN)
EMERGENCY_ANSWERS = (
    Reply("emergency_called", "blood", (EMERGENCY,)),
    Reply("emergency_not_yet", "help", danger=True),
)
HELP = FlowStep(
    "help", _("Call the emergency number now."),
    _("Say: on home haemodialysis; your address; which door. The blood pump stays stopped."),
    EMERGENCY_ANSWERS,
    urgent=True,
)  # fmt: skip
BLOOD = FlowStep(
    "blood", _("What became of the blood in the lines?"), _("Never force it back."),
    (Reply("blood_all", OVER, (ENDED,)), Reply("blood_part", OVER, (ENDED,)), Reply("blood_none", OVER, (ENDED,))),
)  # fmt: skip
"""Only who says what became of the blood has said that the treatment ended: a call alone ends nothing."""
PUMP_ON = FlowStep(
    "pump_on", _("Open the clamps and start the pump slowly, your hand on it."),
    _("No air in the lines. Raise the speed as you were trained."),
    (Reply("pump_runs", OVER, (RESUME, WENT_ON)), TREATMENT_OVER),
)  # fmt: skip
HELP_PUMP_RUNS = FlowStep(
    "help", HELP.words,
    _("Say: on home haemodialysis; your address; which door. Stay flat. These steps have not stopped the blood pump: "
      "about to pass out, or fluid removal still on: stop it and clamp both lines."),
    EMERGENCY_ANSWERS, urgent=True,
)  # fmt: skip
"""Where no step has stopped the pump, nothing says that it stands."""
NEW_LINES = FlowStep(
    "lines", _("New lines and dialyser, as you were trained."),
    _("With all checks of a beginning. Not sure: end the treatment."),
    (Reply("lines_ready", "pump_on"), TREATMENT_OVER),
)  # fmt: skip


def _signs(words: StrOrPromise) -> FlowStep:
    return FlowStep("signs", words, answers=(Reply("signs_none"), Reply("signs_some", "help", danger=True)))


def _call(words: StrOrPromise, *go_on: Reply, hint: StrOrPromise = "") -> FlowStep:
    """The telephone call that decides how it goes on; whoever reaches nobody ends the treatment."""
    return FlowStep("call", words, hint or NOBODY, (*go_on, *CALL_ENDS))


CALL_ENDS = (Reply("unit_end", "blood", (UNIT,)), Reply("unit_not_reached", "blood", (NOT_REACHED,)))
NOBODY = _("If you reach nobody: end the treatment as you were trained, and do not go on.")
GO_ON = Reply("unit_go_on", "pump_on", (UNIT,))
NEW_ONES = Reply("unit_new_lines", "lines", (UNIT,))
CALL = _call(_("Call the unit on call: how to go on."), GO_ON)
BLOOD_BACK_CALL = FlowStep(
    "call_blood_back", _("Call the unit on call: the blood is back. How to go on, and when to treat again."),
    _("Nothing goes on with the lines that the blood came back through. If you reach nobody: end the treatment."),
    (NEW_ONES, *CALL_ENDS),
)  # fmt: skip
"""Lines that were emptied by hand hold saline and may hold air: no pump is started on them."""
NO_PLACE = FlowStep(
    "call_no_place", _("Call the unit on call: no other place is left for a needle."),
    _("Ask whether the blood may come back, and how. Never force it. If you reach nobody: end the treatment as you "
      "were trained."),
    (Reply("place_after_all", "place"), *CALL_ENDS),
    for_whom=NEEDLES,
)  # fmt: skip

HYPOTENSION = (
    LOOK,
    LOOK_CATHETER,
    FlowStep(
        "uf_off", _("Turn the fluid removal (UF) off."),
        answers=(Reply("uf_is_off", does=(PAUSE,)), Reply("uf_not_off", "help", danger=True)),
    ),
    FlowStep("flat", _("Lie flat, legs up. Do not stand."),
             _("Fainting, or getting worse fast: call the emergency number.")),
    FlowStep("pressure", _("Measure the blood pressure."), _("Only if you can do it lying down."), asks="pressure"),
    FlowStep("saline", _("Saline only as you were trained and as it was ordered."),
             answers=(Reply("saline_none"), Reply("saline_was_given")), asks="saline"),
    FlowStep(WAITS, _("Stay flat and rest."), _("Getting worse: call the emergency number."),
             asks=WAITS, minutes=MEASURE_AGAIN_MINUTES),
    FlowStep("again", _("Measure the blood pressure again."), asks="again"),
    FlowStep("better", _("How is it now?"), answers=(
        Reply("feel_better"), Reply("feel_little", WAITS), Reply("feel_not", "help", danger=True))),
    _call(_("Call the unit on call before you go on."), Reply("unit_spoken", does=(UNIT,)), hint=_(
        "Say what was measured, and ask about the rest of the treatment. If you reach nobody: end the treatment as "
        "you were trained, and do not go on.")),
    FlowStep("plan", _("How does it go on?"),
             _("Your prescription stays as it is. Where it does not fit: ask the unit."),
             (Reply("uf_on_again", OVER, (RESUME, WENT_ON)), Reply("uf_left_off", OVER, (WENT_ON,)),
              TREATMENT_OVER), asks="plan"),
    BLOOD,
    HELP_PUMP_RUNS,
)  # fmt: skip
INFILTRATION = (
    FlowStep("which", _("At which needle is it swollen?"),
             answers=(Reply("at_arterial"), Reply("at_venous")), asks="needle", for_whom=NEEDLES),
    FlowStep("stop", _("Stop the blood pump. Clamp both lines and this needle."), _("Do not use this needle any more."),
             does=(PAUSE,)),
    FlowStep("press", _("Press on the place as you were trained. Cool it, arm up."),
             _("How hard to press, and when the needle comes out, is what your unit taught you.")),
    _signs(_("Does the swelling grow fast? Is the hand cold, numb, white or very painful?")),
    _call(_("Call the unit on call before you put in another needle."), Reply("unit_new_needle", does=(UNIT,))),
    FlowStep("place", _("A new needle at a new place, cleaned from the start."),
             answers=(Reply("no_other_place", "call_no_place"),), asks="place", for_whom=NEEDLES),
    FlowStep("pump_on", _("Connect the new needle and start the pump slowly, your hand on it."),
             _("No air in the lines. Look at the place: it must not swell."),
             (Reply("not_swollen_pump_runs", OVER, (RESUME, WENT_ON)), Reply("swollen_again", "stop", danger=True),
              TREATMENT_OVER)),
    NO_PLACE,
    BLOOD,
    HELP,
)  # fmt: skip
CLOTTING = (
    STOP,
    FlowStep("force", _("Do not force the blood back."), _("A clot must never be pushed into the body.")),
    _call(_("Call the unit on call: go on or end."), NEW_ONES),
    NEW_LINES,
    PUMP_ON,
    BLOOD,
    HELP,
)  # fmt: skip
BLOOD_LEAK = (
    STOP,
    KEEP,
    _signs(_("Shivering, faint, chest pain or short of breath?")),
    _call(_("Call the unit on call: go on or end."), NEW_ONES, GO_ON),
    NEW_LINES,
    PUMP_ON,
    BLOOD,
    HELP,
)  # fmt: skip
MACHINE_ALARM = (
    LOOK,
    LOOK_CATHETER,
    FlowStep("read", _("Read what the machine says. Put right what you were trained to."),
             _("Never silence the same alarm again and again."),
             (Reply("alarm_gone", OVER, (WENT_ON,)), Reply("alarm_stays", danger=True))),
    STOP,
    CALL,
    PUMP_ON,
    BLOOD,
    HELP,
)  # fmt: skip
POWER_FAILURE = (
    LOOK,
    LOOK_CATHETER,
    FlowStep("power", _("Is the power back?"), _("Take the torch. Stay with the lines in sight."),
             (Reply("power_back", OVER, (WENT_ON,)), Reply("power_off", does=(PAUSE,)))),
    FlowStep("hand", _("Give the blood back by hand only if you were trained to. Otherwise clamp lines and needles."),
             answers=(Reply("by_hand", "call_blood_back"), Reply("all_clamped"))),
    _call(_("Call the unit on call: how to go on, and when to treat again."), GO_ON, NEW_ONES),
    BLOOD_BACK_CALL,
    NEW_LINES,
    PUMP_ON,
    BLOOD,
    HELP,
)  # fmt: skip
WATER_FAILURE = (
    FlowStep("water", _("Is the water back?"), _("Read what the machine says."),
             (Reply("water_back", OVER, (WENT_ON,)), Reply("water_off", danger=True))),
    FlowStep("end", _("Stop as you were trained for water that stays away."), does=(PAUSE,)),
    _call(_("Call the unit on call: how to go on, and when to treat again."), GO_ON, NEW_ONES),
    NEW_LINES,
    PUMP_ON,
    BLOOD,
    HELP,
)  # fmt: skip
CHLORINE = (
    STOP,
    KEEP,
    _signs(_("Headache, chest or back pain, short of breath, or blood like cherries or cola?")),
    _call(_("Call the unit on call at once, and say the chlorine that you measured."), GO_ON,
          hint=_("If you reach nobody: do not start the pump again.")),
    PUMP_ON,
    BLOOD,
    HELP,
)  # fmt: skip

FLOWS: dict[str, tuple[FlowStep, ...]] = {
    EventKind.HYPOTENSION: HYPOTENSION,
    EventKind.INFILTRATION: INFILTRATION,
    EventKind.CLOTTING: CLOTTING,
    EventKind.BLOOD_LEAK: BLOOD_LEAK,
    EventKind.MACHINE_ALARM: MACHINE_ALARM,
    EventKind.POWER_FAILURE: POWER_FAILURE,
    EventKind.WATER_FAILURE: WATER_FAILURE,
    EventKind.CHLORINE: CHLORINE,
}
"""The way through of each kind of event that has one."""


def key_of(kind: str, step: str) -> str:
    """The key of a step among all of them, as the record and the unit's own words know it."""
    return f"{kind}_{step}"


def kind_of(key: str) -> str:
    """The kind of event to whose flow the step of a key belongs; "" of none."""
    return next((str(kind) for kind, steps in FLOWS.items() if key in {key_of(kind, each.key) for each in steps}), "")


def default_flows() -> dict[str, Any]:
    """{"steps": [{key, words, hint, minutes}]} in the language of the moment: what a unit may write anew."""
    return {
        "steps": [
            {
                "key": key_of(kind, step.key),
                "words": str(step.words),
                "hint": str(step.hint),
                "minutes": step.minutes,
            }
            for kind, steps in FLOWS.items()
            for step in steps
        ]
    }


def flows_for(for_whom: str, worded: dict[str, dict[str, Any]]) -> dict[str, list[dict[str, Any]]]:
    """The flows for somebody with needles or a catheter as the phone gets them, in words by key as they stand."""
    return {
        str(kind): [_step(step, worded[key_of(kind, step.key)]) for step in _wanted(steps, for_whom)]
        for kind, steps in FLOWS.items()
    }


def _wanted(steps: Iterable[FlowStep], for_whom: str) -> list[FlowStep]:
    return [step for step in steps if meant_for(step.for_whom, for_whom)]


def _step(step: FlowStep, worded: dict[str, Any]) -> dict[str, Any]:
    answers = [
        {"code": each.code, "then": each.then, "does": list(each.does), "danger": each.danger} for each in step.answers
    ]
    return worded | {
        "key": step.key,
        "stamp": worded["key"],
        "asks": step.asks,
        "does": list(step.does),
        "urgent": step.urgent,
        "answers": answers,
    }
