"""Searches by the rules of FHIR R4: what is asked is what is answered, or it is refused by name."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from django.test import Client
from django.utils import timezone

from dosing.services.fhir.searching import SEARCHES, SearchRefused, span_of
from dosing.services.night.computing import compute
from homedialysis.accounts.models import ReadLog
from sessions.models import BloodResult, Patient, TreatmentRecord
from tests.crowd import ours
from tests.factories import A_NIGHT, BloodFactory, record_night

pytestmark = pytest.mark.django_db
BOTH_WEIGHTS = {"8347-7", "8344-4"}
WEIGHT, POTASSIUM, UREA = "29463-7", "2823-3", "22664-7"


@pytest.fixture
def nights(ana: Patient) -> list[TreatmentRecord]:
    """Two nights, a week apart, with urea before and after the second."""
    found = [record_night(ana, A_NIGHT + timedelta(days=days), pre_weight_kg=74.5) for days in (0, 7)]
    for record in found:
        compute(record, at=timezone.now())
    for timing, value in (("pre", 22.5), ("post", 7.5)):
        method = "slow_flow" if timing == "post" else ""
        BloodFactory(patient=ana, treatment=found[1], value=value, timing=timing, post_method=method,
                     drawn_at=A_NIGHT + timedelta(days=7, hours=4 * (timing == "post")))  # fmt: skip
    return found


def ask(client: Client, query: str, status: int = 200) -> dict[str, Any]:
    answer = client.get(f"/api/v1/fhir/{query}")
    assert answer.status_code == status, answer.content
    found: dict[str, Any] = json.loads(answer.content)
    return found


def found(client: Client, query: str) -> list[dict[str, Any]]:
    return [each["resource"] for each in ask(client, query).get("entry", [])]


def words_of(outcome: dict[str, Any]) -> str:
    return str(outcome["issue"][0]["diagnostics"])


def codes(resources: list[dict[str, Any]]) -> set[str]:
    return {each["code"]["coding"][0]["code"] for each in resources}


def test_a_code_finds_what_has_it_and_nothing_else(
    nurse_client: Client, ana: Patient, nights: list[TreatmentRecord]
) -> None:
    whose = f"Observation?patient={ana.pk}"
    assert found(nurse_client, f"{whose}&code={POTASSIUM}") == []
    assert codes(found(nurse_client, f"{whose}&code={WEIGHT}")) == BOTH_WEIGHTS
    assert codes(found(nurse_client, f"{whose}&code=http://loinc.org|{UREA}")) == {UREA}
    assert found(nurse_client, f"{whose}&code=http://snomed.info/sct|{UREA}") == []
    assert codes(found(nurse_client, f"{whose}&code={UREA},{WEIGHT}")) == {UREA, *BOTH_WEIGHTS}
    (after,) = found(nurse_client, f"{whose}&code=urea.post")
    assert after["valueQuantity"]["value"] == 7.5
    assert after["method"]["coding"][0]["code"] == "slow-flow"


def test_a_part_is_found_where_parts_are_asked_for(
    nurse_client: Client, ana: Patient, nights: list[TreatmentRecord]
) -> None:
    """R4: code is that of the whole, combo-code also that of a component."""
    whose = f"Observation?patient={ana.pk}"
    assert found(nurse_client, f"{whose}&code=8480-6") == []
    assert codes(found(nurse_client, f"{whose}&combo-code=8480-6")) == {"85354-9"}


@pytest.mark.parametrize(
    ("asked", "nights_found"),
    [
        ("date=2026-03-02", [0]),
        ("date=2026-03", [0, 1]),
        ("date=2025", []),
        ("date=ge2026-03-05", [1]),
        ("date=lt2026-03-05", [0]),
        ("date=ge2026-03-02&date=le2026-03-03", [0]),
        ("date=ne2026-03-02", [1]),
        ("date=2026-03-02,2026-03-09", [0, 1]),
        ("date=gt2026-03-09T23:00:00Z", []),
        ("date=eb2026-03-09&code=8347-7", [0]),
        ("date=sa2026-03-02&code=8347-7", [1]),
    ],
)
def test_times_are_compared_as_r4_says(
    asked: str, nights_found: list[int], nurse_client: Client, ana: Patient, nights: list[TreatmentRecord]
) -> None:
    """A day is all its moments; eq lies within, ge and le touch, sa and eb lie wholly outside."""
    query = f"Observation?patient={ana.pk}&{asked}" + ("" if "code" in asked else "&code=8347-7")
    assert [each["id"] for each in found(nurse_client, query)] == [
        f"{nights[at].pk}-pre-weight-kg" for at in nights_found
    ]


def test_a_treatment_is_found_while_it_lasts(nurse_client: Client, ana: Patient, nights: list[TreatmentRecord]) -> None:
    """It began at 21:30: the hour after overlaps it, the hour before does not."""
    during = (A_NIGHT + timedelta(hours=1)).strftime("%Y-%m-%dT%H:%M:%SZ")
    before = (A_NIGHT - timedelta(hours=1)).strftime("%Y-%m-%dT%H:%M:%SZ")
    whose = f"Procedure?subject=Patient/{ana.pk}"
    assert [each["id"] for each in found(nurse_client, f"{whose}&date=le{during}")] == [str(nights[0].pk)]
    assert found(nurse_client, f"{whose}&date=le{before}") == []
    assert found(nurse_client, f"{whose}&status=in-progress") == []


def test_last_updated_is_honoured(nurse_client: Client, ana: Patient, nights: list[TreatmentRecord]) -> None:
    BloodResult.objects.filter(patient=ana).update(entered_at=A_NIGHT + timedelta(days=9))
    type(nights[0]).objects.filter(patient=ana).update(received_at=A_NIGHT)
    whose = f"Observation?patient={ana.pk}&code={UREA},{WEIGHT}"
    assert codes(found(nurse_client, f"{whose}&_lastUpdated=ge2026-03-10")) == {UREA}
    assert codes(found(nurse_client, f"{whose}&_lastUpdated=lt2026-03-10")) == BOTH_WEIGHTS


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("Observation?patient={}&cod=2823-3", "Observation cannot be searched by “cod”; known: _id, _lastUpdated"),
        ("Observation?patient={}&_include=Observation:patient", "cannot be searched by “_include”"),
        ("Procedure?patient={}&_sort=date", "Procedure cannot be searched by “_sort”"),
        ("Device?patient={}&category=laboratory", "Device cannot be searched by “category”"),
        ("Observation?patient={}&date=spring", "date: “spring” is no time; write one such as 2026"),
        ("Observation?patient={}&date=up2026", "date: “up” is no way to compare times here; known: eq"),
        ("Observation?patient={}&date=2026-02-30", "date: “2026-02-30” is no time"),
        ("Observation?patient={}&code=", "code is empty"),
        ("Observation?code=2823-3", "Say whose, of one patient: patient=<id>."),
        ("Observation?patient=anna", "“anna” is no id of a patient."),
        ("Observation?patient={}&_format=xml", "_format: there is only application/fhir+json."),
    ],
)
def test_what_cannot_be_answered_is_refused_in_words(
    query: str, words: str, nurse_client: Client, ana: Patient, nights: list[TreatmentRecord]
) -> None:
    said = words_of(ask(nurse_client, query.format(ana.pk), status=400))
    assert words in said
    assert "ErrorDetail" not in said


def test_the_own_address_of_an_answer_holds_what_was_used(
    nurse_client: Client, ana: Patient, nights: list[TreatmentRecord]
) -> None:
    bundle = ask(nurse_client, f"Observation?patient={ana.pk}&date=ge2026-03-01&date=le2026-03-31&_count=2")
    links = {each["relation"]: parse_qs(urlsplit(each["url"]).query) for each in bundle["link"]}
    asked = {"patient": [str(ana.pk)], "date": ["ge2026-03-01", "le2026-03-31"], "_count": ["2"]}
    assert links == {"self": asked, "next": asked | {"_offset": ["2"]}}


def test_a_patient_is_found_by_number_name_and_birth(
    nurse_client: Client, ben_client: Client, ana: Patient, ben: Patient
) -> None:
    number = ana.hospital_number
    for query in (f"identifier={number}", f"name={ana.name[:3].lower()}", f"_id={ana.pk}",
                  f"birthdate={ana.birth_date}&name={ana.name.split()[-1]}"):  # fmt: skip
        assert str(ana.pk) in [each["id"] for each in found(nurse_client, f"Patient?{query}")], query
    assert [each["id"] for each in found(nurse_client, f"Patient?identifier={number}")] == [str(ana.pk)]
    assert found(nurse_client, f"Patient?identifier=http://elsewhere.example|{number}") == []
    assert found(ben_client, f"Patient?identifier={number}") == [], "somebody else's"
    assert [each["id"] for each in found(ben_client, "Patient")] == [str(ben.pk)]
    assert ours(ReadLog).filter(patient_id=ana.pk, path="/api/v1/fhir/Patient").exists()


def test_a_resource_has_a_version_and_is_not_sent_twice(
    nurse_client: Client, ana: Patient, nights: list[TreatmentRecord]
) -> None:
    for path in (f"Procedure/{nights[0].pk}", f"Observation/{nights[0].pk}-uf-rate", f"Patient/{ana.pk}"):
        first = nurse_client.get(f"/api/v1/fhir/{path}")
        again = nurse_client.get(f"/api/v1/fhir/{path}", headers={"if-none-match": first.headers["ETag"]})
        assert (first.status_code, again.status_code) == (200, 304), path
        assert ("Last-Modified" in first.headers) == (not path.startswith("Patient")), path


def test_what_is_not_here_is_said_in_fhir(nurse_client: Client, ana: Patient) -> None:
    for path in (f"Patient/{ana.pk}/_history", "Wish", "a/b/c"):
        assert ask(nurse_client, path, status=404)["resourceType"] == "OperationOutcome", path


def test_the_statement_of_what_it_can_is_what_is_declared() -> None:
    told = json.loads(Client().get("/api/v1/fhir/metadata").content)
    listed = {each["type"]: [one["name"] for one in each["searchParam"]] for each in told["rest"][0]["resource"]}
    assert listed == {kind: list(known) for kind, known in SEARCHES.items()}


@pytest.mark.parametrize(
    ("text", "first", "after"),
    [
        ("2026", "2026-01-01", "2027-01-01"),
        ("2026-12", "2026-12-01", "2027-01-01"),
        ("2026-02-28", "2026-02-28", "2026-03-01"),
        ("2026-03-02T21:30:00+01:00", "2026-03-02T20:30:00", "2026-03-02T20:30:01"),
    ],
)
def test_a_time_is_as_long_as_it_is_told(text: str, first: str, after: str) -> None:
    assert span_of(text) == tuple(datetime.fromisoformat(each).replace(tzinfo=UTC) for each in (first, after))


@pytest.mark.parametrize("text", ["", "26", "2026-3", "2026-13", "2026-03-02T21:30:00", "99999999999", "9999-12-31"])
def test_what_is_no_time_is_refused(text: str) -> None:
    with pytest.raises(SearchRefused, match="is no time"):
        span_of(text)
