"""A night belongs to the evening that it serves, on the clock of the patient's wall, also where clocks change."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from django.test import Client

from homedialysis.accounts.models import Unit
from sessions.models import Patient, TreatmentRecord
from sessions.models.local_time import night_of, zone_of
from tests.crowd import ours
from tests.factories import PatientFactory, night_body, record_night
from tests.over_http import STANDING, put


@pytest.mark.parametrize(
    ("zone", "started_at", "night"),
    [
        ("UTC", datetime(2026, 3, 2, 23, 59, tzinfo=UTC), date(2026, 3, 2)),
        ("UTC", datetime(2026, 3, 3, 0, 0, tzinfo=UTC), date(2026, 3, 2)),
        ("UTC", datetime(2026, 3, 3, 2, 59, tzinfo=UTC), date(2026, 3, 2)),
        ("UTC", datetime(2026, 3, 3, 3, 0, tzinfo=UTC), date(2026, 3, 3)),
        ("America/Denver", datetime(2026, 11, 18, 7, 30, tzinfo=UTC), date(2026, 11, 17)),
        ("Pacific/Auckland", datetime(2026, 3, 2, 11, 30, tzinfo=UTC), date(2026, 3, 2)),
        ("Pacific/Auckland", datetime(2026, 3, 2, 15, 30, tzinfo=UTC), date(2026, 3, 3)),
        ("Pacific/Honolulu", datetime(2026, 3, 3, 9, 0, tzinfo=UTC), date(2026, 3, 2)),
        # Lisbon goes forward on 29 March 2026 at 01:00 UTC: 23:30 UTC is 23:30 before and 00:30 after.
        ("Europe/Lisbon", datetime(2026, 3, 28, 23, 30, tzinfo=UTC), date(2026, 3, 28)),
        ("Europe/Lisbon", datetime(2026, 3, 29, 23, 30, tzinfo=UTC), date(2026, 3, 29)),
        ("Europe/Lisbon", datetime(2026, 3, 30, 2, 30, tzinfo=UTC), date(2026, 3, 30)),
        # and back on 25 October 2026 at 01:00 UTC: the other way round.
        ("Europe/Lisbon", datetime(2026, 10, 24, 23, 30, tzinfo=UTC), date(2026, 10, 24)),
        ("Europe/Lisbon", datetime(2026, 10, 25, 23, 30, tzinfo=UTC), date(2026, 10, 25)),
    ],
)
def test_the_date_is_the_one_on_the_patients_wall(zone: str, started_at: datetime, night: date) -> None:
    assert night_of(started_at, ZoneInfo(zone)) == night


@pytest.mark.django_db
def test_a_patients_own_zone_goes_before_the_units_and_that_before_utc() -> None:
    at_home = PatientFactory()
    away = PatientFactory(time_zone="Pacific/Auckland")
    assert zone_of(at_home).key == "UTC"
    Unit.objects.create(name="Q", time_zone="Europe/Lisbon", emergency_number="112", on_call_number="1")
    assert [zone_of(at_home).key, zone_of(away).key] == ["Europe/Lisbon", "Pacific/Auckland"]


@pytest.mark.django_db
def test_two_patients_who_start_at_one_moment_may_have_different_nights(ana: Patient, ben: Patient) -> None:
    ben.time_zone = "Pacific/Auckland"
    ben.save()
    moment = datetime(2026, 3, 2, 20, 0, tzinfo=UTC)
    nights = [record_night(patient, moment).night for patient in (ana, ben)]
    assert nights == [date(2026, 3, 2), date(2026, 3, 3)]


@pytest.mark.django_db
def test_a_night_over_the_change_of_clocks_has_its_true_length(ana_client: Client, ana: Patient) -> None:
    """22:00 to 06:00 on the wall is seven hours when clocks go forward and nine when they go back."""
    for number, (start, end) in enumerate(
        [
            ("2026-03-28T22:00:00+00:00", "2026-03-29T06:00:00+01:00"),
            ("2026-10-24T22:00:00+01:00", "2026-10-25T06:00:00+00:00"),
        ]
    ):
        body = night_body(readings=0, started_at=start, ended_at=end)
        record_id = f"5f0c1a52-0000-4000-8000-00000000000{number}"
        assert put(ana_client, record_id, body).status_code == 201
    lengths = ours(TreatmentRecord).order_by("started_at")
    assert [(record.night, record.minutes) for record in lengths] == [
        (date(2026, 3, 28), 7 * 60),
        (date(2026, 10, 24), 9 * 60),
    ]


@pytest.mark.django_db
def test_a_corrected_start_moves_the_night(ana_client: Client, ana: Patient) -> None:
    record = record_night(ana, datetime(2026, 3, 2, 23, 50, tzinfo=UTC))
    later = night_body(datetime(2026, 3, 3, 3, 10, tzinfo=UTC))
    assert put(ana_client, record.pk, later, STANDING).json()["night"] == "2026-03-03"


@pytest.mark.django_db
def test_a_night_stays_where_it_was_when_the_patient_lives_elsewhere_by_then(ana: Patient) -> None:
    moment = datetime(2026, 11, 27, 22, 0, tzinfo=UTC)
    assert record_night(ana, moment).night == date(2026, 11, 27)
    ana.time_zone = "Pacific/Auckland"
    ana.save()
    record = TreatmentRecord.objects.get(patient=ana)
    body = night_body(moment, notes="Slept well.")
    client = Client()
    client.force_login(ana.account)  # type: ignore[arg-type]
    answer = put(client, record.pk, body, if_match=record.etag)
    assert answer.status_code == 200, answer.content
    record.refresh_from_db()
    assert (record.notes, record.night) == ("Slept well.", date(2026, 11, 27))
