"""The checks that come with the program, which hold until the unit writes its own.

Common practice, no source, but for the chlorine limit: total chlorine at most 0.1 mg/L (ISO 23500-3:2019,
from memory). The conductivity range is a wide fence around usual dialysates; the unit narrows it to its own.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Protocol, TypeVar

from django.conf import settings
from django.utils.translation import gettext_lazy as _
from django.utils.translation import override
from django_stubs_ext import StrOrPromise

from sessions.facts.choices import CheckPart

EVERYBODY, NEEDLES, CATHETER = "", "needles", "catheter"
"""Whom an item is for."""
STOPS = frozenset({"chlorine", "residue", "air_detector"})
"""Checks that nobody goes past, by their key: one that failed is lifted by passing when it is done again, and
by nothing else. What they keep away (chlorine or disinfectant in the blood, air in it) shows only when it has done
its harm."""


@dataclass(frozen=True, slots=True)
class Item:
    """key as kept in the record; a value outside the limits (in `unit`) makes the check fail; for_whom see above."""

    key: str
    part: CheckPart
    name: StrOrPromise
    hint: StrOrPromise = ""
    if_failed: StrOrPromise = ""
    unit: str = ""
    limit_low: float | None = None
    limit_high: float | None = None
    for_whom: str = EVERYBODY

    def as_json(self) -> dict[str, Any]:
        """As kept in a version of the list, in the language of the moment."""
        return {
            "key": self.key,
            "part": self.part.value,
            "name": str(self.name),
            "hint": str(self.hint),
            "if_failed": str(self.if_failed),
            "unit": self.unit,
            "limit_low": self.limit_low,
            "limit_high": self.limit_high,
            "asks_value": bool(self.unit),
            "for_whom": self.for_whom,
        }


SETUP, ACCESS, AFTER = CheckPart.SETUP, CheckPart.ACCESS, CheckPart.AFTER
CALL_FIRST = _("Do not put a needle in. Call the unit before you go on.")
NOT_YET = _("Do not connect yet. Put it right as you were trained; if you cannot, call the unit.")

DEFAULT = (
    Item("hands", SETUP, _("Hands and access arm washed"), _("Soap and water, then dry."), _("Wash again.")),
    Item("chlorine", SETUP, _("Total chlorine of the water"),
         _("Before every treatment, after the water has run as long as you were trained. At most 0.1 mg/L."),
         _("Do not connect. Let the water run and test again; if it is still over the limit, do not treat: call the "
           "unit."), "mg/L", None, 0.1),
    Item("self_test", SETUP, _("Machine's own test passed"), "",
         _("Start the test once more. If it fails again, do not connect: call the unit.")),
    Item("residue", SETUP, _("No disinfectant left in the machine"),
         _("With the test strip, where your machine is disinfected with a chemical."),
         _("Keep rinsing and test again. Never connect while the strip shows anything.")),
    Item("conductivity", SETUP, _("Conductivity of the dialysate"),
         _("And its temperature: both as your unit told you."),
         _("Do not connect. Look at the concentrates and their connectors; if it does not come right, call the unit."),
         "mS/cm", 13, 15),
    Item("primed", SETUP, _("Lines and dialyser primed"), _("No air left, every connection tight, clamps as trained."),
         NOT_YET),
    Item("air_detector", SETUP, _("Air detector armed"), _("The venous line lies in it and in the clamp below it."),
         NOT_YET),
    Item("leak_sensor", SETUP, _("Needle-leak sensor on"), _("Tried with a wet fingertip, then dried."),
         _("Change its battery or the sensor. Without one do not sleep during the treatment; ask the unit.")),
    Item("phone", SETUP, _("Telephone charged and in reach"), _("In reach of the free hand."),
         _("Plug it in where the free hand reaches it.")),
    Item("emergency_pack", SETUP, _("Emergency pack in reach"), _("Clamps, gauze, tape, saline, torch."),
         _("Put it together before you connect.")),
    Item("look", ACCESS, _("Look: skin as ever"), _("No redness, swelling, pus, torn scab or new bulge."), CALL_FIRST,
         for_whom=NEEDLES),
    Item("feel", ACCESS, _("Feel: the buzz is there"), _("As ever along the vein; no hard beat, no warmth, no pain."),
         CALL_FIRST, for_whom=NEEDLES),
    Item("listen", ACCESS, _("Listen: the sound is as ever"), _("Low and without a pause; not high, not gone."),
         CALL_FIRST, for_whom=NEEDLES),
    Item("exit_site", ACCESS, _("Exit site dry and without redness"),
         _("No pus, no pain; the felt ring on the catheter cannot be seen."),
         _("Do not open the catheter. Call the unit before you go on."), for_whom=CATHETER),
    Item("caps", ACCESS, _("Caps tight and clamps closed"), _("No crack in the hubs or the tubes."),
         _("Pinch the catheter closed above the damage, with your fingers or a spare clamp. Call the unit."),
         for_whom=CATHETER),
    Item("stopped_bleeding", AFTER, _("Both needle sites have stopped bleeding"), _("And the buzz is there."),
         _("Press again for ten minutes. Do not lift the gauze to look. If it goes on, call the unit; if it bleeds "
           "a lot, call the emergency number."), for_whom=NEEDLES),
    Item("sharps", AFTER, _("Needles in the sharps box"), for_whom=NEEDLES),
    Item("disinfection", AFTER, _("Disinfection of the machine started"), _("The kind that is due today."),
         _("Do not use the machine again before it was disinfected; call the unit if it will not start.")),
)  # fmt: skip


def default_content() -> dict[str, Any]:
    """{"items": […]} in the language of the moment."""
    return {"items": [item.as_json() for item in DEFAULT]}


class Answered(Protocol):
    """A check with its answer; name where it has no key."""

    key: str
    name: str
    passed: bool


Row = TypeVar("Row", bound=Answered)


def not_put_right(rows: Iterable[Row]) -> list[Row]:
    """Of the answered checks of a record, in their order, those that failed and did not pass when done again.

    The treatment was begun with them as they were.
    """
    answered = list(rows)
    last_good = {row.key or row.name: index for index, row in enumerate(answered) if row.passed}
    return [
        row for index, row in enumerate(answered) if not row.passed and index > last_good.get(row.key or row.name, -1)
    ]


NAMES = {item.key: item.name for item in DEFAULT}


def name_of(key: str, version: int | None, kept: str) -> str:
    """A check's name in the language of the moment.

    `kept`: as the record has it; it holds for what the unit wrote itself. A check of the program's list (version 0), or
    one that the unit left as the program has it, goes by its key.
    """
    if key not in NAMES:
        return kept
    with override(settings.LANGUAGE_CODE):
        programs = str(NAMES[key])
    return str(NAMES[key]) if version == 0 or kept == programs else kept
