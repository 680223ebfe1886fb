"""The run sheets that come with the program, which hold until the unit writes its own.

Common practice, no source. Contact times are only a start: chlorhexidine in alcohol 30 s to dry, povidone iodine
two to three minutes (from memory); which antiseptic is used and how long it acts is the unit's word. So are the speeds
of the pump: they stand at their steps, where the unit writes its own. What is asked about a needle (blood back, flush,
attempts, pain) is asked once it is taped: until then the free hand holds it.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from sessions.facts.choices import SiteUse, Technique

Steps = tuple["Step", ...]
ARTERIAL, VENOUS = SiteUse.ARTERIAL.value, SiteUse.VENOUS.value
SKIN_SECONDS = 30
BEGIN_ML_MIN, RUN_OUT_ML_MIN = 50, 110
"""The pump at the very start, and while blood drives the priming fluid out (common practice, no source)."""
LONG_NIGHT_ML_MIN, FOUR_HOURS_ML_MIN = 180, 300
"""About what is ordered for a long night and, at the least, for a treatment of four hours (common practice, no source).
"""
BOTH_NEEDLES, BLEED_OUT = "both", "bleed_out"
"""Ways to connect: both lines at once, or the venous one after the priming saline has run out."""
COMING_OFF = "end"
"""The part of the sheet that ends a treatment; the other steps begin one."""
WASH_BACK_ML_MIN = 100
"""The pump while the blood is given back (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Step:
    """key as kept in the record; countdown_s: seconds to wait; asks and use as the phone knows them.

    speed_ml_min: about how fast the pump runs here, for the phone to show; nobody types while blood moves. part:
    COMING_OFF, or empty for what begins a treatment.
    """

    key: str
    words: StrOrPromise
    hint: StrOrPromise = ""
    countdown_s: int | None = None
    asks: str = ""
    use: str = ""
    speed_ml_min: int | None = None
    part: str = ""

    def as_json(self) -> dict[str, Any]:
        """As kept in a version of the sheet, in the language of the moment."""
        return asdict(self) | {"words": str(self.words), "hint": str(self.hint)}


THE_UNITS_TIME = _("As long as your unit gives for its antiseptic. Do not wipe, fan or blow.")
AS_TRAINED = _("At the angle and depth you were trained to.")

READY: Steps = (
    Step("wash_arm", _("Wash the access arm with soap and water, and dry it")),
    Step("lay_out", _("Lay everything out in reach of the free hand"),
         _("Needles, tape, gauze, clamps, syringes, sharps box.")),
    Step("hands", _("Clean your hands"), _("Put on mask and gloves if your unit asks for them.")),
)  # fmt: skip


def _needle(use: str, put_in: StrOrPromise, names: tuple[StrOrPromise, ...], hint: StrOrPromise) -> Steps:
    """One needle, from the tourniquet to the answers; names: of tourniquet on and off, first and further tapes."""
    on, off, first, further = names
    return (
        Step(f"tourniquet_on_{use}", on, _("Only if you use one."), use=use),
        Step(f"needle_{use}", put_in, hint, asks="needle", use=use),
        Step(f"turn_{use}", _("Turn the needle, where your unit teaches it"), _("Otherwise leave it as it went in."),
             use=use),
        Step(f"tourniquet_off_{use}", off, use=use),
        Step(f"tape_{use}", first, _("Across the wings. Keep hold of the needle until it sticks."), asks="tape",
             use=use),
        Step(f"tapes_{use}", further, _("Under and over the needle, and over its own line in a loop."), use=use),
        Step(f"flash_{use}", _("Does blood come back into the line?"), _("If not: do not dig. Do as you were trained."),
             asks="flash", use=use),
        Step(f"flush_{use}", _("Flush with saline. How does it go in?"),
             _("Watch the skin round the needle while you press."), asks="flush", use=use),
        Step(f"attempts_{use}", _("How many attempts did it take?"), asks="attempts", use=use),
        Step(f"pain_{use}", _("How much did it hurt?"), _("0 is not at all, 10 the worst you can think of."),
             asks="pain", use=use),
    )  # fmt: skip


ARTERIAL_NAMES = (
    _("Tourniquet on, above the arterial place"),
    _("Take the tourniquet off"),
    _("Tape the arterial needle"),
    _("Put the further tapes on the arterial needle"),
)
VENOUS_NAMES = (
    _("Tourniquet on, above the venous place"),
    _("Take the tourniquet off"),
    _("Tape the venous needle"),
    _("Put the further tapes on the venous needle"),
)
ARTERIAL_LADDER = _needle(ARTERIAL, _("Put the arterial needle in"), ARTERIAL_NAMES, AS_TRAINED)
VENOUS_LADDER = _needle(VENOUS, _("Put the venous needle in"), VENOUS_NAMES, AS_TRAINED)
BLUNT = _(
    "Blunt needle, the same angle as ever. Never force it; if it does not go, call the unit before using a sharp one."
)
ARTERIAL_HOLE = _needle(ARTERIAL, _("Put the blunt arterial needle in"), ARTERIAL_NAMES, BLUNT)
VENOUS_HOLE = _needle(VENOUS, _("Put the blunt venous needle in"), VENOUS_NAMES, BLUNT)

LADDER_SKIN: Steps = (
    Step("places", _("Look at both places once more"),
         _("Not where the needles went in last time; a finger's breadth away from any sore or bulge.")),
    Step("skin_arterial", _("Clean the skin at the arterial place"), _("With friction, from the middle outwards."),
         use=ARTERIAL),
    Step("dry_arterial", _("Let it act and dry"), THE_UNITS_TIME, SKIN_SECONDS, use=ARTERIAL),
    Step("skin_venous", _("Clean the skin at the venous place"), _("With friction, from the middle outwards."),
         use=VENOUS),
    Step("dry_venous", _("Let it act and dry"), THE_UNITS_TIME, SKIN_SECONDS, use=VENOUS),
)  # fmt: skip
HOLE_SKIN: Steps = (
    Step("skin_first", _("Clean the skin over both buttonholes"), _("Scabs still on.")),
    Step("dry_first", _("Let it act and dry"), THE_UNITS_TIME, SKIN_SECONDS),
    Step("soften", _("Soften the scabs"), _("With what your unit gives you, never with anything from the kitchen.")),
    Step("scab_arterial", _("Lift the scab off the arterial buttonhole"),
         _("Whole, with a new scab tool; never with the needle. Redness or pus: stop and call the unit."),
         use=ARTERIAL),
    Step("scab_venous", _("Lift the scab off the venous buttonhole"),
         _("Whole, with another new scab tool; never with the needle. Redness or pus: stop and call the unit."),
         use=VENOUS),
    Step("skin_again", _("Clean both buttonholes again"), _("A fresh swab for each.")),
    Step("dry_again", _("Let it act and dry"), THE_UNITS_TIME, SKIN_SECONDS),
)  # fmt: skip
HUBS: Steps = (
    Step("mask", _("Put on the mask, then clean your hands"), _("Whoever stands close wears one too.")),
    Step("cloth", _("Lay the clean cloth under the lumens, put on gloves"), _("Both clamps closed.")),
    Step("hub_arterial", _("Scrub the arterial hub and cap"), _("With the unit's antiseptic. Keep hold of it."),
         use=ARTERIAL),
    Step("hub_dry_arterial", _("Let it act and dry"), THE_UNITS_TIME, SKIN_SECONDS, use=ARTERIAL),
    Step("lock_arterial", _("Cap off, syringe on at once. Can the lock be drawn out?"),
         _("Clamp open only while a syringe is on. Throw away what you drew."), asks="flash", use=ARTERIAL),
    Step("flush_arterial", _("Flush the arterial lumen with saline, close the clamp. How does it go in?"),
         _("It should go in easily. If it does not, do not push: call the unit."), asks="flush", use=ARTERIAL),
    Step("hub_venous", _("Scrub the venous hub and cap"), _("With the unit's antiseptic. Keep hold of it."),
         use=VENOUS),
    Step("hub_dry_venous", _("Let it act and dry"), THE_UNITS_TIME, SKIN_SECONDS, use=VENOUS),
    Step("lock_venous", _("Cap off, syringe on at once. Can the lock be drawn out?"),
         _("Clamp open only while a syringe is on. Throw away what you drew."), asks="flash", use=VENOUS),
    Step("flush_venous", _("Flush the venous lumen with saline, close the clamp. How does it go in?"),
         _("It should go in easily. If it does not, do not push: call the unit."), asks="flush", use=VENOUS),
)  # fmt: skip

CONNECTIONS: dict[str, Steps] = {
    BOTH_NEEDLES: (
        Step("connect_arterial", _("Connect the arterial line"), _("Pump still. No air between the two ends.")),
        Step("connect_venous", _("Connect the venous line"), _("No air between the two ends.")),
        Step("connect_look", _("Follow both lines with your eyes: clamps open, no kink, no air")),
    ),
    BLEED_OUT: (
        Step("connect_arterial", _("Connect the arterial line"), _("Pump still. No air between the two ends.")),
        Step("connect_waste", _("Venous end over the waste bag, venous needle clamped"), _("As you were trained.")),
        Step("connect_run_out", _("Start the pump slowly until blood reaches the end of the venous line"),
             _("Stay with your hand on it."), speed_ml_min=RUN_OUT_ML_MIN),
        Step("connect_stop", _("Stop the pump and clamp the venous line")),
        Step("connect_venous", _("Connect the venous line"), _("No air between the two ends.")),
        Step("connect_look", _("Follow both lines with your eyes: clamps open, no kink, no air")),
    ),
}  # fmt: skip
SECURE: Steps = (
    Step("dressing", _("A dressing over both needles"), _("You have to see blood if there is any.")),
)  # fmt: skip
FASTEN: Steps = (
    Step("connect_tape", _("Tape both connections, so that they cannot unscrew")),
    Step("loops", _("Loop both lines and fasten them along hand and arm"),
         _("A pull has to end at the tape, never at the needle.")),
)  # fmt: skip
CAP_CONNECTIONS: Steps = (
    Step("connect_tape", _("Tape both connections, so that they cannot unscrew"), _("And fasten the lines to you.")),
)  # fmt: skip


def _start(watch: StrOrPromise, look: StrOrPromise, safe: StrOrPromise) -> Steps:
    """From the bolus to the treatment that runs; in words of needles or of a catheter."""
    return (
        Step("bolus", _("Give the heparin bolus"), asks="bolus"),
        Step("set_machine", _("Set the machine, then read it once more"), asks="set_machine"),
        Step("pump_slow", _("Start the pump slowly"), watch, speed_ml_min=BEGIN_ML_MIN),
        Step("pump_up", _("Bring the pump up to the prescribed speed, step by step"), look, asks="prescribed_speed"),
        Step("safe", safe, _("Not under a cover. Lines to your clothes with some slack, not to the bed.")),
    )


START = _start(
    _("Watch both pressures and both needles."), _("Pressures as ever? If not, turn it down and look at the needles."),
    _("Lines fixed, leak sensor in place, access in sight"),
)  # fmt: skip
START_CATHETER = _start(
    _("Watch both pressures and the catheter."), _("Pressures as ever? If not, turn it down and look at the catheter."),
    _("Lines fixed, catheter and connections in sight"),
)  # fmt: skip


WASH_BACK: Steps = (
    Step("off_slow", _("Turn the pump down"), speed_ml_min=WASH_BACK_ML_MIN, part=COMING_OFF),
    Step("off_saline", _("Arterial side to the saline, its clamp closed"), _("No air: the bag must not run empty."),
         part=COMING_OFF),
    Step("off_wash", _("Give the blood back until the venous line is pale"),
         _("Watch the venous line and the air detector."), part=COMING_OFF),
)  # fmt: skip
"""The steps by which blood comes back: left out where it must not."""
GIVE_BACK: Steps = (
    Step("off_ready", _("Saline, clamps, gauze and tape in reach"), _("Sit or lie. Measure the pressure first."),
         part=COMING_OFF),
    Step("off_uf", _("Fluid removal off"), _("Read what the machine took off."), part=COMING_OFF),
    *WASH_BACK,
    Step("off_stop", _("Stop the pump, clamp both lines and both sides of you"), part=COMING_OFF),
)  # fmt: skip
OFF_CATHETER: Steps = (
    Step("off_mask", _("Mask on, hands clean, gloves"), part=COMING_OFF),
    Step("off_hubs", _("Scrub both hubs, lines off, flush both sides with saline"),
         _("Clamps open only while a syringe is on."), part=COMING_OFF),
    Step("off_lock", _("Put the lock in"), _("On each side the amount that is written on it."), part=COMING_OFF),
    Step("off_caps", _("New caps on, clamps closed"), part=COMING_OFF),
)  # fmt: skip


def steps_off(technique: str) -> Steps:
    """How a treatment ends, up to the needles, which come out on a screen of their own."""
    return GIVE_BACK + (OFF_CATHETER if technique == Technique.CATHETER else ())


def default_steps(technique: str, connection: str = BOTH_NEEDLES) -> Steps:
    """The whole sheet for one technique and one way to connect."""
    before: dict[str, Steps] = {
        Technique.ROPE_LADDER: READY + LADDER_SKIN + ARTERIAL_LADDER + VENOUS_LADDER + SECURE,
        Technique.BUTTONHOLE: READY + HOLE_SKIN + ARTERIAL_HOLE + VENOUS_HOLE + SECURE,
        Technique.CATHETER: HUBS,
    }
    after = CAP_CONNECTIONS + START_CATHETER if technique == Technique.CATHETER else FASTEN + START
    return before[technique] + CONNECTIONS[connection] + after + steps_off(technique)


def default_content(technique: str, connection: str = BOTH_NEEDLES) -> dict[str, Any]:
    """{"steps": […]} in the language of the moment."""
    return {"steps": [step.as_json() for step in default_steps(technique, connection)]}
