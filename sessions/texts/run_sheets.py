"""The run sheets that come with the program, which hold until the unit writes its own.

Common practice, no source. Contact times are only a start: chlorhexidine in alcohol 30 s to dry, povidone iodine
two to three minutes (from memory); which antiseptic is used and how long it acts is the unit's word.
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
BOTH_NEEDLES, BLEED_OUT = "both", "bleed_out"
"""Ways to connect: both lines at once, or the venous one after the priming saline has run out."""


@dataclass(frozen=True, slots=True)
class Step:
    """key as kept in the record; countdown_s: seconds to wait; asks and use as the phone knows them."""

    key: str
    words: StrOrPromise
    hint: StrOrPromise = ""
    countdown_s: int | None = None
    asks: str = ""
    use: str = ""

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


def _needle(use: str, put_in: StrOrPromise, taped: StrOrPromise, hint: StrOrPromise) -> Steps:
    return (
        Step(f"needle_{use}", put_in, hint, asks="needle", use=use),
        Step(f"flash_{use}", _("Does blood come back into the line?"), _("If not: do not dig. Do as you were trained."),
             asks="flash", use=use),
        Step(f"flush_{use}", _("Flush with saline: no swelling, no pain"),
             _("Swelling or pain: stop, do not use this needle, press and cool."), asks="flush", use=use),
        Step(f"tape_{use}", taped,
             _("Across the wings, under and over the needle; leave the line in a loop, so that nothing pulls."),
             asks="tape", use=use),
        Step(f"attempts_{use}", _("How many attempts did it take?"), asks="attempts", use=use),
        Step(f"pain_{use}", _("How much did it hurt?"), _("0 is not at all, 10 the worst you can think of."),
             asks="pain", use=use),
    )  # fmt: skip


ARTERIAL_LADDER = _needle(ARTERIAL, _("Put the arterial needle in"), _("Tape the arterial needle"), AS_TRAINED)
VENOUS_LADDER = _needle(VENOUS, _("Put the venous needle in"), _("Tape the venous needle"), AS_TRAINED)
BLUNT = _(
    "Blunt needle, the same angle as ever. Never force it; if it does not go, call the unit before using a sharp one."
)
ARTERIAL_HOLE = _needle(ARTERIAL, _("Put the blunt arterial needle in"), _("Tape the arterial needle"), BLUNT)
VENOUS_HOLE = _needle(VENOUS, _("Put the blunt venous needle in"), _("Tape the venous needle"), BLUNT)

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
    Step("lock_arterial", _("Cap off, syringe on at once, draw the lock out"),
         _("Clamp open only while a syringe is on. Throw away what you drew."), asks="flash", use=ARTERIAL),
    Step("flush_arterial", _("Flush the arterial lumen with saline, close the clamp"),
         _("It should go in easily. If it does not, do not push: call the unit."), asks="flush", use=ARTERIAL),
    Step("hub_venous", _("Scrub the venous hub and cap"), _("With the unit's antiseptic. Keep hold of it."),
         use=VENOUS),
    Step("hub_dry_venous", _("Let it act and dry"), THE_UNITS_TIME, SKIN_SECONDS, use=VENOUS),
    Step("lock_venous", _("Cap off, syringe on at once, draw the lock out"),
         _("Clamp open only while a syringe is on. Throw away what you drew."), asks="flash", use=VENOUS),
    Step("flush_venous", _("Flush the venous lumen with saline, close the clamp"),
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
             _("Stay with your hand on it."), asks="pump_speed"),
        Step("connect_stop", _("Stop the pump and clamp the venous line")),
        Step("connect_venous", _("Connect the venous line"), _("No air between the two ends.")),
        Step("connect_look", _("Follow both lines with your eyes: clamps open, no kink, no air")),
    ),
}  # fmt: skip
START: Steps = (
    Step("pump_slow", _("Start the pump slowly"), _("At the low speed you were trained with; watch both pressures."),
         asks="pump_speed"),
    Step("pump_up", _("Bring the pump up to the prescribed speed, step by step"),
         _("Pressures as ever? If not, turn it down and look at the needles.")),
    Step("safe", _("Lines fixed, leak sensor in place, access in sight"),
         _("Not under a cover. Lines to your clothes with some slack, not to the bed.")),
)  # fmt: skip


def default_steps(technique: str, connection: str = BOTH_NEEDLES) -> Steps:
    """The whole sheet for one technique and one way to connect."""
    before: dict[str, Steps] = {
        Technique.ROPE_LADDER: READY + LADDER_SKIN + ARTERIAL_LADDER + VENOUS_LADDER,
        Technique.BUTTONHOLE: READY + HOLE_SKIN + ARTERIAL_HOLE + VENOUS_HOLE,
        Technique.CATHETER: HUBS,
    }
    return before[technique] + CONNECTIONS[connection] + START


def default_content(technique: str, connection: str = BOTH_NEEDLES) -> dict[str, Any]:
    """{"steps": […]} in the language of the moment."""
    return {"steps": [step.as_json() for step in default_steps(technique, connection)]}
