"""The difficult lives, made up once for the file that asks: a month to the first of April, through the services."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
import time_machine
from django.db import transaction
from pytest_django import DjangoDbBlocker

from homedialysis.demo.cast import Member
from homedialysis.demo.lives import LIVES
from homedialysis.demo.seeding import SeedingPlan, seed
from sessions.models import Patient

UNTIL = datetime(2026, 4, 1, 9, 30, tzinfo=UTC)
"""A Wednesday morning: March is over, in which the clocks went forward on the 29th."""
DAYS = 31


@pytest.fixture(scope="module")
def cast(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[dict[Member, Patient]]:
    """Each member of the cast as a patient, on the morning after the month; gone after the file."""
    plan = SeedingPlan(seed=7, until=UNTIL, days=DAYS, members=LIVES, watched=False)
    with django_db_blocker.unblock(), transaction.atomic(), time_machine.travel(UNTIL, tick=False):
        seed(plan)
        people = {patient.name: patient for patient in Patient.objects.select_related("account")}
        yield {member: people[member.name] for member in LIVES}
        transaction.set_rollback(True)
