"""The data of release 0.2.0 come through the upgrade to this code whole, and this code works on them."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass

import pytest

from homedialysis.running.schema import OURS
from tests.upgrade import databases
from tests.upgrade.databases import Row, Rows

WORKER = os.environ.get("PYTEST_XDIST_WORKER", "one")
GIVEN_UP: dict[str, str] = {}
"""Tables ("table") and columns ("table.column") of 0.2.0 whose values are no longer kept, or are kept otherwise: each
with the reason, and where the values went."""
MACHINERY = {"django_migrations", "django_content_type", "auth_permission", "shared_cache", "django_session"}
"""Tables in which an upgrade writes by itself and that hold nothing of a patient."""


@dataclass(frozen=True, slots=True)
class Upgraded:
    """The rows of each table before and after, and the address of the database."""

    before: dict[str, Rows]
    after: dict[str, Rows]
    address: str


@pytest.fixture(scope="module")
def upgraded() -> Iterator[Upgraded]:
    """The dump, brought up to this code by the product's own command."""
    with databases.scratch(f"upgraded_{WORKER}") as address:
        databases.restore(address)
        before = databases.rows_of(address)
        databases.manage(address, "migrate", "--verbosity", "0")
        yield Upgraded(before, databases.rows_of(address), address)


def test_the_dump_holds_people_treatments_and_all_that_hangs_on_them(upgraded: Upgraded) -> None:
    before = upgraded.before
    ours = [table for table in before if table.split("_")[0] in OURS and not table.endswith("event")]
    assert len(ours) > 50
    assert len(before["treatment_patient"]) >= 12
    assert len(before["treatment_treatmentrecord"]) > 100
    assert before["alerts_alert"]
    assert before["dosing_recordnumbers"]
    assert before["dosing_patientmonth"]


def test_every_row_is_there_afterwards_with_every_value(upgraded: Upgraded) -> None:
    for table, rows in upgraded.before.items():
        if table in MACHINERY or table in GIVEN_UP:
            continue
        assert upgraded.after[table].keys() >= rows.keys(), f"rows of {table} are lost"
        for key, row in rows.items():
            now = upgraded.after[table][key]
            assert kept(table, row) == {name: now.get(name) for name in kept(table, row)}, f"{table} {key}"


def kept(table: str, row: Row) -> Row:
    return {name: value for name, value in row.items() if f"{table}.{name}" not in GIVEN_UP}


def test_what_is_given_up_was_there(upgraded: Upgraded) -> None:
    before = upgraded.before
    columns = {f"{table}.{name}" for table, rows in before.items() for row in rows.values() for name in row}
    assert GIVEN_UP.keys() <= before.keys() | columns


def test_an_upgraded_database_has_the_shape_of_a_new_one(upgraded: Upgraded) -> None:
    with databases.scratch(f"new_{WORKER}") as address:
        databases.manage(address, "migrate", "--verbosity", "0")
        assert databases.shape_of(upgraded.address) == databases.shape_of(address)


def test_this_code_works_on_it(upgraded: Upgraded) -> None:
    """Every page of every patient of the dump, in a process of its own."""
    said = databases.manage(upgraded.address, "shell", script=databases.HERE / "look.py")
    assert int(said.split(" pages looked at")[0].split()[-1]) >= 80, said
