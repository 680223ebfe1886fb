"""Many nights in one request, each judged by itself."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from alerts.models import PendingEvaluation
from sessions.models import Patient, TreatmentRecord
from tests.crowd import ours
from tests.factories import A_NIGHT, night_body, record_night
from tests.over_http import BULK, ELSEWHERE, faults, post

pytestmark = pytest.mark.django_db


def item(record_id: Any = None, days: int = 0, **changes: Any) -> dict[str, Any]:
    body = night_body(A_NIGHT + timedelta(days=days), readings=1, **changes)
    return {"id": str(record_id or uuid.uuid4()), **body}


def send(client: Client, *items: Any) -> list[dict[str, Any]]:
    answer = post(client, BULK, {"treatments": list(items)})
    assert answer.status_code == 200, answer.content
    results: list[dict[str, Any]] = answer.json()["results"]
    return results


def test_every_night_is_answered_in_the_order_sent(ana_client: Client) -> None:
    items = [item(days=day) for day in (4, 0, 2)]
    results = send(ana_client, *items)
    etags = {str(record.pk): record.etag for record in ours(TreatmentRecord).all()}
    assert results == [{"id": e["id"], "status": 201, "revision": 1, "etag": etags[e["id"]]} for e in items]
    assert ours(TreatmentRecord).count() == 3
    assert ours(PendingEvaluation).count() == 3


def test_a_bad_night_does_not_hold_up_the_rest(ana_client: Client) -> None:
    good, bad, other = item(days=0), item(days=2, pre_weight_kg=7000), item(days=4)
    results = send(ana_client, good, bad, other)
    assert [result["status"] for result in results] == [201, 400, 201]
    (fault,) = results[1]["errors"]
    assert (fault["field"], fault["given"]) == ("pre_weight_kg", 7000)
    assert "between 20 and 300 kg" in fault["message"]
    kept = {str(pk) for pk in ours(TreatmentRecord).values_list("pk", flat=True)}
    assert kept == {good["id"], other["id"]}


def test_each_night_is_one_of_the_ways_a_put_ends(ana_client: Client, ana: Patient, ben: Patient) -> None:
    same = item()
    send(ana_client, same)
    standing, bens = record_night(ana, A_NIGHT + timedelta(days=2)), record_night(ben)
    results = send(
        ana_client,
        item(days=4),
        same,
        item(standing.pk, days=2, post_weight_kg=70.5),
        item(standing.pk, days=2, post_weight_kg=70.5, if_match=ELSEWHERE),
        item(bens.pk),
        item(standing.pk, days=2, post_weight_kg=70.5, if_match=standing.etag),
        item(standing.pk, days=2, post_weight_kg=70.6, if_match="x"),
    )
    assert [result["status"] for result in results] == [201, 200, 428, 412, 400, 200, 400]
    assert [results[2]["revision"], results[3]["revision"], results[5]["revision"]] == [1, 1, 2]
    assert [fault["field"] for fault in results[4]["errors"]] == ["id"]
    standing.refresh_from_db()
    assert standing.post_weight_kg == 70.5


@pytest.mark.parametrize("record_id", ["", "7", "not a uuid", "\ud800"])
def test_a_night_without_a_uuid_is_told_so(ana_client: Client, record_id: str) -> None:
    good = item(days=2)
    results = send(ana_client, {**item(), "id": record_id}, good)
    assert [result["status"] for result in results] == [400, 201]
    assert results[0]["errors"][0]["field"] == "id"


def test_a_night_of_a_stranger_is_told_so(ana_client: Client, ben: Patient) -> None:
    results = send(ana_client, item(patient=str(ben.pk)), item(days=2))
    assert [result["status"] for result in results] == [400, 201]
    assert not TreatmentRecord.objects.filter(patient=ben).exists()


def test_a_nurse_sends_nights_of_several_patients(nurse_client: Client, ana: Patient, ben: Patient) -> None:
    results = send(nurse_client, item(patient=str(ana.pk)), item(patient=str(ben.pk)), item(days=2))
    assert [result["status"] for result in results] == [201, 201, 400]
    assert set(ours(TreatmentRecord).values_list("patient", flat=True)) == {ana.pk, ben.pk}


@pytest.mark.parametrize("body", [{}, {"treatments": []}, {"treatments": {}}])
def test_a_request_without_nights_is_refused(ana_client: Client, body: dict[str, Any]) -> None:
    assert set(faults(post(ana_client, BULK, body))) == {"treatments"}


def test_at_most_two_hundred_nights_come_at_once(ana_client: Client) -> None:
    assert set(faults(post(ana_client, BULK, {"treatments": [{}] * 201}))) == {"treatments"}


def test_what_is_no_object_is_named_and_the_rest_is_kept(ana_client: Client) -> None:
    results = send(ana_client, 7, item())
    assert [result["status"] for result in results] == [400, 201]
    assert results[0]["errors"] == [{"field": "document", "message": "A JSON object is needed."}]
