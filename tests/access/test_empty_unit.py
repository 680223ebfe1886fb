"""Before anything is there: every page of every role opens in an installation that has its first administrator alone,
and in one whose only patient has nothing yet."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest
from django.core.management import call_command
from django.db import transaction
from django.test import Client
from django.utils import timezone

from homedialysis.accounts.models import Role, User
from sessions.models import Patient
from tests.access.addresses import Address, every_address
from tests.access.html_check import faults_of
from tests.access.world import ROLES
from tests.factories import UserFactory

pytestmark = pytest.mark.django_db

STAFF = ROLES[4:]
VALUES = {
    "month": "2026-03", "technique": "buttonhole", "kind": "checklist", "name": "checklist", "key": "made-up",
    "uidb36": "1",
    "secret": "made-up", "fhir_kind": "Patient", "rest": "Patient/1", "rule": "venous_high", "version": 1,
}  # fmt: skip
"""What addresses hold that names no row."""
WHAT = {
    "treatments:surroundings-unit-note": ("supply", "interval", "bloods", "standard"),
    "treatments:surroundings-note": ("water", "machine", "done", "delivery", "training", "interval", "bloods", "count"),
    "dosing:new-outcome": ("stay", "infection"),
}


def first_administrator() -> User:
    """As the command of the first start makes one."""
    call_command("createsuperuser", "--no-input", email="adi@example.org", name="Adi First")
    return User.objects.get()


def open_ways(address: Address, patient: Patient | None) -> Iterator[dict[str, Any]]:
    """The values of an address of which no row is needed; none where only a row could fill it."""
    known = VALUES | ({"patient_id": patient.pk} if patient else {})
    known |= {"number_key": "uf_rate"} if address.name == "dosing:month-number" else {}
    for what in WHAT.get(address.name, ("",)):
        values = known | ({"what": what} if what else {})
        if all(name in values for name in address.holds):
            yield {name: values[name] for name in address.holds}


def broken(client: Client, patient: Patient | None) -> tuple[int, dict[str, Any]]:
    """How many pages were asked for, and those that failed or are no sound page."""
    asked, found = 0, {}
    for address in every_address():
        for values in open_ways(address, patient):
            path = Address(address.name, address.holds).path(
                values | {"month_key": "uf_rate_mean", "figure_key": "hospital"}
            )
            with transaction.atomic():
                answer = client.get(path)
                transaction.set_rollback(True)
            timezone.deactivate()
            asked += 1
            page = answer.headers.get("Content-Type", "").startswith("text/html") and not answer.streaming
            text = answer.content.decode() if page else ""
            if answer.status_code >= 500 and address.name != "ready":
                found[path] = answer.status_code
            elif text and answer.status_code == 200 and (faults := faults_of(text)):
                found[path] = faults
    return asked, found


@pytest.fixture
def people() -> dict[str, User]:
    adi = first_administrator()
    return {"administrator": adi} | {role: UserFactory(role=Role(role)) for role in STAFF if role != "administrator"}


def signed_in_as(person: User) -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(person)
    return client


@pytest.mark.parametrize("role", STAFF)
def test_every_page_opens_before_there_is_a_unit(people: dict[str, User], role: str) -> None:
    asked, found = broken(signed_in_as(people[role]), None)
    assert asked > 50
    assert found == {}


@pytest.mark.parametrize("role", [*STAFF, "patient"])
def test_every_page_opens_with_one_patient_who_has_nothing(people: dict[str, User], role: str) -> None:
    account = UserFactory(role=Role.PATIENT)
    patient = Patient.objects.create(
        name="Ana First", hospital_number="1", birth_date=date(1970, 1, 1), sex="female", height_cm=165,
        joined_on=date(2026, 3, 1), account=account,
    )  # fmt: skip
    asked, found = broken(signed_in_as(account if role == "patient" else people[role]), patient)
    assert asked > 70
    assert found == {}
