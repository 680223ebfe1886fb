"""A walk through what every place says of the same thing, for every member of the cast.

It compares the places with each other: whether a number is right is another matter, and held elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import pytest
import time_machine
from pytest_django import DjangoDbBlocker

from homedialysis.accounts.models import Role, User
from homedialysis.demo.cast import Member
from homedialysis.demo.lives import LIVES, SEPARATED, TWO_PHONES
from sessions.models import Patient
from tests.cast.conftest import UNTIL
from tests.cast.crawl import STAFF, addresses_of, faults_of, faults_of_the_unit, ids_of, path_of
from tests.cast.month_places import (
    access_in_use,
    board_of,
    last_potassium,
    of_month,
    of_prescription,
    treatments_done,
)
from tests.cast.page_text import PageText
from tests.cast.places import Places, Said, of_nights, of_notes
from tests.cast.shown import Shown, disagreeing
from tests.conftest import signed_in

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
Cast = dict[Member, Patient]
Board = dict[str, dict[str, Shown]]
MARCH, APRIL = MONTHS = ("2026-03", "2026-04")
each_member = pytest.mark.parametrize("member", LIVES, ids=lambda member: member.name)


@pytest.fixture(autouse=True)
def morning() -> Iterator[None]:
    with time_machine.travel(UNTIL, tick=False):
        yield


@pytest.fixture
def places(cast: Cast, member: Member) -> Places:
    nurse = User.objects.filter(role=Role.NURSE).first()
    return Places(cast[member], signed_in(nurse), signed_in(cast[member].account))


@pytest.fixture(scope="module")
def boards(cast: Cast, django_db_blocker: DjangoDbBlocker) -> dict[str, Board]:
    """By month, the board."""
    with django_db_blocker.unblock(), time_machine.travel(UNTIL, tick=False):
        client = signed_in(User.objects.filter(role=Role.NURSE).first())
        answers = {month: client.get(f"/months/{month}/").content.decode() for month in MONTHS}
    return {month: board_of(PageText(html)) for month, html in answers.items()}


def differences(found: Mapping[Any, Said]) -> list[str]:
    said = {str(what): disagreeing(places) for what, places in found.items()}
    return [f"{what}: {words}" for what, words in said.items() if words]


@each_member
def test_a_computed_number_of_a_night_is_the_same_everywhere(places: Places) -> None:
    found = of_nights(places)
    assert max(len(said) for said in found.values()) >= 7
    assert differences(found) == []


@each_member
def test_what_was_noted_before_and_after_is_the_same_everywhere(places: Places) -> None:
    found = of_notes(places)
    assert all(len(said) == 5 for said in found.values())
    assert differences(found) == []


@each_member
@pytest.mark.parametrize("month", MONTHS)
def test_a_number_of_the_month_is_the_same_everywhere(places: Places, boards: dict[str, Board], month: str) -> None:
    if month == APRIL and places.patient.left_on:
        assert str(places.patient.pk) not in boards[month]
        return
    found = of_month(places, month, boards[month][str(places.patient.pk)])
    assert len(found) > 25
    assert all(len(said) >= 3 for said in found.values())
    assert differences(found) == []


@each_member
def test_treatments_of_the_month_are_counted_alike(places: Places, boards: dict[str, Board]) -> None:
    found = treatments_done(places, MARCH, boards[MARCH][str(places.patient.pk)])
    assert differences({"treatments": found}) == []


@each_member
def test_the_prescription_in_force_is_the_same_everywhere(places: Places) -> None:
    found = of_prescription(places)
    assert all(len(said) >= 5 for said in found.values())
    assert differences(found) == []


@each_member
def test_the_access_in_use_is_the_same_everywhere(places: Places) -> None:
    found = access_in_use(places)
    assert len(set(found.values())) == 1, found


@each_member
def test_the_last_potassium_is_the_same_everywhere(places: Places) -> None:
    assert differences({"potassium": last_potassium(places)}) == []


@each_member
def test_every_page_of_every_role_opens_and_reads_well(cast: Cast, member: Member) -> None:
    assert faults_of(cast[member], ("patient", *STAFF), MARCH) == []


@pytest.mark.parametrize("role", STAFF)
def test_every_page_of_the_unit_opens_and_reads_well(cast: Cast, role: str) -> None:
    assert faults_of_the_unit(role, MARCH) == []


def test_who_helps_sees_what_the_patient_sees_until_the_access_ended(cast: Cast) -> None:
    assert faults_of(cast[TWO_PHONES], ("partner",), MARCH) == []
    gone = User.objects.get(name=SEPARATED.partner)
    written = cast[SEPARATED].treatments.filter(recorded_by=gone)
    assert written.exists()
    assert not gone.is_active
    assert not Patient.objects.visible_to(gone).exists()


def test_another_patient_opens_nothing_of_a_member(cast: Cast) -> None:
    other = cast[TWO_PHONES].account
    client, ids = signed_in(other), ids_of(cast[SEPARATED], MARCH)
    answers = {address.name: client.get(path_of(address, ids)).status_code for address in addresses_of(ids)}
    opened = {name for name, status in answers.items() if status < 400}
    assert len(answers) > 30
    assert opened == set()
