"""Which copies on a phone the unit does not know, and which history its database tells."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.db import connection
from django.test import Client

from homedialysis.running.history import history_id
from sessions.models import Patient, TreatmentRecord
from tests.crowd import ours
from tests.factories import night_body, record_night
from tests.over_http import faults, post, put

pytestmark = pytest.mark.django_db
COPIES = "/api/v1/bedside/copies/"


def unknown(client: Client, copies: dict[Any, str]) -> set[str]:
    answer = post(client, COPIES, {"copies": {str(name): etag for name, etag in copies.items()}})
    assert answer.status_code == 200, answer.content
    return set(answer.json()["unknown"])


def test_what_stands_and_what_was_replaced_since_is_known(ana_client: Client) -> None:
    record_id = uuid.uuid4()
    first = put(ana_client, record_id, night_body()).headers["ETag"]
    second = put(ana_client, record_id, night_body(post_weight_kg=70.4), first).headers["ETag"]
    assert first != second
    assert unknown(ana_client, {record_id: first}) == unknown(ana_client, {record_id: second}) == set()


def test_what_went_with_a_backup_or_was_written_in_another_history_is_unknown(ana_client: Client) -> None:
    gone, other = uuid.uuid4(), uuid.uuid4()
    lost = put(ana_client, gone, night_body()).headers["ETag"]
    ours(TreatmentRecord).all().delete()
    again = put(ana_client, other, night_body()).headers["ETag"]
    assert unknown(ana_client, {gone: lost, other: again}) == {str(gone)}
    assert unknown(ana_client, {other: lost}) == {str(other)}, "the same revision, written at another moment"


def test_a_revision_of_another_history_replaces_nothing(ana_client: Client) -> None:
    """Two histories count alike: the phone's first revision is not the unit's first."""
    record_id = uuid.uuid4()
    lost = put(ana_client, record_id, night_body()).headers["ETag"]
    ours(TreatmentRecord).all().delete()
    put(ana_client, record_id, night_body(post_weight_kg=71.0))
    answer = put(ana_client, record_id, night_body(post_weight_kg=70.4), lost)
    assert (answer.status_code, answer.json()["current"]["post_weight_kg"]) == (412, 71.0)
    assert ours(TreatmentRecord).get().post_weight_kg == 71.0


def test_nothing_to_replace_is_412_and_says_so(ana_client: Client) -> None:
    answer = put(ana_client, uuid.uuid4(), night_body(), '"1-64f1c2a9be300"')
    assert (answer.status_code, answer.json()["current"]) == (412, None)
    assert "no such record" in answer.json()["detail"]
    assert not ours(TreatmentRecord).exists()


def test_of_a_strangers_record_nothing_is_told(ana_client: Client, ben: Patient) -> None:
    record = record_night(ben)
    assert unknown(ana_client, {record.pk: record.etag}) == {str(record.pk)}


@pytest.mark.parametrize(
    ("copies", "field"),
    [
        ({}, "copies"),
        ({"x": '"1-64f1c2a9be300"'}, "copies"),
        ({str(uuid.UUID(int=1)): "1"}, f"copies.{uuid.UUID(int=1)}"),
        ({str(uuid.UUID(int=each)): '"1-64f1c2a9be300"' for each in range(201)}, "copies"),
    ],
)
def test_what_is_no_list_of_copies_is_refused(ana_client: Client, copies: dict[str, str], field: str) -> None:
    assert set(faults(post(ana_client, COPIES, {"copies": copies}))) == {field}


def test_the_unit_is_not_asked_for_a_phone(nurse_client: Client) -> None:
    assert post(nurse_client, COPIES, {"copies": {str(uuid.uuid4()): '"1-64f1c2a9be300"'}}).status_code == 403


def test_a_history_is_the_same_until_its_table_is_another(ana_client: Client) -> None:
    told = ana_client.get("/api/v1/bedside/").json()["history_id"]
    assert told == history_id()
    with connection.cursor() as cursor:  # as a dump is read in: a table that looks alike takes the place of the old one
        cursor.execute("create schema earlier; alter table treatment_treatmentrecord set schema earlier")
        cursor.execute("create table treatment_treatmentrecord (like earlier.treatment_treatmentrecord including all)")
    assert history_id() != told
