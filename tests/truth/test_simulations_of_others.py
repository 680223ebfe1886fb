"""Weeks that another program simulated, lived for two months and sent over HTTP: the month has their weekly dose.

The simulation: V 35 L, 5.35 mg of urea nitrogen made a minute, extracellular third, exchange 0.016 V, blood water 0.86,
living KoA 800, fluid gained only between treatments; general solver at 1e-11, computed apart from this product and
from `tests.truth.slow`. A laboratory gives tenths of what it found.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time

import pytest
import time_machine
from django.db import transaction
from pytest_django import DjangoDbBlocker

from tests.cast.month_places import board_of
from tests.cast.places import Places
from tests.conftest import signed_in
from tests.factories import UnitFactory
from tests.truth import world
from tests.truth.people import BEGAN, DAY, KNOWN_FROM, LABEL_KOA, RINSE, UNTIL, ZONE, Life, Order
from tests.truth.slow import NITROGEN, Night, Person

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
WITHIN = 0.03
"""Of the dose: the error of two bloods to the tenth, and what is known beforehand of a man of that size."""
PROTEIN_WITHIN = 0.05


@dataclass(frozen=True)
class Simulated:
    """hours: from Monday; cycle: days; qb: set so that the simulated flow is reached; gain: mL/min; standard: found."""

    hours: tuple[int, ...]
    minutes: int
    qb: float
    qd: float
    standard: float
    gain: float = 1.0
    kidney: float = 0.0
    cycle: int = 7


BEHIND_300, BEHIND_350 = 318.975, 380.625
"""Pump settings behind which 300 and 350 mL/min flow: q (1.1 - q/2000)."""
CASES = {
    "three by 4 h": Simulated((8, 56, 104), 240, BEHIND_300, 500, 2.4561),
    "six by 2.5 h": Simulated((8, 32, 56, 80, 104, 128), 150, BEHIND_350, 500, 3.8217),
    "every other night, 8 h": Simulated((22,), 480, 200, 300, 3.5193, cycle=2),
    "six nights of 8 h": Simulated((22, 46, 70, 94, 118, 142), 480, 200, 300, 6.3512),
    "three by 4 h with a kidney": Simulated((8, 56, 104), 240, BEHIND_300, 500, 2.9523, gain=0.5, kidney=3.0),
    "three by 4 h, nothing gained": Simulated((8, 56, 104), 240, BEHIND_300, 500, 2.2659, gain=0.0),
}


def starts(case: Simulated) -> list[datetime]:
    """On the clock at home, from the first Monday to the end of March."""
    found, day = [], BEGAN
    while day <= date(2026, 3, 31):
        since = (day - BEGAN).days % case.cycle
        found += [datetime.combine(day, time(hour % 24), ZONE) for hour in case.hours if hour // 24 == since]
        day += DAY
    return found


def life(name: str) -> Life:
    case = CASES[name]
    person = Person(
        sex="male", age_years=50, height_cm=175, target_kg=60, volume=35, generation=5.35 / NITROGEN, kidney=case.kidney
    )
    begun, nights = starts(case), []
    for last, start in zip([begun[0] - 2 * DAY, *begun], begun, strict=False):
        idle = (start.timestamp() - last.timestamp()) / 60 - case.minutes
        pre = 60 + round(case.gain / 1000 * idle, 3)
        nights.append(Night(
            start=start, minutes=case.minutes, qb=case.qb, qd=case.qd, koa=LABEL_KOA, real_pre=pre, real_post=60,
            pre_kg=pre, post_kg=60, uf_total=round(pre - 60 + RINSE, 3), rinse_l=RINSE,
            known=start.date() >= KNOWN_FROM,
        ))  # fmt: skip
    weekdays = tuple(hour // 24 for hour in case.hours) if case.cycle == 7 else ()
    order = Order(
        per_week=7 * len(case.hours) / case.cycle, weekdays=weekdays, minutes=case.minutes, qb=case.qb, qd=case.qd,
        hour=case.hours[0] % 24,
    )  # fmt: skip
    drawn = tuple(night.start.date() for night in nights if night.start.date() in DRAWN)
    return Life(
        key=name, person=person, order=order, nights=tuple(nights), bloods=drawn,
        urine=URINE_FROM if case.kidney else (),
    )  # fmt: skip


DRAWN = {date(2026, 2, 23), *(date(2026, 3, day) for day in (11, 12, 13, 25, 26, 27))}
"""Those of them on which a treatment begins."""
URINE_FROM = (date(2026, 3, 11), date(2026, 3, 25))


@pytest.fixture(autouse=True)
def morning() -> Iterator[None]:
    with time_machine.travel(UNTIL, tick=False):
        yield


@pytest.fixture(scope="module")
def found(
    request: pytest.FixtureRequest, django_db_setup: None, django_db_blocker: DjangoDbBlocker
) -> Iterator[tuple[Simulated, Places]]:
    name: str = request.param
    with django_db_blocker.unblock(), transaction.atomic(), time_machine.travel(UNTIL, tick=False):
        UnitFactory()
        lived, nurse = life(name), world.staff()
        person, course = world.make(lived), lived.course()
        own = signed_in(person.account)
        world.send(lived, own)
        world.draw(lived, person, nurse, course)
        world.collect_urine(lived, person, nurse, course)
        world.compute_all()
        yield CASES[name], Places(person, nurse, own)
        transaction.set_rollback(True)


each_case = pytest.mark.parametrize("found", list(CASES), indirect=True, scope="module")


@each_case
def test_the_month_has_the_dose_that_was_simulated(found: tuple[Simulated, Places]) -> None:
    case, places = found
    board = board_of(places.page("/months/2026-03/?all=1"))[str(places.patient.pk)]
    digit = 0.005
    assert board["modelled_week_kidney"].value == pytest.approx(case.standard, abs=WITHIN * case.standard + digit)
    made = 0.58 * (9.35 * 5.35 + 0.294 * 35) / 35
    assert board["npcr"].value == pytest.approx(made, abs=PROTEIN_WITHIN * made + digit)


@each_case
def test_its_interval_holds_it(found: tuple[Simulated, Places]) -> None:
    case, places = found
    numbers = places.json(f"/api/v1/patients/{places.patient.pk}/months/2026-03/")["numbers"]
    (told,) = [each for each in numbers if each["key"] == "modelled_week_kidney"]
    assert told["interval"]["low"] < case.standard < told["interval"]["high"]
    assert told["value"] == pytest.approx(case.standard, rel=WITHIN)
