"""The unit's page: numbers people call, clock, units and hours; changed by the administrator alone."""

from __future__ import annotations

from datetime import time
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client

from homedialysis.accounts.models import OpeningHours, Unit, User
from tests.conftest import signed_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def admin_client(administrator: User) -> Client:
    return signed_in(administrator)


def sent(unit: Unit | None, *rows: dict[str, Any], **changes: str) -> dict[str, Any]:
    """What the form sends: the unit's facts, the hours that stand, and more rows."""
    fields: dict[str, Any] = {
        "name": "Home dialysis unit, Quillhaven",
        "time_zone": "Europe/Lisbon",
        "unit_system": "si",
        "weight_unit": "kg",
        "temperature_unit": "°C",
        "day_order": "dmy",
        "hour_clock": "24",
        "week_begins": 0,
        "english": "en",
        "emergency_number": "112",
        "on_call_number": "01632 960100",
    }
    standing = [
        {
            "id": hours.pk,
            "weekday": hours.weekday,
            "opens": f"{hours.opens:%H:%M}",
            "closes": f"{hours.closes:%H:%M}",
        }
        for hours in (unit.opening_hours.all() if unit else [])
    ]
    every = [*standing, *rows]
    fields |= {"opening_hours-TOTAL_FORMS": len(every), "opening_hours-INITIAL_FORMS": len(standing)}
    for number, row in enumerate(every):
        fields |= {f"opening_hours-{number}-{name}": value for name, value in row.items()}
    return fields | changes


def test_the_administrator_changes_the_unit(admin_client: Client, unit: Unit) -> None:
    change = sent(unit, unit_system="us", emergency_number="911", time_zone="America/Denver")
    assert admin_client.post("/unit/", change).status_code == 302
    unit.refresh_from_db()
    assert (unit.unit_system, unit.emergency_number, unit.time_zone) == ("us", "911", "America/Denver")
    assert [event.emergency_number for event in unit.events.order_by("pgh_id")] == ["112", "911"]  # type: ignore[attr-defined]


def test_the_first_who_comes_makes_the_unit(admin_client: Client) -> None:
    Unit.objects.all().delete()
    assert admin_client.get("/unit/").status_code == 200
    assert admin_client.post("/unit/", sent(None)).status_code == 302
    assert Unit.objects.get().name == "Home dialysis unit, Quillhaven"


def test_hours_are_added_and_taken_away(admin_client: Client, unit: Unit) -> None:
    saturday = {"weekday": 5, "opens": "09:00", "closes": "12:30"}
    assert admin_client.post("/unit/", sent(unit, saturday)).status_code == 302
    assert unit.opening_hours.get(weekday=5).closes == time(12, 30)
    without = sent(unit) | {"opening_hours-0-DELETE": "on"}
    assert admin_client.post("/unit/", without).status_code == 302
    assert [hours.weekday for hours in unit.opening_hours.all()] == [1, 2, 3, 4, 5]


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"time_zone": "Lisbon"}, "time_zone", "valid choice"),
        ({"emergency_number": ""}, "emergency_number", "required"),
        ({"unit_system": "imperial"}, "unit_system", "valid choice"),
    ],
)
def test_what_cannot_be_is_refused(
    admin_client: Client, unit: Unit, changes: dict[str, str], field: str, words: str
) -> None:
    page = admin_client.post("/unit/", sent(unit, **changes))
    assert page.status_code == 200
    assert words in page.context["form"].errors[field][0]
    unit.refresh_from_db()
    assert (unit.time_zone, unit.emergency_number) == ("Europe/Lisbon", "112")


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"weekday": 5, "opens": "12:00", "closes": "09:00"}, "Must be after 12:00; 09:00 was given."),
        ({"weekday": 5, "opens": "12:00", "closes": "12:00"}, "Must be after 12:00"),
        ({"weekday": 0, "opens": "18:00", "closes": "19:00"}, "duplicate"),
        ({"weekday": 9, "opens": "08:00", "closes": "09:00"}, "valid choice"),
    ],
)
def test_hours_that_cannot_be_are_refused(admin_client: Client, unit: Unit, row: dict[str, Any], words: str) -> None:
    page = admin_client.post("/unit/", sent(unit, row))
    assert page.status_code == 200
    assert words in page.content.decode()
    assert unit.opening_hours.count() == 5


def test_the_first_administrator_sets_the_unit_up(client: Client) -> None:
    adi = User.objects.create_superuser("adi@example.org", "a long phrase for tests", name="Adi")
    client.force_login(adi)
    assert client.get("/unit/").status_code == 200
    hours = {"weekday": 0, "opens": "08:00", "closes": "17:00"}
    assert client.post("/unit/", sent(None, hours)).status_code == 302
    assert Unit.objects.get().opening_hours.count() == 1


def test_other_staff_read_it(nurse_client: Client, unit: Unit) -> None:
    page = nurse_client.get("/unit/").content.decode()
    assert "01632 960100" in page
    assert "Monday" in page
    assert "<input" not in page.partition("<main")[2].partition("</main>")[0]
    assert nurse_client.post("/unit/", sent(unit, name="Mine")).status_code == 403
    unit.refresh_from_db()
    assert unit.name == "Home dialysis unit, Quillhaven"


def test_there_is_one_unit(unit: Unit) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Unit.objects.create(name="Second", emergency_number="1", on_call_number="2")
    with pytest.raises(IntegrityError), transaction.atomic():
        Unit.objects.create(only=False, name="Third", emergency_number="1", on_call_number="2")


def test_the_database_holds_hours_in_order(unit: Unit) -> None:
    with pytest.raises(IntegrityError, match="opening_hours_in_order"), transaction.atomic():
        OpeningHours.objects.create(unit=unit, weekday=6, opens="10:00", closes="09:00")


def test_every_page_of_a_patient_shows_whom_to_call(ana_client: Client) -> None:
    page = ana_client.get("/devices/").content.decode()
    assert 'href="tel:112"' in page
    assert 'href="tel:01632960100"' in page
