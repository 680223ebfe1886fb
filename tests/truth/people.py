"""Whole made-up patients in plain words: who they are, what is ordered, every treatment as it really was.

Of each it is said here what happened and what the unit was told of it; nothing here comes out of the product. The
stories are those of the cast of difficult lives, with a body whose urea `tests.truth.slow` can integrate.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum, auto
from zoneinfo import ZoneInfo

from tests.truth.slow import NITROGEN, Night, Person, Urea, urea_course

ZONE = ZoneInfo("Europe/Lisbon")
UNTIL = datetime(2026, 4, 1, 9, 30, tzinfo=UTC)
MARCH = (datetime(2026, 3, 1, tzinfo=ZONE), datetime(2026, 4, 1, tzinfo=ZONE))
BEGAN = date(2026, 1, 5)
"""From this Monday on the body is followed; what was assumed of it then is forgotten weeks before the unit knows it."""
KNOWN_FROM = date(2026, 2, 2)
LABEL_KOA = 1000.0
RINSE, DRINKS = 0.3, 0.2
OFF_TARGET = (0.0, 0.1, -0.1, 0.2, 0.0)
"""kg from the target after one treatment and the next, over and over."""
DAY = timedelta(days=1)


class Sent(StrEnum):
    """In which way a record comes to the unit, where it is not simply handed over in its turn."""

    LATE = auto()
    """after all others, and after everything was computed once"""
    CORRECTED = auto()
    """first with a weight after that is ten kilograms too high, then put right"""
    TWICE = auto()
    """from two phones, each with a record of its own of the same treatment"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """What is prescribed; weekdays: 0 is Monday, none means every other day."""

    per_week: float
    weekdays: tuple[int, ...]
    minutes: int
    qb: float
    qd: float
    hour: float
    limit: float = 13.0

    def due(self, day: date) -> bool:
        return day.weekday() in self.weekdays if self.weekdays else (day - BEGAN).days % 2 == 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Access:
    kind: str
    made: date
    given_up: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Life:
    """nights: all, from weeks before the unit knew any; bloods: on which of their days urea was drawn before and after.

    stays: in hospital, both days; urine: days on whose treatment a collection began, which ran to the next one.
    """

    key: str
    person: Person
    order: Order
    nights: tuple[Night, ...]
    bloods: tuple[date, ...] = ()
    urine: tuple[date, ...] = ()
    joined: date = date(2025, 1, 1)
    left: date | None = None
    stays: tuple[tuple[date, date], ...] = ()
    accesses: tuple[Access, ...] = (Access(kind="fistula", made=date(2024, 6, 1)),)
    sent: dict[date, Sent] = field(default_factory=dict)

    @property
    def known(self) -> list[Night]:
        return [night for night in self.nights if night.known]

    def on(self, day: date) -> Night:
        """The last treatment that began on that day."""
        return [night for night in self.nights if day_of(night) == day][-1]

    def course(self) -> list[Urea]:
        return urea_course(self.person, self.nights)


def day_of(night: Night) -> date:
    return night.start.astimezone(ZONE).date()


def a_person(
    sex: str,
    age: float,
    height_cm: float,
    target_kg: float,
    *,
    volume: float,
    protein: float = 1.0,
    kidney: float = 0.0,
) -> Person:
    """Generation from what is eaten: PCR 9.35 G + 0.294 V over V/0.58 (Borah 1978), solved for G."""
    made = (protein / 0.58 - 0.294) * volume / (9.35 * NITROGEN)
    return Person(
        sex=sex, age_years=age, height_cm=height_cm, target_kg=target_kg, volume=volume, generation=made, kidney=kidney
    )


Change = Callable[[Night], Night]


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """What is not as ordered: days left out, never written down, or changed; in hospital or in the centre instead."""

    left_out: frozenset[date] = frozenset()
    unwritten: frozenset[date] = frozenset()
    changes: dict[date, Change] = field(default_factory=dict)
    elsewhere: tuple[tuple[date, date], ...] = ()
    extra: dict[date, tuple[float, int]] = field(default_factory=dict)
    """Another treatment that day: its hour, and its minutes."""
    until: date = date(2026, 3, 31)


PLAIN = Story()


def nights_of(person: Person, order: Order, *, gain: float, story: Story = PLAIN) -> tuple[Night, ...]:
    """Every treatment from `BEGAN` on. gain: kg a day; what is noted is rounded as scales and machines do."""
    found: list[Night] = []
    weight, since = person.target_kg, datetime.combine(BEGAN, time(0), ZONE) - 2 * DAY
    for number, (start, minutes, at_home) in enumerate(_begun(order, story)):
        pre = round(weight + gain * ((start - since) / DAY), 1)
        goal = person.target_kg + OFF_TARGET[number % len(OFF_TARGET)]
        share = min(1.0, minutes / (order.minutes if at_home else 210))
        weight = round(pre - (pre - goal) * share, 1)
        off = round(pre - weight + RINSE + DRINKS, 2)
        since = start + timedelta(minutes=minutes)
        day = start.astimezone(ZONE).date()
        night = Night(
            start=start, minutes=minutes, koa=LABEL_KOA, real_pre=pre, real_post=weight, pre_kg=pre, post_kg=weight,
            qb=order.qb if at_home else 300, qd=order.qd if at_home else 500, uf_total=off, rinse_l=RINSE,
            drinks_l=DRINKS, at_home=at_home, known=at_home and day >= KNOWN_FROM and day not in story.unwritten,
        )  # fmt: skip
        found.append(story.changes.get(day, _same)(night))
    return tuple(found)


def _same(night: Night) -> Night:
    return night


def _begun(order: Order, story: Story) -> Iterator[tuple[datetime, int, bool]]:
    """Start, length and whether at home, of each treatment in turn."""
    day = BEGAN
    while day <= story.until:
        away = any(first <= day <= last for first, last in story.elsewhere)
        for hour, minutes in (story.extra[day],) if day in story.extra else ():
            yield _at(day, hour), minutes, True
        if away and day.weekday() in (0, 2, 4):
            yield _at(day, 13), 210, False
        elif not away and order.due(day) and day not in story.left_out:
            yield _at(day, order.hour), order.minutes, True
        day += DAY


def _at(day: date, hour: float) -> datetime:
    """A moment on the clock at home, as UTC."""
    minutes = round(hour * 60)
    return datetime.combine(day, time(minutes // 60, minutes % 60), ZONE).astimezone(UTC)


THREE_DAYS = Order(per_week=3, weekdays=(0, 2, 4), minutes=240, qb=300, qd=500, hour=13)
BY_DAY = Order(per_week=5, weekdays=(0, 1, 2, 4, 5), minutes=165, qb=350, qd=200, hour=8)
FOUR_DAYS = Order(per_week=4, weekdays=(0, 2, 4, 6), minutes=225, qb=320, qd=500, hour=10)
FIVE_NIGHTS = Order(per_week=5, weekdays=(0, 1, 3, 4, 6), minutes=420, qb=220, qd=300, hour=22)
EVERY_OTHER = Order(per_week=3.5, weekdays=(), minutes=270, qb=300, qd=500, hour=18)
TWO_DAYS = Order(per_week=2, weekdays=(1, 4), minutes=270, qb=300, qd=500, hour=14)
SHORT_FOUR = Order(per_week=4, weekdays=(0, 2, 4, 6), minutes=120, qb=230, qd=500, hour=16)
TEN_HOURS = Order(per_week=4, weekdays=(0, 2, 4, 6), minutes=600, qb=200, qd=300, hour=21)

WEEKS_APART = (date(2026, 2, 25), date(2026, 3, 11), date(2026, 3, 25))
"""Wednesdays on which bloods are drawn, unless a story says otherwise."""


def _life(
    key: str, person: Person, order: Order, *, gain: float, story: Story = PLAIN,
    bloods: tuple[date, ...] = WEEKS_APART,
    **others: object,
) -> Life:  # fmt: skip
    nights = nights_of(person, order, gain=gain, story=story)
    return Life(key=key, person=person, order=order, nights=nights, bloods=bloods, **others)  # type: ignore[arg-type]


def _early_counter(night: Night) -> Night:
    """The total was not noted; the counter was read at minute 10 and never again."""
    return replace(night, uf_total=None, uf_read=((10, 0.02),))


def _unweighed_after(night: Night) -> Night:
    return replace(_early_counter(night), post_kg=None)


def _march(*days: int) -> frozenset[date]:
    return frozenset(date(2026, 3, day) for day in days)


BLOODS_AFTER_BREAK = date(2026, 3, 18)
LIVES: tuple[Life, ...] = (
    _life("three days a week", a_person("male", 61, 174, 78, volume=40.5), THREE_DAYS, gain=0.9),
    _life("by day at eight", a_person("female", 57, 163, 62, volume=29.0), BY_DAY, gain=0.7),
    _life(
        "broken off after twelve minutes", a_person("male", 54, 177, 82, volume=42.0), EVERY_OTHER, gain=0.95,
        story=Story(extra={BLOODS_AFTER_BREAK: (4, 12)}),
        bloods=(date(2026, 2, 26), date(2026, 3, 10), BLOODS_AFTER_BREAK),
    ),
    _life(
        "nights never written down", a_person("female", 48, 168, 71, volume=33.5, protein=1.1), FIVE_NIGHTS, gain=0.9,
        story=Story(unwritten=_march(9, 16, 24)),
        bloods=(date(2026, 2, 24), date(2026, 3, 10), date(2026, 3, 23)),
    ),
    _life(
        "a night typed in late", a_person("female", 44, 170, 66, volume=31.5, protein=1.1), FIVE_NIGHTS, gain=0.85,
        bloods=(date(2026, 2, 24), date(2026, 3, 10), date(2026, 3, 24)),
        sent={date(2026, 3, 23): Sent.LATE},
    ),
    _life(
        "weights put right", a_person("female", 59, 167, 68, volume=31.0), FOUR_DAYS, gain=0.8,
        sent={date(2026, 3, 23): Sent.CORRECTED, date(2026, 3, 25): Sent.CORRECTED},
    ),
    _life(
        "two weeks in hospital", a_person("male", 67, 171, 77, volume=39.0), THREE_DAYS, gain=0.9,
        story=Story(elsewhere=((date(2026, 3, 4), date(2026, 3, 18)),)),
        bloods=(date(2026, 2, 11), date(2026, 2, 25), date(2026, 3, 27)),
        stays=((date(2026, 3, 4), date(2026, 3, 18)),),
    ),
    _life(
        "joined on the eleventh", a_person("female", 39, 166, 64, volume=30.5, protein=1.1), BY_DAY, gain=0.8,
        story=Story(elsewhere=((BEGAN, date(2026, 3, 10)),)),
        bloods=(date(2026, 3, 18), date(2026, 3, 28)), joined=date(2026, 3, 11),
    ),
    _life(
        "left on the twentieth", a_person("male", 45, 180, 85, volume=44.0), FOUR_DAYS, gain=0.9,
        story=Story(until=date(2026, 3, 20)), bloods=WEEKS_APART[:2], left=date(2026, 3, 20),
    ),
    _life("short of dose", a_person("male", 49, 183, 96, volume=49.0), SHORT_FOUR, gain=0.6),
    _life("no bloods", a_person("female", 62, 161, 66, volume=30.0), THREE_DAYS, gain=0.8, bloods=()),
    _life(
        "catheter", a_person("male", 74, 170, 69, volume=35.0), THREE_DAYS, gain=0.85,
        accesses=(Access(kind="catheter", made=date(2025, 12, 1)),),
    ),
    _life(
        "catheter given up", a_person("female", 50, 165, 67, volume=30.5), FOUR_DAYS, gain=0.85,
        accesses=(
            Access(kind="fistula", made=date(2025, 6, 1)),
            Access(kind="catheter", made=date(2025, 12, 10), given_up=date(2026, 1, 15)),
        ),
    ),
    _life(
        "two a week and good kidneys", a_person("male", 70, 174, 79, volume=40.0, kidney=4.0), TWO_DAYS, gain=0.45,
        bloods=(date(2026, 2, 24), date(2026, 3, 10), date(2026, 3, 13), date(2026, 3, 24), date(2026, 3, 27)),
        urine=(date(2026, 3, 10), date(2026, 3, 24)),
    ),
    _life(
        "ten hours at 48 kg", a_person("female", 36, 152, 48, volume=23.5, protein=1.05), TEN_HOURS, gain=0.7,
    ),
    _life(
        "two phones", a_person("male", 52, 178, 83, volume=43.0), EVERY_OTHER, gain=0.9,
        bloods=(date(2026, 2, 26), date(2026, 3, 12), date(2026, 3, 26)),
        sent={date(2026, 3, 24): Sent.TWICE},
    ),
    _life(
        "no total noted", a_person("male", 58, 174, 78, volume=40.0), THREE_DAYS, gain=1.0,
        story=Story(changes={date(2026, 3, 25): _early_counter, date(2026, 3, 27): _unweighed_after}),
    ),
    _life(
        "treatments left out", a_person("male", 31, 182, 88, volume=46.0, protein=1.1), FIVE_NIGHTS, gain=0.9,
        story=Story(left_out=_march(3, 9, 13, 22)),
        bloods=(date(2026, 2, 24), date(2026, 3, 10), date(2026, 3, 24)),
    ),
)  # fmt: skip
