"""Difficult lives: made-up patients of whom each has something that treatments at home are seldom planned for.

The demo has them beside its steady patients, and the tests look at every page of theirs. Only the story is written
here; what comes of it is made the product's own way.
"""

from __future__ import annotations

from dataclasses import replace

from homedialysis.demo import regimes as r
from homedialysis.demo.cast import (
    BUTTONHOLE,
    CAST,
    KIND,
    RIGHT,
    F,
    GivenUp,
    HandedIn,
    How,
    M,
    Member,
    Mishap,
    Stay,
    Story,
)
from sessions.facts.choices import AccessKind, Technique

CATHETER = AccessKind.CATHETER
WEEKS = 9
"""In the programme for so long, where the story asks for nothing else: long enough for two months of numbers."""

BROKEN_OFF = Member(
    name="Thaddeus Oxenbury", sex=M, age=54, height_cm=177, target_kg=82, regime=r.EVERY_OTHER_EVENING, hour=18,
    gain=0.95, joined=WEEKS, story=Story(broken_off=8),
)  # fmt: skip
"""A treatment broken off after twelve minutes, a full one fourteen hours later; bloods are drawn at that one."""
NOT_ENTERED = Member(
    name="Wilhelmina Crosthwaite", sex=F, age=48, height_cm=168, target_kg=71, regime=r.FIVE_NIGHTS, hour=22,
    gain=0.9, joined=WEEKS, story=Story(handed_in=(
        HandedIn(10, How.NEVER_ENTERED), HandedIn(16, How.NEVER_ENTERED), HandedIn(17, How.NEVER_ENTERED),
        HandedIn(24, How.FROM_PAPER),
    )),
)  # fmt: skip
"""Nights that nobody wrote down, one of them right before the bloods, and one typed in when later ones were there."""
IN_HOSPITAL = Member(
    name="Evander Pilkinghurst", sex=M, age=67, height_cm=171, target_kg=77, regime=r.THREE_DAYS, hour=13,
    gain=0.9, joined=WEEKS, story=Story(stays=(Stay(26, 14),)),
)  # fmt: skip
JOINED = Member(
    name="Soledad Marchmont", sex=F, age=39, height_cm=166, target_kg=64, regime=r.SHORT_FIVE, hour=16,
    gain=0.8, joins_on=11,
)  # fmt: skip
LEFT = Member(
    name="Ambrose Tetherly", sex=M, age=45, height_cm=180, target_kg=85, regime=r.FOUR_DAYS, hour=15,
    gain=0.9, joined=14, leaves_on=20,
)  # fmt: skip
"""Transplanted on the 20th."""
NO_BLOODS = Member(
    name="Hester Quimbleby", sex=F, age=62, height_cm=161, target_kg=66, regime=r.THREE_DAYS, hour=11,
    gain=0.8, joined=31, bloods=False, story=Story(old_bloods=200),
)  # fmt: skip
CATHETER_ONLY = Member(
    name="Ignatius Fairweather", sex=M, age=74, height_cm=170, target_kg=69, regime=r.THREE_DAYS, hour=9.5,
    gain=0.85, joined=WEEKS, access=CATHETER, side=RIGHT, technique=Technique.CATHETER,
)  # fmt: skip
GAVE_CATHETER_UP = Member(
    name="Delphine Arkwright", sex=F, age=50, height_cm=165, target_kg=67, regime=r.FOUR_DAYS, hour=17,
    gain=0.85, joined=WEEKS, given_up=GivenUp(CATHETER, RIGHT, made=110, given_up=80),
)  # fmt: skip
"""A catheter, made while the fistula had to rest and given up since, is the newest access and not the one in use."""
TWICE_A_WEEK = Member(
    name="Mordecai Elphinstone", sex=M, age=70, height_cm=174, target_kg=79, regime=r.TWO_DAYS, hour=14,
    gain=0.45, joined=WEEKS, kidney=3.5,
)  # fmt: skip
BY_DAY = Member(
    name="Clementine Ashdown", sex=F, age=57, height_cm=163, target_kg=62, regime=r.SHORT_LOW_FLOW, hour=8,
    gain=0.7, joined=WEEKS,
)  # fmt: skip
TEN_HOURS = Member(
    name="Yuki Lanternwood", sex=F, age=36, height_cm=152, target_kg=48, regime=r.TEN_HOUR_NIGHTS, hour=21,
    gain=0.7, joined=WEEKS, gauge=16, technique=BUTTONHOLE, protein=1.05,
)  # fmt: skip
"""So much urea is gone in the morning that the equations for short treatments refuse."""
TWO_PHONES = Member(
    name="Percival Dunmore", sex=M, age=52, height_cm=178, target_kg=83, regime=r.ALTERNATE_NIGHTS, hour=22,
    gain=0.9, joined=WEEKS, partner="Beatrix Dunmore", story=Story(handed_in=(
        HandedIn(1, How.TWO_RECORDS), HandedIn(9, How.TWO_PHONES),
    )),
)  # fmt: skip
SEPARATED = Member(
    name="Rosamund Kettering", sex=F, age=44, height_cm=169, target_kg=73, regime=r.THREE_DAYS, hour=18,
    gain=0.9, joined=WEEKS, partner="Lucian Kettering", story=Story(partner_goes=15),
)  # fmt: skip
MISSED = Member(
    name="Leopold Nightingale", sex=M, age=31, height_cm=182, target_kg=88, regime=r.FIVE_NIGHTS, hour=22.5,
    gain=1.0, joined=WEEKS, story=Story(left_out=(8, 9, 12, 19, 20, 26, 33)),
)  # fmt: skip
CORRECTED = Member(
    name="Philippa Thornbury", sex=F, age=59, height_cm=167, target_kg=68, regime=r.FOUR_DAYS, hour=10,
    gain=0.8, joined=WEEKS, story=Story(handed_in=(
        HandedIn(8, How.WRONG_WEIGHT), HandedIn(14, How.WRONG_PRESSURE), HandedIn(3, How.WRONG_WEIGHT),
    )),
)  # fmt: skip
VERY_HEAVY = Member(
    name="Barnaby Stoutheart", sex=M, age=42, height_cm=188, target_kg=168, regime=r.SHORT_FIVE, hour=12,
    gain=1.6, joined=WEEKS, gauge=14, dry_systolic=138,
)  # fmt: skip
PAST_MIDNIGHT = Member(
    name="Octavia Larkspur", sex=F, age=33, height_cm=170, target_kg=66, regime=r.SIX_NIGHTS, hour=23.75,
    gain=0.85, joined=WEEKS, story=Story(mishaps=(
        Mishap(5, KIND.POWER_FAILURE, "Power went at three, came back after ten minutes; went on.", left=0.97),
    )),
)  # fmt: skip
"""Begins on either side of midnight, and sleeps through the night in which the clocks change."""
SEVEN_SHORT = Member(
    name="Gwendolen Farthing", sex=F, age=71, height_cm=154, target_kg=43, regime=replace(
        r.SHORT_LOW_FLOW, name="short, every day", weekdays=(0, 1, 2, 3, 4, 5, 6), minutes=150),
    hour=7, gain=0.55, joined=WEEKS, dry_systolic=104, access=AccessKind.GRAFT, side=RIGHT,
)  # fmt: skip
"""Every day of the week, small and with a low blood pressure."""

LIVES: tuple[Member, ...] = (
    BROKEN_OFF, NOT_ENTERED, IN_HOSPITAL, JOINED, LEFT, NO_BLOODS, CATHETER_ONLY, GAVE_CATHETER_UP, TWICE_A_WEEK,
    BY_DAY, TEN_HOURS, TWO_PHONES, SEPARATED, MISSED, CORRECTED, VERY_HEAVY, PAST_MIDNIGHT, SEVEN_SHORT,
)  # fmt: skip
EVERYBODY = CAST + LIVES
"""The demo's patients in the order in which they are made up."""
