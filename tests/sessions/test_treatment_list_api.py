"""The list of treatments: newest first, filtered, a page at a time, at a fixed number of queries."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from sessions.models import Patient, TreatmentRecord
from tests import crowd
from tests.factories import A_NIGHT, record_night
from tests.over_http import TREATMENTS, faults

pytestmark = pytest.mark.django_db


def nights(patient: Patient, count: int) -> list[TreatmentRecord]:
    """Newest first."""
    return [record_night(patient, A_NIGHT + timedelta(days=2 * day)) for day in range(count)][::-1]


def ids(answer: Any) -> list[str]:
    assert answer.status_code == 200, answer.content
    return [row["id"] for row in answer.json()["results"]]


def of(records: list[TreatmentRecord]) -> list[str]:
    return [str(record.pk) for record in records]


def test_a_patient_sees_only_their_own_newest_first(ana_client: Client, ana: Patient, ben: Patient) -> None:
    own = nights(ana, 3)
    nights(ben, 2)
    assert ids(ana_client.get(TREATMENTS)) == of(own)


def test_the_rows_are_the_documents(ana_client: Client, ana: Patient) -> None:
    record = record_night(ana)
    assert ana_client.get(TREATMENTS).json()["results"] == [record.as_sent]


def test_staff_see_all_or_one_patients(nurse_client: Client, ana: Patient, ben: Patient) -> None:
    anas, bens = nights(ana, 2), nights(ben, 1)
    hers = TreatmentRecord.objects.filter(patient__name=crowd.NAME)
    assert set(ids(nurse_client.get(TREATMENTS))) == set(of([*anas, *bens, *hers]))
    assert ids(nurse_client.get(TREATMENTS, {"patient": str(ben.pk)})) == of(bens)


@pytest.mark.parametrize("given", ["5f0c1a52-8d0e-4c57-9d0b-0a5be7a10001", "not-a-uuid", "{}"])
def test_a_patient_that_is_not_there_is_refused(nurse_client: Client, ana: Patient, given: str) -> None:
    assert set(faults(nurse_client.get(TREATMENTS, {"patient": given}))) == {"patient"}


def test_since_is_inside_and_until_outside(ana_client: Client, ana: Patient) -> None:
    third, second, first = nights(ana, 3)
    since, until = second.started_at.isoformat(), third.started_at.isoformat()
    assert ids(ana_client.get(TREATMENTS, {"since": since})) == of([third, second])
    assert ids(ana_client.get(TREATMENTS, {"until": until})) == of([second, first])
    assert ids(ana_client.get(TREATMENTS, {"since": since, "until": until})) == of([second])


@pytest.mark.parametrize("name", ["since", "until"])
@pytest.mark.parametrize("given", ["yesterday", "2026-03-02", "2026-03-02T00:00:00", "2026-02-30T00:00:00Z"])
def test_a_time_that_is_none_is_refused(ana_client: Client, name: str, given: str) -> None:
    found = faults(ana_client.get(TREATMENTS, {name: given}))
    assert given in found[name]["message"]


def test_a_page_at_a_time(ana_client: Client, ana: Patient) -> None:
    records = nights(ana, 3)
    first = ana_client.get(TREATMENTS, {"limit": 2}).json()
    assert (first["count"], [row["id"] for row in first["results"]]) == (3, of(records[:2]))
    assert ids(ana_client.get(first["next"])) == of(records[2:])
    assert ids(ana_client.get(TREATMENTS, {"limit": 2, "offset": 9})) == []


def test_a_page_has_fifty_rows_and_at_most_two_hundred(ana_client: Client, ana: Patient) -> None:
    assert "limit=50" in (ana_client.get(TREATMENTS, {"offset": 60}).json()["previous"] or "")
    assert "limit=200" in ana_client.get(TREATMENTS, {"limit": 9999, "offset": 300}).json()["previous"]


@pytest.mark.parametrize("count", [1, 3])
def test_the_list_asks_a_fixed_number_of_times(
    ana_client: Client, ana: Patient, count: int, django_assert_num_queries: Any
) -> None:
    nights(ana, count)
    ana_client.get(TREATMENTS)
    with django_assert_num_queries(11):  # session, person, unit, six of the throttle's cache, count, rows
        assert len(ids(ana_client.get(TREATMENTS))) == count


@pytest.mark.parametrize("readings", [1, 30])
def test_one_record_is_written_at_a_fixed_number_of_queries(
    ana: Patient, readings: int, django_assert_max_num_queries: Any
) -> None:
    with django_assert_max_num_queries(20):
        record_night(ana, readings=readings)
