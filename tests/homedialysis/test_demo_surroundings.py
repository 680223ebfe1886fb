"""What surrounds the made-up treatments: everybody has it, and four stories stand out."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from django.db import transaction
from pytest_django import DjangoDbBlocker

from dosing.services.results.water import mark_of, standard_in_use
from homedialysis.demo.cast import CAST
from homedialysis.demo.enrolment import enrol, found_unit
from homedialysis.demo.surroundings import Home, set_up_lists
from sessions.models import Machine, Patient, WaterTest
from sessions.services.due import due_of
from sessions.services.stock import stock_of
from sessions.services.surroundings_facts import SurroundingsFacts, facts_of_many
from tests.factories import PrescriptionFactory, record_night

pytestmark = pytest.mark.django_db

UNTIL = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
DAYS = 40
OF_RAVI = {("Ravi Thistlewood", "bacteria"), ("Ravi Thistlewood", "endotoxin")}


@pytest.fixture(scope="module")
def homes(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[list[SurroundingsFacts]]:
    """Made up once for this file, and gone after it."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield _homes()
        transaction.set_rollback(True)


def _homes() -> list[SurroundingsFacts]:
    """The homes of the first ten, each treated as often as it should be; facts as they stand at the end."""
    begins, team = UNTIL - timedelta(days=DAYS), found_unit()
    set_up_lists(by=team.technologist, at=begins)
    for index, member in enumerate(CAST[:10]):
        rng, gap = np.random.default_rng(index), timedelta(days=7 / member.regime.days_per_week)
        patient = enrol(member, at=begins, until=UNTIL, team=team, rng=rng).patient
        PrescriptionFactory(patient=patient, days_per_week=member.regime.days_per_week, weekdays=[])
        Home(member, patient, begins, UNTIL, team.technologist, team.nurse(UNTIL), rng).furnish()
        for count in range(round(DAYS * member.regime.days_per_week / 7)):
            record_night(patient, begins + count * gap, minutes=150, readings=0)
    return facts_of_many(list(Patient.objects.all()), UNTIL.date())


def _late(homes: list[SurroundingsFacts]) -> set[tuple[str, str]]:
    """Who owes what; bloods are drawn by the story of the treatments, which is not told here."""
    found = {(each.patient.name, due.kind) for each in homes for due in due_of(each) if due.overdue}
    return {(name, kind) for name, kind in found if kind != "bloods"}


def test_everybody_has_a_machine_and_water_tests_unless_the_fluid_comes_in_bags(homes: list[SurroundingsFacts]) -> None:
    kinds = [set(facts.machines) for facts in homes]
    assert kinds.count({"dialysis"}) == 2
    assert kinds.count({"dialysis", "water"}) == 8
    for facts in homes:
        assert WaterTest.objects.filter(patient=facts.patient).exists() is ("water" in facts.machines)
    assert Machine.objects.count() == 18


def test_what_is_overdue_or_short_is_what_the_stories_say(homes: list[SurroundingsFacts]) -> None:
    overdue = _late(homes)
    short = {(each.patient.name, stock.item.name) for each in homes for stock in stock_of(each) if stock.short}
    assert overdue == {
        *OF_RAVI,
        ("Leocadia Finchley", "training"),
        ("Aurelio Pennyfeather", "resample"),
    }
    assert short == {("Kwame Ashgrove", "Dialysers")}


def test_nothing_else_was_overdue_on_the_way(homes: list[SurroundingsFacts]) -> None:
    for ago in (15, 30, 39):
        then = facts_of_many([facts.patient for facts in homes], UNTIL.date() - timedelta(days=ago))
        late = _late(then)
        assert late <= {*OF_RAVI, ("Aurelio Pennyfeather", "resample")}, ago
        assert not [each.patient.name for each in then for stock in stock_of(each) if stock.short and ago > 15]


def test_one_culture_stands_at_the_action_level(homes: list[SurroundingsFacts]) -> None:
    marks = [mark_of(test, standard_in_use()) for test in WaterTest.objects.select_related("patient")]
    assert {mark.grade for mark in marks} == {0, 1}
    assert {mark.test.patient.name for mark in marks if mark.grade == 1} == {"Aurelio Pennyfeather"}
