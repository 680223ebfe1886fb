"""What the API answers where it says no: problem details, RFC 9457 (source read), whoever says it."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.test import Client

from sessions.models import Patient
from tests.factories import night_body, record_night
from tests.over_http import BULK, ELSEWHERE, address, faults, post, put

pytestmark = pytest.mark.django_db


def asked(client: Client, ana: Patient, status: int) -> Any:
    record = record_night(ana)
    return {
        400: lambda: put(client, uuid.uuid4(), night_body(pre_weight_kg=7000)),
        401: lambda: Client().get("/api/v1/treatments/"),
        403: lambda: client.get("/api/v1/patients/"),
        404: lambda: client.get(address(uuid.uuid4())),
        405: lambda: client.patch("/api/v1/treatments/"),
        412: lambda: put(client, record.pk, night_body(post_weight_kg=70.9), ELSEWHERE),
        415: lambda: client.put(address(uuid.uuid4()), "<a/>", content_type="text/xml"),
        428: lambda: put(client, record.pk, night_body(post_weight_kg=70.9)),
    }[status]()


@pytest.mark.parametrize(
    ("status", "title"),
    [
        (400, "Bad Request"),
        (401, "Unauthorized"),
        (403, "Forbidden"),
        (404, "Not Found"),
        (405, "Method Not Allowed"),
        (412, "Precondition Failed"),
        (415, "Unsupported Media Type"),
        (428, "Precondition Required"),
    ],
)
def test_every_refusal_is_told_in_one_form(ana_client: Client, ana: Patient, status: int, title: str) -> None:
    answer = asked(ana_client, ana, status)
    assert (answer.status_code, answer.headers["Content-Type"]) == (status, "application/problem+json")
    body = answer.json()
    assert (body["type"], body["title"], body["status"]) == ("about:blank", title, status)
    assert body["detail"]


def test_an_address_that_is_none_is_told_so_too(client: Client) -> None:
    answer = client.get("/api/v1/no-such-thing/")
    assert (answer.status_code, answer.headers["Content-Type"]) == (404, "application/problem+json")
    assert answer.json()["title"] == "Not Found"


def test_a_body_that_is_wrong_from_end_to_end_is_answered_shortly(ana_client: Client) -> None:
    body = night_body() | {f"strange_{n}": n for n in range(20_000)}
    answer = put(ana_client, uuid.uuid4(), body)
    assert len(faults(answer)) == 100
    assert answer.json()["detail"].startswith("20000 values were refused")
    assert len(answer.content) < 20_000


def test_fhir_keeps_its_own_form(nurse_client: Client) -> None:
    answer = nurse_client.get("/api/v1/fhir/Patient/none")
    assert (answer.status_code, answer.json()["resourceType"]) == (404, "OperationOutcome")
    assert "fhir+json" in answer.headers["Content-Type"]


def test_in_a_batch_each_is_told_by_its_own_status(ana_client: Client) -> None:
    answer = post(ana_client, BULK, {"treatments": [{"id": str(uuid.uuid4()), **night_body(pre_weight_kg=7000)}]})
    assert (answer.status_code, answer.json()["results"][0]["status"]) == (200, 400)
