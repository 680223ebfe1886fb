"""A patient's places with dates: the clock, the number and the days of what is recorded there."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.test import Client

from homedialysis.accounts.models import Unit
from sessions.facts.places import Place
from sessions.models import Patient
from sessions.models.local_time import emergency_number, zone_of
from sessions.services.flow_sheet import sheet_of
from sessions.services.kit import kit
from tests.factories import record_night

pytestmark = pytest.mark.django_db
THERE = datetime(2026, 11, 30, 12, tzinfo=UTC)
BACK = datetime(2026, 12, 20, 12, tzinfo=UTC)


@pytest.fixture
def away(ana: Patient, unit: Unit) -> Patient:
    place = Place("Auckland", date(2026, 11, 30), date(2026, 12, 10), "Pacific/Auckland", "111", "+64 9 555 0142")
    ana.places = [place.as_json()]
    ana.save()
    return ana


def test_clock_and_number_are_those_of_the_place_while_the_patient_is_there(away: Patient, unit: Unit) -> None:
    assert [zone_of(away, at).key for at in (THERE, BACK)] == ["Pacific/Auckland", unit.time_zone]
    assert [emergency_number(away, unit, at) for at in (THERE, BACK)] == ["111", unit.emergency_number]
    assert sheet_of(away, at=THERE, blank=False)["unit"]["emergency"] == "111"


def test_a_treatment_is_dated_by_the_clock_of_where_it_began(away: Patient) -> None:
    """09:30 UTC on 30 November is the evening of the 30th in Auckland, 22:30; after the journey the day stays."""
    there = record_night(away, datetime(2026, 12, 1, 9, 30, tzinfo=UTC))
    assert there.night == date(2026, 12, 1)
    evening = record_night(away, datetime(2026, 12, 2, 17, 0, tzinfo=UTC))  # 06:00 on the 3rd there
    assert evening.night == date(2026, 12, 3)
    at_home = record_night(away, datetime(2026, 12, 15, 17, 0, tzinfo=UTC))
    assert at_home.night == date(2026, 12, 15)


def test_the_kit_has_what_is_and_what_comes_so_that_the_phone_needs_no_network(away: Patient) -> None:
    assert away.account is not None
    made = kit(away, away.account, THERE)
    assert made["patient"]["zone"] == "Pacific/Auckland"
    assert [row["emergency"] for row in made["patient"]["places"]] == ["111"]
    assert "phone" not in made["patient"]["places"][0]
    assert kit(away, away.account, BACK)["patient"]["places"] == []


def sent(**changes: Any) -> dict[str, Any]:
    return {
        "name": "Granada", "since": "2026-12-20", "until": "2026-12-28", "zone": "Europe/Madrid", "emergency": "112",
        "phone": "", "delivery": "Calle Alta 3",
    } | changes  # fmt: skip


def test_a_place_is_entered_checked_and_taken_out(nurse_client: Client, ana: Patient) -> None:
    where = f"/patients/{ana.pk}/places/"
    for wrong, words in (
        ({"until": "2026-12-19"}, "Must not lie before 20 Dec 2026; 19 Dec 2026 was given."),
        ({"emergency": "abc"}, "is no telephone number"),
        ({"emergency": ""}, "This field is required."),
        ({"zone": ""}, "This field is required."),
    ):
        assert words in nurse_client.post(where, sent(**wrong)).content.decode()
    assert nurse_client.post(where, sent()).status_code == 302
    ana.refresh_from_db()
    assert ana.places[0]["zone"] == "Europe/Madrid"
    assert "supplies to Calle Alta 3" in nurse_client.get(where).content.decode()
    assert nurse_client.post(f"{where}end/", {"index": "7"}).status_code == 302
    assert nurse_client.post(f"{where}end/", {"index": "0"}).status_code == 302
    ana.refresh_from_db()
    assert ana.places == []
    assert [len(event.places) for event in ana.events.order_by("pgh_id")][-2:] == [1, 0]  # type: ignore[attr-defined]
