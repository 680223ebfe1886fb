"""Published values through the whole product: recorded over HTTP, computed by the worker, read from the number's page.

`rows.txt` beside this file has them. The tables of the science check its functions one by one; here nothing is called
but what a phone and a browser call, so that what lies between record and equation is checked too.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple

import pytest
import time_machine
from django.test import Client

from dosing.services.night.catalogue import NIGHT_NUMBERS
from tests.cast.page_text import PageText
from tests.cast.shown import written
from tests.conftest import signed_in
from tests.factories import UnitFactory
from tests.truth import world
from tests.truth.people import UNTIL, Access, Life, Order, a_person
from tests.truth.slow import Night, Urea

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
START = datetime(2026, 3, 25, 13, tzinfo=UTC)
AGE = 55
WITHOUT_A_ROW = {
    "uf_volume": "a number taken over as it is noted",
    "uf_rate_fastest": "the same equation between two readings: published.txt has it, and the table of the phone",
    "off_target": "a difference of two noted weights; test_end_to_end has it",
    "expected_weight": "a sum of noted figures",
    "mean_pressure_after": "as before",
    "lowest_systolic": "the lowest of what was noted",
    "lowest_mean": "as before",
    "blood_flow_median": "a median of readings",
    "venous_median": "a median of readings",
    "arterial_median": "a median of readings",
    "bleeding": "a number taken over as it is noted",
    "standard_ktv": "of a week: test_end_to_end and test_simulations_of_others have it",
    "standard_ktv_kidney": "as before",
    "fitted_week": "of the weeks before: test_end_to_end has it, by the slow program",
    "fitted_week_kidney": "as before",
    "kidney": "of a urine collection: test_end_to_end has it",
}
"""Numbers of a night that no row needs, and why; every other one has a row."""


class Row(NamedTuple):
    number: str
    recorded: dict[str, Any]
    value: float
    within: float
    source: str


def read_line(line: str) -> Row:
    number, recorded, value, within, source = (part.strip() for part in line.split(" | "))
    pairs = (pair.split("=", 1) for pair in recorded.split("; "))
    return Row(number, {name: ast.literal_eval(text) for name, text in pairs}, float(value), float(within), source)


LINES = Path(__file__).with_name("rows.txt").read_text().splitlines()
ROWS = [read_line(line) for line in LINES if line and not line.startswith("#")]


@pytest.fixture(autouse=True)
def morning() -> Iterator[None]:
    with time_machine.travel(UNTIL, tick=False):
        yield


@pytest.fixture
def nurse(db: None) -> Client:
    UnitFactory()
    return world.staff()


def night(start: datetime, given: dict[str, Any]) -> Night:
    """A treatment as the row says, plain where it says nothing."""
    target, minutes = given.get("target", 70.0), given.get("minutes", 240)
    uf, rinse, drinks = given.get("uf", 2.0), given.get("rinse", 0.0), given.get("drinks", 0.0)
    lost = given.get("lost", (uf or 0.0) - rinse - drinks)
    return Night(
        start=start, minutes=minutes, qb=300, qd=500, koa=1000, real_pre=target + lost, real_post=target,
        pre_kg=target + lost, post_kg=target, uf_total=uf, rinse_l=rinse, drinks_l=drinks,
    )  # fmt: skip


def life_of(given: dict[str, Any]) -> Life:
    """Two treatments: the one before, as many days ago as the row says, and the one that is asked about."""
    target, days = given.get("target", 70.0), given.get("days", 2)
    ordered = given.get("ordered", given.get("minutes", 240))
    order = Order(per_week=7 / days, weekdays=(), minutes=ordered, qb=300, qd=500, hour=13)
    plain = {name: value for name, value in given.items() if name in ("target", "minutes")}
    return Life(
        key="a row", person=a_person("male", AGE, 175, target, volume=40), order=order,
        nights=(night(START - timedelta(days=days), plain), night(START, given)),
        bloods=(START.date(),) if "pre" in given else (),
        accesses=(Access(kind=given.get("access", "fistula"), made=date(2024, 6, 1)),),
    )  # fmt: skip


def drawn(life: Life, given: dict[str, Any]) -> list[Urea]:
    """The samples of the row, as water concentrations."""
    pre, post = given["pre"] / 0.93, given["post"] / 0.93
    return [Urea(life.nights[-1], pre, post, post, 0.0, 0.0, 0.0)]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.number}-{row.value:g}")
def test_a_number_of_a_night_has_the_value_of_its_source(nurse: Client, row: Row) -> None:
    life = life_of(row.recorded)
    person = world.make(life)
    world.send(life, signed_in(person.account))
    if life.bloods:
        world.draw(life, person, nurse, drawn(life, row.recorded))
    world.compute_all()
    where = f"/nights/{world.record_id(life, life.nights[-1])}/numbers/{row.number}/"
    said = PageText(nurse.get(where).content.decode()).said_of("Result")
    shown = written(said)
    assert shown.value is not None, said
    digit = 0.5 * 10 ** -(shown.decimals or 0)
    assert abs(shown.value - row.value) <= max(row.within, digit) + 1e-9, f"{row.source}: {row.value}, ours {said}"


def test_every_number_of_a_night_has_a_row_or_a_reason_why_not() -> None:
    assert {row.number for row in ROWS} | set(WITHOUT_A_ROW) == set(NIGHT_NUMBERS)
    assert {row.number for row in ROWS} & set(WITHOUT_A_ROW) == set()


def test_every_row_names_its_source() -> None:
    kinds = {"print", "rule", "second", "hand"}
    assert [row for row in ROWS if re.split(r":", row.source)[0] not in kinds] == []
