"""How the made-up patients are treated: dialysers, schedules and the prescriptions made of them.

Frequencies, lengths and flows follow what home programmes report (FHN trials; AJKD 2015;65:116, median 5 x 8 h);
the rest is common practice without a source. Dialysers are made up; KoA as a maker would state it, in vitro.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from sessions.facts.choices import Buffer


@dataclass(frozen=True, slots=True)
class DialyserKind:
    name: str
    koa_ml_min: float
    surface_m2: float


BRINDLE_14 = DialyserKind("Brindle 14", 780, 1.4)
BRINDLE_18 = DialyserKind("Brindle 18", 1020, 1.8)
FENNICK_21 = DialyserKind("Fennick 21", 1280, 2.1)
DIALYSERS = (BRINDLE_14, BRINDLE_18, FENNICK_21)

EVERY_OTHER_DAY: tuple[int, ...] = ()
"""No fixed weekdays: two days after the last one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Regime:
    """A schedule. weekdays: 0 is Monday, none means every other day; flows mL/min; heparin units per kg (and h)."""

    name: str
    weekdays: tuple[int, ...]
    minutes: int
    qb: float
    qd: float
    dialyser: DialyserKind
    interval: int
    potassium: float
    buffer: Buffer = Buffer.BICARBONATE
    buffer_mmol_l: float = 34
    uf_limit: float = 10
    bolus_per_kg: float = 30
    heparin_per_kg_h: float = 0

    @property
    def days_per_week(self) -> float:
        return float(len(self.weekdays)) or 3.5

    @property
    def nocturnal(self) -> bool:
        return self.minutes >= 360


SHORT_LOW_FLOW = Regime(
    name="short, six days, little dialysate",
    weekdays=(0, 1, 2, 3, 4, 5),
    minutes=165,
    qb=400,
    qd=200,
    dialyser=BRINDLE_18,
    interval=30,
    potassium=1,
    buffer=Buffer.LACTATE,
    buffer_mmol_l=40,
)
SHORT_FIVE = Regime(
    name="short, five days",
    weekdays=(0, 1, 3, 4, 5),
    minutes=150,
    qb=380,
    qd=500,
    dialyser=BRINDLE_18,
    interval=30,
    potassium=2,
    uf_limit=12,
)
EVERY_OTHER_EVENING = Regime(
    name="every other evening",
    weekdays=EVERY_OTHER_DAY,
    minutes=240,
    qb=300,
    qd=500,
    dialyser=BRINDLE_18,
    interval=60,
    potassium=2,
)
THREE_DAYS = Regime(
    name="three days",
    weekdays=(0, 2, 4),
    minutes=255,
    qb=330,
    qd=500,
    dialyser=FENNICK_21,
    interval=60,
    potassium=2,
    uf_limit=11,
)
FOUR_DAYS = Regime(
    name="four days",
    weekdays=(0, 1, 3, 5),
    minutes=255,
    qb=350,
    qd=500,
    dialyser=BRINDLE_18,
    interval=60,
    potassium=2,
)
ALTERNATE_NIGHTS = Regime(
    name="alternate nights",
    weekdays=EVERY_OTHER_DAY,
    minutes=465,
    qb=220,
    qd=300,
    dialyser=BRINDLE_14,
    interval=120,
    potassium=2,
    uf_limit=8,
    bolus_per_kg=25,
    heparin_per_kg_h=10,
)
FIVE_NIGHTS = Regime(
    name="five nights",
    weekdays=(0, 1, 3, 4, 6),
    minutes=420,
    qb=200,
    qd=300,
    dialyser=BRINDLE_14,
    interval=120,
    potassium=3,
    uf_limit=8,
    bolus_per_kg=25,
    heparin_per_kg_h=10,
)
TEN_HOUR_NIGHTS = replace(FIVE_NIGHTS, name="five nights of ten hours", minutes=600, qd=200)
SIX_NIGHTS = replace(FIVE_NIGHTS, name="six nights", weekdays=(0, 1, 2, 4, 5, 6))
TWO_DAYS = replace(THREE_DAYS, name="two days", weekdays=(0, 3), minutes=240)
