"""The made-up patients: who they are, how they are treated, and what happens to them in the months before `until`."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum, auto

from homedialysis.demo import regimes as r
from homedialysis.demo.people import CARE_PARTNER
from homedialysis.demo.regimes import Regime
from sessions.facts.choices import AccessKind, EventKind, Sex, Side, Technique


@dataclass(frozen=True, slots=True)
class Mishap:
    """Something that happens at the last treatment at least `ago` days before `until`.

    left: share of the treatment that was still done; redness and the like leave it whole.
    """

    ago: int
    kind: EventKind
    note: str
    left: float = 1.0


class How(StrEnum):
    """In which way the record of a treatment comes to the unit."""

    LEFT_OPEN = auto()
    """It is never handed over."""
    NEVER_ENTERED = auto()
    """The patient was treated, and nobody ever writes it down."""
    FROM_PAPER = auto()
    """Typed in from the paper sheet four days later, when the next ones are there already."""
    WRONG_PRESSURE = auto()
    """A venous pressure is typed far too high, and corrected in the morning."""
    WRONG_WEIGHT = auto()
    """The weight after is typed ten kilograms too high, and corrected in the morning."""
    TWO_RECORDS = auto()
    """Each of two phones begins a record of its own of the same treatment, and hands it over."""
    TWO_PHONES = auto()
    """Two phones write into one record, in turn."""


@dataclass(frozen=True, slots=True)
class HandedIn:
    """How the record of the last treatment at least `ago` days before `until` comes to the unit."""

    ago: int
    how: How


@dataclass(frozen=True, slots=True)
class Stay:
    """In hospital from so many days before `until`, for `days` days: no treatment at home meanwhile."""

    ago: int
    days: int


@dataclass(frozen=True, slots=True)
class GivenUp:
    """Another access that was made and given up again, so many days before `until`."""

    kind: AccessKind
    side: Side
    made: int
    given_up: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """What is not steady about a patient. `…_from`: that many days before `until` it begins; 0 means never."""

    venous_from: int = 0
    venous_per_week: float = 2.0
    """mmHg a week for ten weeks, then `venous_step` more: how a narrowing outflow shows (common practice)."""
    venous_step: float = 25.0
    gain_factor: float = 1.0
    keeps_uf_limit: bool = True
    flesh_from: int = 0
    flesh_per_week: float = 0.33
    """kg of body mass lost a week, the target weight left as it is."""
    cuts_from: int = 0
    silent_from: int = 0
    handed_in: tuple[HandedIn, ...] = ()
    left_out: tuple[int, ...] = ()
    """The last treatments at least so many days ago are not done."""
    broken_off: int = 0
    """The last treatment at least that many days ago ends after twelve minutes; a full one begins 14 hours later."""
    stays: tuple[Stay, ...] = ()
    partner_goes: int = 0
    """That many days ago whoever helps moves out, and has no access any more."""
    old_bloods: int = 0
    """A single drawing, apart from any treatment, that many days ago."""
    mishaps: tuple[Mishap, ...] = ()
    unsettled: tuple[str, ...] = ()
    """Rules whose alerts nobody has settled in the last fortnight."""


STEADY = Story()


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """A patient. hour: when treatment begins, on the clock at home; gain in kg a day; joined: weeks before `until`."""

    name: str
    sex: Sex
    age: int
    height_cm: float
    target_kg: float
    regime: Regime
    hour: float
    gain: float
    access: AccessKind = AccessKind.FISTULA
    technique: Technique = Technique.ROPE_LADDER
    side: Side = Side.LEFT
    gauge: int = 15
    story: Story = field(default=STEADY)
    joined: int = 110
    joins_on: int = 0
    """The day of the last month before that of `until` on which the patient joined; 0: `joined` weeks ago."""
    leaves_on: int = 0
    """The same of leaving the programme; 0: is still in it."""
    given_up: GivenUp | None = None
    partner: str = ""
    """Who helps and writes every other record; "" where nobody does."""
    bloods: bool = True
    dry_systolic: float = 122
    """Systolic pressure with no fluid to spare [mmHg]."""
    venous_offset: float = 0
    protein: float = 1.0
    """Normalised protein catabolic rate [g/kg/day]."""
    kidney: float = 0
    """Residual urea clearance of plasma water [mL/min]."""
    drift: float = 0
    """kg of body mass won or lost a month, followed by the target weight at the monthly review."""

    @property
    def catheter(self) -> bool:
        return self.access == AccessKind.CATHETER


F, M = Sex.FEMALE, Sex.MALE
BUTTONHOLE, RIGHT, GRAFT = Technique.BUTTONHOLE, Side.RIGHT, AccessKind.GRAFT
KIND = EventKind

CAST: tuple[Member, ...] = (
    Member(name="Odalys Brennick", sex=F, age=46, height_cm=167, target_kg=70, regime=r.EVERY_OTHER_EVENING, hour=21.5,
           gain=0.95, technique=BUTTONHOLE, story=Story(handed_in=(HandedIn(24, How.WRONG_PRESSURE),))),
    Member(name="Ravi Thistlewood", sex=M, age=58, height_cm=174, target_kg=78, regime=r.FOUR_DAYS, hour=14, gain=1.0,
           venous_offset=4, story=Story(
               venous_from=77, venous_per_week=2.3, unsettled=("venous_rise", "access_story"))),
    Member(name="Kwame Ashgrove", sex=M, age=39, height_cm=181, target_kg=84, regime=r.THREE_DAYS, hour=17.5, gain=1.1,
           story=Story(gain_factor=1.6, keeps_uf_limit=False, unsettled=("uf_rate",)), dry_systolic=118, joined=70),
    Member(name="Leocadia Finchley", sex=F, age=66, height_cm=160, target_kg=63, regime=r.SHORT_FIVE, hour=9.5,
           joined=40, gain=0.75, dry_systolic=140, protein=0.95, partner=CARE_PARTNER.name,
           story=Story(flesh_from=98, unsettled=("pressure_high",), mishaps=(
               Mishap(1, KIND.BREATHLESS, "Short of breath lying flat, better sitting up. Slept in the armchair."),))),
    Member(name="Yusuf Merriweather", sex=M, age=33, height_cm=178, target_kg=81, regime=r.FIVE_NIGHTS, hour=22.5,
           joined=38, gain=1.0, story=Story(cuts_from=56, unsettled=("short",)), protein=1.15),
    Member(name="Ingrid Solquist", sex=F, age=51, height_cm=171, target_kg=74, regime=r.ALTERNATE_NIGHTS, hour=22,
           gain=0.9, story=Story(silent_from=21, unsettled=("missing",)), kidney=1.0),
    Member(name="Aurelio Pennyfeather", sex=M, age=72, height_cm=169, target_kg=66, regime=r.THREE_DAYS, hour=10,
           gain=0.9, access=AccessKind.CATHETER, side=RIGHT, technique=Technique.CATHETER, joined=30),
    Member(name="Tamsin Valeroso", sex=F, age=44, height_cm=165, target_kg=61, regime=r.FIVE_NIGHTS, hour=22,
           joined=40, gain=0.85, technique=BUTTONHOLE, side=RIGHT, story=Story(mishaps=(
               Mishap(118, KIND.NEEDLE_DISLODGED, "Venous needle slid half out while I turned over. Wet sheet woke me; "
                      "clamped, stopped the pump, pressed. Lost about a cupful. Did not connect again.", left=0.62),))),
    Member(name="Bartholomew Nkemelu", sex=M, age=55, height_cm=176, target_kg=88, regime=r.SHORT_LOW_FLOW, hour=8,
           joined=34, gain=0.8, story=Story(handed_in=(HandedIn(9, How.LEFT_OPEN),))),
    Member(name="Saoirse Quillfeather", sex=F, age=37, height_cm=163, target_kg=57, regime=r.SHORT_LOW_FLOW, hour=17,
           joined=32, gain=0.65, drift=0.25),
    Member(name="Mei Harrowgate", sex=F, age=49, height_cm=158, target_kg=54, regime=r.ALTERNATE_NIGHTS, hour=21.75,
           gain=0.7, technique=BUTTONHOLE, story=Story(mishaps=(
               Mishap(47, KIND.ACCESS_REDNESS, "Arterial buttonhole red and sore, a little yellow on the plaster."),)),
           kidney=1.5),
    Member(name="Tobias Wrenfield", sex=M, age=61, height_cm=179, target_kg=92, regime=r.FOUR_DAYS, hour=7.5,
           joined=35, gain=0.95, gauge=14, drift=-0.2),
    Member(name="Anwen Castellane", sex=F, age=53, height_cm=169, target_kg=68, regime=r.SHORT_FIVE, hour=13, gain=0.7,
           joined=7),
    Member(name="Dimitri Oakhollow", sex=M, age=47, height_cm=183, target_kg=95, regime=r.ALTERNATE_NIGHTS, hour=22.5,
           joined=34, gain=1.05, dry_systolic=128),
    Member(name="Farida Stonebridge", sex=F, age=41, height_cm=166, target_kg=72, regime=r.FIVE_NIGHTS, hour=21.5,
           joined=34, gain=0.9, drift=0.3, protein=1.1),
    Member(name="Cormac Delafield", sex=M, age=69, height_cm=172, target_kg=76, regime=r.THREE_DAYS, hour=12.5,
           gain=0.8, access=GRAFT, kidney=2.0, drift=0.18, joined=64),
    Member(name="Nilufar Greyling", sex=F, age=29, height_cm=162, target_kg=52, regime=r.SHORT_FIVE, hour=18,
           joined=30, gain=0.6, protein=1.1, story=Story(mishaps=(
               Mishap(1, KIND.CRAMP, "Both calves, had to stand up."),
               Mishap(3, KIND.CRAMP, "Left calf, half an hour before the end.")))),
    Member(name="Oluwaseun Marchbank", sex=M, age=52, height_cm=177, target_kg=83, regime=r.SHORT_LOW_FLOW, hour=10.5,
           joined=29, gain=0.75, technique=BUTTONHOLE, story=Story(mishaps=(
               Mishap(0, KIND.ACCESS_REDNESS, "Upper buttonhole warm and red since yesterday. No fever."),))),
    Member(name="Petra Windermoor", sex=F, age=63, height_cm=164, target_kg=70, regime=r.EVERY_OTHER_EVENING, hour=18,
           gain=0.85, side=RIGHT, drift=0.2, story=Story(mishaps=(
               Mishap(75, KIND.INFILTRATION, "Arm swelled at the arterial needle at once. Took it out, pressed, iced "
                      "it, new place further up."),))),
    Member(name="Hamish Ravensworth", sex=M, age=57, height_cm=180, target_kg=89, regime=r.FIVE_NIGHTS, hour=23,
           gain=0.95, joined=30, bloods=False),
    Member(name="Lakshmi Farrington", sex=F, age=60, height_cm=156, target_kg=58, regime=r.THREE_DAYS, hour=8.5,
           gain=0.8, drift=-0.25, dry_systolic=116),
    Member(name="Mateus Holloway", sex=M, age=35, height_cm=175, target_kg=77, regime=r.ALTERNATE_NIGHTS, hour=22.25,
           joined=40, gain=0.95, gauge=16, protein=1.15, story=Story(mishaps=(
               Mishap(2, KIND.INFILTRATION, "Venous needle blew, lump like a walnut. Ice, new needle higher up."),))),
    Member(name="Giulietta Brackenridge", sex=F, age=70, height_cm=161, target_kg=65, regime=r.FOUR_DAYS, hour=11,
           joined=40, gain=0.75, access=GRAFT, story=Story(mishaps=(
               Mishap(33, KIND.BLEEDING, "Venous site bled for over half an hour; rang the unit, it stopped with more "
                      "pressure."),))),
    Member(name="Emeka Sallowfield", sex=M, age=43, height_cm=182, target_kg=86, regime=r.FIVE_NIGHTS, hour=22.75,
           joined=29, gain=1.0, technique=BUTTONHOLE),
    Member(name="Rosalind Uyttenhove", sex=F, age=56, height_cm=170, target_kg=79, regime=r.SHORT_FIVE, hour=15.5,
           gain=0.75, bloods=False, joined=8),
    Member(name="Stellan Moorcroft", sex=M, age=64, height_cm=173, target_kg=74, regime=r.ALTERNATE_NIGHTS, hour=21.5,
           gain=0.85, kidney=1.2, drift=-0.2, story=Story(mishaps=(
               Mishap(92, KIND.FEVER_CHILLS, "Shivering two hours after the start, 38.1. Stopped and rang.",
                      left=0.3),))),
)  # fmt: skip
"""The first is the patient whom the API's examples speak of."""
