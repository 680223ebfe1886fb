"""Every request body in the schema has an example, and each is accepted as it stands for the demo's patient.

What comes back has the shape that the schema says.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
import time_machine
import yaml
from django.test import Client
from openapi_schema_validator import OAS30Validator

from homedialysis.accounts.models import Unit, User
from sessions.api import examples
from sessions.models import Patient, Prescription
from tests.api_contract.test_schema import KEPT, operations
from tests.conftest import signed_in
from tests.factories import MessageFactory, PatientFactory, PrescriptionFactory, SupplyItemFactory
from tests.over_http import ELSEWHERE, JSON, TREATMENTS, address, put

pytestmark = pytest.mark.django_db

SPEC: dict[str, Any] = yaml.safe_load(KEPT.read_text(encoding="utf-8"))
BODIES = [
    pytest.param(method, path, name, example["value"], id=f"{method} {path} {name}")
    for path, method, operation in operations(SPEC)
    for name, example in operation.get("requestBody", {}).get("content", {}).get(JSON, {}).get("examples", {}).items()
]
AFTER_THE_EXAMPLES = datetime(2026, 11, 25, 12, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _after_the_examples() -> Iterator[None]:
    with time_machine.travel(AFTER_THE_EXAMPLES):
        yield


@pytest.fixture
def demo_patient(unit: Unit) -> Patient:
    patient: Patient = PatientFactory(pk=uuid.UUID(examples.DEMO_PATIENT), name="Nils Harrow")
    PrescriptionFactory(patient=patient, version=1)
    return patient


@pytest.fixture
def patient_client(demo_patient: Patient) -> Client:
    return signed_in(demo_patient.account)


def test_every_request_body_has_an_example() -> None:
    with_body = {
        (method, path)
        for path, method, operation in operations(SPEC)
        if JSON in operation.get("requestBody", {}).get("content", {})
    }
    with_example = {(param.values[0], param.values[1]) for param in BODIES}
    assert len(with_body) >= 7
    assert with_example == with_body


def matches(answer: Any, path: str, method: str) -> None:
    """The body of an answer has the shape that the schema gives for its status."""
    response = SPEC["paths"][path][method]["responses"][str(answer.status_code)]
    if "content" not in response:
        assert answer.content == b""
        return
    schema = {
        "allOf": [response["content"][answer.headers["Content-Type"]]["schema"]],
        "components": SPEC["components"],
    }
    faults = [f"{list(fault.path)}: {fault.message}" for fault in OAS30Validator(schema).iter_errors(answer.json())]
    assert faults == []


@pytest.mark.parametrize(("method", "path", "name", "body"), BODIES)
def test_each_example_is_accepted_as_it_stands(
    patient_client: Client, nurse: User, method: str, path: str, name: str, body: Any
) -> None:
    client = signed_in(nurse) if path == "/api/v1/bloods/" else patient_client
    record_id = uuid.uuid4()
    if path.endswith("/readings/"):
        assert put(patient_client, record_id, examples.NIGHT.value).status_code == 201
    message = MessageFactory(patient_id=examples.DEMO_PATIENT)
    SupplyItemFactory(pk=1)
    where = path.replace("{message_id}", str(message.pk))
    for name_of_id in ("{record_id}", "{said_id}", "{entry_id}"):
        where = where.replace(name_of_id, str(record_id))
    answer = getattr(client, method)(where, body, content_type=JSON)
    assert answer.status_code in (200, 201), answer.content
    matches(answer, path, method)
    if path.endswith("/bulk/"):
        assert [result["status"] for result in answer.json()["results"]] == [201, 201]


def test_the_bloods_of_the_example_belong_to_its_night(patient_client: Client, nurse: User) -> None:
    record_id = uuid.uuid4()
    put(patient_client, record_id, examples.NIGHT.value)
    answer = signed_in(nurse).post("/api/v1/bloods/", examples.BLOODS.value, content_type=JSON)
    assert [row["treatment"] for row in answer.json()] == [str(record_id)] * 2


def test_a_shape_that_is_wrong_would_be_seen(patient_client: Client) -> None:
    """The check of shapes itself: an answer with a field of the wrong kind does not pass."""
    put(patient_client, record_id := uuid.uuid4(), examples.NIGHT.value)
    answer = patient_client.get(address(record_id))
    answer.json = lambda: {"revision": "one"}
    with pytest.raises(AssertionError, match="revision"):
        matches(answer, "/api/v1/treatments/{record_id}/", "get")


READS = [
    "/api/v1/treatments/",
    "/api/v1/treatments/{record_id}/",
    "/api/v1/treatments/{record_id}/versions/",
    "/api/v1/treatments/{record_id}/numbers/",
    "/api/v1/bedside/",
    "/api/v1/prescriptions/current/",
    "/api/v1/limits/",
    "/api/v1/bloods/",
    "/api/v1/medications/",
    "/api/v1/devices/",
    "/api/v1/patients/",
    "/api/v1/bedside/water/",
    "/api/v1/bedside/counts/",
    "/api/v1/bedside/done/",
]
WITHOUT_A_SHAPE = {"/api/v1/devices/bedside/{device_id}/"}
WITH_TESTS_OF_THEIR_OWN = {
    "/api/v1/bloods/import/{import_id}/",
    "/api/v1/bedside/nights/{record_id}/answer/",
    "/api/v1/patients/{patient_id}/months/{month}/",
}


@pytest.mark.parametrize("path", READS)
def test_what_is_read_has_the_shape_of_the_schema(patient_client: Client, nurse: User, path: str) -> None:
    put(patient_client, record_id := uuid.uuid4(), {**examples.NIGHT.value, "pre_weight_kg": 165})
    signed_in(nurse).post("/api/v1/bloods/", examples.BLOODS.value, content_type=JSON)
    patient_client.post("/api/v1/devices/", examples.DEVICE.value, content_type=JSON)
    client = signed_in(nurse) if path == "/api/v1/patients/" else patient_client
    answer = client.get(path.replace("{record_id}", str(record_id)))
    assert answer.status_code == 200
    matches(answer, path, "get")


def test_every_read_is_among_those() -> None:
    known = set(READS) | WITHOUT_A_SHAPE | WITH_TESTS_OF_THEIR_OWN
    assert {path for path, method, _ in operations(SPEC) if method == "get"} == known


def test_refusals_have_the_shape_of_the_schema(patient_client: Client, demo_patient: Patient) -> None:
    record_id, night = uuid.uuid4(), examples.NIGHT.value
    put(patient_client, record_id, night)
    changed = {**night, "notes": "Changed."}
    answers = [
        put(patient_client, record_id, {**night, "pre_weight_kg": 7000, "strange": True}),
        put(patient_client, record_id, changed),
        put(patient_client, record_id, changed, ELSEWHERE),
    ]
    assert [answer.status_code for answer in answers] == [400, 428, 412]
    for answer in answers:
        matches(answer, "/api/v1/treatments/{record_id}/", "put")
    readings = {"readings": [{**night["readings"][0], "pulse": 99}]}
    late = patient_client.post(address(record_id, "readings/"), readings, content_type=JSON)
    assert late.status_code == 409
    matches(late, "/api/v1/treatments/{record_id}/readings/", "post")
    bulk = patient_client.post(f"{TREATMENTS}bulk/", {"treatments": [{"id": "x"}, changed]}, content_type=JSON)
    assert bulk.status_code == 200
    matches(bulk, "/api/v1/treatments/bulk/", "post")


def test_nothing_in_force_is_told_as_not_found(patient_client: Client) -> None:
    Prescription.objects.all().delete()
    assert patient_client.get("/api/v1/prescriptions/current/").status_code == 404
