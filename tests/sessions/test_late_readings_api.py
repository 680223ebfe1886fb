"""Late readings: added to a record, finished or not, without touching the rest."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from alerts.models import PendingEvaluation
from sessions.models import AccessSite, Patient, Reading, RecordState, TreatmentRecord
from tests.crowd import ours
from tests.factories import A_NIGHT, night_body, record_night
from tests.over_http import add_readings, address, faults, post, put

pytestmark = pytest.mark.django_db


def at(minutes: int) -> str:
    return (A_NIGHT + timedelta(minutes=minutes)).isoformat()


@pytest.fixture
def night(ana: Patient, anas_sites: list[AccessSite]) -> TreatmentRecord:
    return record_night(
        ana,
        readings=[{"at": at(60), "pulse": 70}, {"at": at(180), "pulse": 74}],
        events=[{"at": at(90), "kind": "cramp", "note": "left calf"}],
        sites=[{"site": anas_sites[0].pk, "use": "arterial", "attempts": 2}],
        notes="Slept well.",
    )


def rest(body: dict[str, Any]) -> dict[str, Any]:
    """Everything but what a late reading may change."""
    return {name: value for name, value in body.items() if name not in ("readings", "revision", "etag", "received_at")}


def test_a_late_reading_is_put_in_order_of_time(ana_client: Client, night: TreatmentRecord) -> None:
    answer = add_readings(ana_client, night.pk, {"at": at(120), "pulse": 72})
    assert (answer.status_code, answer.headers["ETag"]) == (200, TreatmentRecord.objects.get(pk=night.pk).etag)
    assert [row["pulse"] for row in answer.json()["readings"]] == [70, 72, 74]
    assert list(ours(Reading).values_list("pulse", flat=True)) == [70, 72, 74]


def test_nothing_else_of_the_record_is_touched(ana_client: Client, night: TreatmentRecord) -> None:
    before = ana_client.get(address(night.pk)).json()
    add_readings(ana_client, night.pk, {"at": at(120), "pulse": 72})
    after = ana_client.get(address(night.pk)).json()
    assert rest(after) == rest(before)
    record = ours(TreatmentRecord).get()
    assert (record.state, record.finished_at) == (RecordState.FINISHED, night.finished_at)
    assert record.siteused_set.get().attempts == 2
    assert record.event_set.get().note == "left calf"


def test_a_reading_that_is_already_there_is_no_harm(ana_client: Client, night: TreatmentRecord) -> None:
    late = {"at": at(120), "pulse": 72}
    ours(PendingEvaluation).all().delete()
    first = add_readings(ana_client, night.pk, late)
    assert ours(PendingEvaluation).get().record == night
    ours(PendingEvaluation).all().delete()
    again = add_readings(ana_client, night.pk, late)
    assert (again.status_code, again.json()) == (200, first.json())
    assert ours(Reading).count() == 3
    assert not ours(PendingEvaluation).exists(), "the repeat is no news"


def test_known_and_new_readings_may_come_together(ana_client: Client, night: TreatmentRecord) -> None:
    answer = add_readings(ana_client, night.pk, {"at": at(60), "pulse": 70}, {"at": at(200), "pulse": 76})
    assert [row["pulse"] for row in answer.json()["readings"]] == [70, 74, 76]


def test_a_reading_that_contradicts_is_409_and_none_is_added(ana_client: Client, night: TreatmentRecord) -> None:
    answer = add_readings(ana_client, night.pk, {"at": at(120), "pulse": 72}, {"at": at(60), "pulse": 99})
    assert answer.status_code == 409
    assert "22:30" in answer.json()["detail"]
    assert "23:30" not in answer.json()["detail"]
    assert ours(TreatmentRecord).get().revision == 1
    assert ours(Reading).count() == 2


def test_late_readings_need_no_revision_and_make_the_next_one(ana_client: Client, night: TreatmentRecord) -> None:
    add_readings(ana_client, night.pk, {"at": at(120), "pulse": 72})
    stale = put(ana_client, night.pk, night_body(), night.etag)
    assert stale.status_code == 412
    assert len(stale.json()["current"]["readings"]) == 3


def test_an_open_record_stays_open(ana_client: Client, ana: Patient) -> None:
    record = record_night(ana, status="open", ended_at=None, readings=0)
    assert add_readings(ana_client, record.pk, {"at": at(30), "pulse": 70}).json()["status"] == "open"


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({}, "readings"),
        ({"readings": []}, "readings"),
        ({"readings": [3]}, "readings[0]"),
        ({"readings": [{"pulse": 70}]}, "readings[0].at"),
        ({"readings": [{"at": at(30), "pules": 70}]}, "readings[0].pules"),
        ({"readings": [{"at": at(1000), "pulse": 70}]}, "readings[0].at"),
        ({"readings": [{"at": at(30), "systolic": 80, "diastolic": 90}]}, "readings[0].diastolic"),
    ],
)
def test_what_is_no_reading_is_refused(
    ana_client: Client, night: TreatmentRecord, body: dict[str, Any], field: str
) -> None:
    assert field in faults(post(ana_client, address(night.pk, "readings/"), body))
    assert ours(TreatmentRecord).get().revision == 1


def test_the_record_as_a_whole_must_still_hold_together(ana_client: Client, night: TreatmentRecord) -> None:
    """500 readings are the most: the 501st is refused although it is the only one sent."""
    filling = [{"at": (A_NIGHT + timedelta(seconds=7 + second)).isoformat()} for second in range(498)]
    assert add_readings(ana_client, night.pk, *filling).status_code == 200
    assert "readings" in faults(add_readings(ana_client, night.pk, {"at": at(200)}))


def test_a_record_that_is_not_there_is_404(ana_client: Client) -> None:
    assert add_readings(ana_client, uuid.uuid4(), {"at": at(0)}).status_code == 404


def test_somebody_elses_record_is_404_and_stays_as_it_was(ben_client: Client, night: TreatmentRecord) -> None:
    assert add_readings(ben_client, night.pk, {"at": at(120), "pulse": 72}).status_code == 404
    assert ours(Reading).count() == 2
