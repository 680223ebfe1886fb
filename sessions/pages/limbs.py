"""The outlines of limbs on which the unit marks where needles go; the phone draws the same ones."""

from __future__ import annotations

from dataclasses import dataclass

from sessions.facts.choices import FlowDirection, Limb, Side
from sessions.models import VascularAccess

WIDE, TALL = 320, 440
"""The picture's own units; places are kept as shares of them."""
SHOWN_WIDE, SHOWN_TALL = 240, 330
"""Its size on the page in CSS pixels (css/lists.css): what a touch on it is measured in."""


@dataclass(frozen=True, slots=True)
class Outline:
    """Paths of a left limb, hand or foot down."""

    limb: str
    vein: str
    artery: str = ""


OUTLINES: dict[str, Outline] = {
    Limb.FOREARM: Outline(
        "M118 10 C108 90 100 120 104 170 C110 250 130 300 134 345 C128 370 116 392 112 418 L122 426 L136 396 L136 432 "
        "L150 432 L152 398 L158 434 L172 432 L168 396 L182 426 L194 420 L184 372 C204 366 210 350 206 344 "
        "C196 350 190 344 188 336 C196 290 214 240 214 170 C214 110 206 80 204 10 Z",
        "M142 14 C132 110 140 230 152 340",
        "M176 14 C176 120 176 220 168 340",
    ),
    Limb.UPPER_ARM: Outline(
        "M92 60 C110 20 170 6 214 24 C226 90 222 160 214 230 C210 270 212 300 212 434 L118 434 "
        "C116 380 108 320 106 270 C100 190 88 130 92 60 Z",
        "M132 44 C124 140 132 230 142 330",
        "M192 40 C192 140 180 220 164 330",
    ),
    Limb.THIGH: Outline(
        "M78 10 L242 10 C240 110 222 190 212 270 C208 310 212 350 208 434 L122 434 C122 370 124 330 118 290 "
        "C104 200 82 110 78 10 Z",
        "M148 14 C146 130 146 230 146 360",
        "M184 14 C176 130 172 230 168 360",
    ),
    Limb.NECK_CHEST: Outline(
        "M128 10 L128 84 C110 104 66 106 30 124 C14 140 12 180 10 250 L26 434 L294 434 L310 250 "
        "C308 180 306 140 290 124 C254 106 210 104 192 84 L192 10 Z",
        "M138 30 C138 90 150 130 158 230",
    ),
}


@dataclass(frozen=True, slots=True)
class SiteMark:
    """A numbered site on the drawing, in the picture's units."""

    number: int
    name: str
    x: float
    y: float
    resting: bool


@dataclass(frozen=True, slots=True)
class LimbDrawing:
    """What the template draws."""

    outline: Outline
    mirrored: bool
    upwards: bool
    marks: tuple[SiteMark, ...]


def drawing_of(
    access: VascularAccess, numbered: list[tuple[int, str, float | None, float | None, bool]]
) -> LimbDrawing:
    """The limb with the sites that have a place: (number, name, x, y, whether it rests)."""
    marks = (
        SiteMark(number, name, x * WIDE, y * TALL, resting)
        for number, name, x, y, resting in numbered
        if x is not None and y is not None
    )
    return LimbDrawing(OUTLINES[access.limb], access.side == Side.RIGHT, access.flow == FlowDirection.UP, tuple(marks))


def touched(x: str, y: str) -> tuple[float, float] | None:
    """Where on the drawing a touch was, as shares from 0 to 1; None for what names no place on it.

    A button pressed by key sends 0 and 0, the corner where no limb is: that is no place either.
    """
    if not (x.isdecimal() and y.isdecimal()):
        return None
    across, down = int(x[:6]) / SHOWN_WIDE, int(y[:6]) / SHOWN_TALL
    if across == down == 0 or across > 1 or down > 1:
        return None
    return round(across, 3), round(down, 3)
