"""The read API in FHIR R4: what it says, to whom, and that it is FHIR R4 (official schema, and a library's classes)."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from fhir.resources import R4B

from dosing.services.night.computing import compute
from homedialysis.accounts.models import ReadLog
from sessions.facts.fields import READING
from sessions.models import BloodResult, Patient, TreatmentRecord
from tests.crowd import ours
from tests.dosing.fhir.conftest import Faults
from tests.factories import A_NIGHT, BloodFactory, FindingFactory, MedicationFactory, PrescriptionFactory, record_night

pytestmark = pytest.mark.django_db
NUMBERS: dict[str, Any] = {
    "pre_weight_kg": 74.5,
    "post_weight_kg": 72,
    "pre_systolic": 150,
    "pre_diastolic": 80,
    "post_standing_systolic": 120,
    "post_standing_diastolic": 70,
    "pre_pulse": 70,
    "uf_removed_l": 2.4,
}


@pytest.fixture
def night(ana: Patient) -> TreatmentRecord:
    PrescriptionFactory(patient=ana, version=1)
    record = record_night(ana, **NUMBERS)
    compute(record, at=timezone.now())
    return record


@pytest.fixture
def urea(ana: Patient, night: TreatmentRecord) -> BloodResult:
    found: BloodResult = BloodFactory(patient=ana, treatment=night, value=22.5, flag="H", reference="2.5-7.8")
    return found


def everything(client: Client, person: Patient, query: str = "") -> dict[str, Any]:
    answer = client.get(f"/api/v1/fhir/Patient/{person.pk}/$everything{query}")
    assert (answer.status_code, answer.headers["Content-Type"]) == (200, "application/fhir+json")
    found: dict[str, Any] = json.loads(answer.content)
    return found


def of_kind(bundle: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    return [each["resource"] for each in bundle["entry"] if each["resource"]["resourceType"] == kind]


def test_all_that_is_told_is_fhir_r4(nurse_client: Client, ana: Patient, urea: BloodResult, faults: Faults) -> None:
    FindingFactory(patient=ana)
    FindingFactory(patient=ana, kind="home_pressure", values={"systolic": 141, "diastolic": 80, "pulse": 70})
    FindingFactory(patient=ana, kind="virus", values={"virus": "anti_hbs", "result": "positive", "titre": 8})
    MedicationFactory(patient=ana, until_on=A_NIGHT.date(), ended_because="Hb 130", words="with the treatment")
    MedicationFactory(patient=ana, name="Paracetamol", atc="", kind="other", times=None, period="")
    bundle = everything(nurse_client, ana)
    assert faults(bundle) == []
    capabilities = nurse_client.get("/api/v1/fhir/metadata").json()
    # The list of versions in the schema's file ends before the one that the file is of.
    assert capabilities["fhirVersion"] == "4.0.1"
    assert faults(capabilities | {"fhirVersion": "3.5.0"}) == []
    for entry in bundle["entry"]:
        kind = entry["resource"]["resourceType"]
        R4B.get_fhir_model_class(kind).model_validate(entry["resource"])
        read = nurse_client.get(f"/api/v1/fhir/{kind}/{entry['resource']['id']}")
        assert read.json() == entry["resource"]
    told = ("Patient", "Procedure", "Observation", "MedicationStatement")
    assert [kind for kind in told if not of_kind(bundle, kind)] == []


@pytest.mark.parametrize(
    "change",
    [
        lambda each: each | {"status": "done"},
        lambda each: {name: value for name, value in each.items() if name != "code"},
        lambda each: each | {"effectiveDateTime": "2026-03-02 21:00"},
        lambda each: each | {"mood": "good"},
    ],
)
def test_the_schema_refuses_what_is_not_fhir(
    change: Any, nurse_client: Client, ana: Patient, urea: BloodResult, faults: Faults
) -> None:
    observation = of_kind(everything(nurse_client, ana), "Observation")[0]
    assert faults(observation) == []
    assert faults(change(observation))


def test_a_blood_result_with_its_code_unit_and_treatment(nurse_client: Client, ana: Patient, urea: BloodResult) -> None:
    told = nurse_client.get(f"/api/v1/fhir/Observation/blood-{urea.pk}").json()
    loinc, timed = told["code"]["coding"]
    assert loinc == {"system": "http://loinc.org", "code": "22664-7"}, "the name of a LOINC code is LOINC's"
    assert (timed["code"], timed["display"]) == ("urea.pre", "Urea, before a treatment")
    assert told["valueQuantity"] == {
        "value": 22.5,
        "unit": "mmol/L",
        "system": "http://unitsofmeasure.org",
        "code": "mmol/L",
    }
    assert told["partOf"] == [{"reference": f"Procedure/{urea.treatment_id}"}]
    assert (told["interpretation"][0]["coding"][0]["code"], told["referenceRange"]) == ("H", [{"text": "2.5-7.8"}])


def test_a_treatment_with_its_weights_pressures_and_numbers(
    nurse_client: Client, ana: Patient, night: TreatmentRecord
) -> None:
    bundle = everything(nurse_client, ana)
    (procedure,) = of_kind(bundle, "Procedure")
    assert procedure["performedPeriod"]["start"] == A_NIGHT.isoformat()
    by_code = {each["code"]["coding"][0]["code"]: each for each in of_kind(bundle, "Observation")}
    assert by_code["8347-7"]["valueQuantity"]["value"] == 74.5
    assert [each["code"] for each in by_code["8347-7"]["code"]["coding"]] == ["8347-7", "29463-7"], "a vital sign"
    (standing,) = [
        each["component"] for each in of_kind(bundle, "Observation") if each["id"].endswith("post-standing-systolic")
    ]
    assert [(each["code"]["coding"][0]["code"], each["valueQuantity"]["value"]) for each in standing] == [
        ("8460-8", 120),
        ("8454-1", 70),
    ]
    assert by_code["uf_rate"]["valueQuantity"]["code"] == "mL/kg/h"


def test_a_computed_number_says_how_far_it_can_be_relied_on_and_where_it_lies(
    nurse_client: Client, ana: Patient, night: TreatmentRecord, faults: Faults
) -> None:
    kept = night.computed
    kept.numbers["uf_rate"] |= {"interval": [7.5, 9.0, 0.9], "doubts": [{"code": "sample_was_late"}]}
    kept.save()
    told = nurse_client.get(f"/api/v1/fhir/Observation/{night.pk}-uf-rate").json()
    assert faults(told) == []
    R4B.get_fhir_model_class("Observation").model_validate(told)
    standing, interval = told["component"]
    codes = [each["code"] for each in standing["valueCodeableConcept"]["coding"]]
    assert codes == ["doubtful", "sample-was-late"]
    ends = [(interval["valueRange"][end]["value"], interval["valueRange"][end]["code"]) for end in ("low", "high")]
    assert (ends, interval["code"]["coding"][0]["code"]) == ([(7.5, "mL/kg/h"), (9.0, "mL/kg/h")], "interval-90")


def test_a_number_that_is_not_known_says_why_by_the_reasons_of_fhir_and_by_ours(
    nurse_client: Client, ana: Patient, night: TreatmentRecord, faults: Faults
) -> None:
    night.ended_at = None
    TreatmentRecord.objects.filter(pk=night.pk).update(ended_at=None)
    compute(TreatmentRecord.objects.get(pk=night.pk), at=timezone.now())
    found = {each["id"]: each for each in of_kind(everything(nurse_client, ana), "Observation")}
    undrawn, unended = (found[f"{night.pk}-{name}"] for name in ("single-pool-ktv", "uf-rate"))
    for told, code, own, words in (
        (undrawn, "not-performed", "no-urea-pair", "no urea before and after belongs to this treatment"),
        (unended, "unknown", "not-given", "treatment length is not given"),
    ):
        absent = told["dataAbsentReason"]
        assert [each["code"] for each in absent["coding"]] == [code, own]
        assert absent["text"] == words
        assert "valueQuantity" not in told
        assert told["component"][0]["valueCodeableConcept"]["coding"][0]["code"] == "unknown"
        assert faults(told) == []


def test_no_two_codes_of_a_treatment_have_the_same_words(
    nurse_client: Client, ana: Patient, night: TreatmentRecord
) -> None:
    """The fluid that was noted and the one that is believed are two."""
    codes: dict[str, set[str]] = {}
    for each in of_kind(everything(nurse_client, ana), "Observation"):
        codes.setdefault(each["code"]["text"], set()).add(each["code"]["coding"][0]["code"])
    assert {words: found for words, found in codes.items() if len(found) > 1} == {}
    assert len(codes) > 20


def test_a_reading_with_all_its_numbers_at_its_own_time(
    nurse_client: Client, ana: Patient, night: TreatmentRecord
) -> None:
    reading = night.reading_set.earliest("at")
    given = {key: field.likely for key, field in READING.items()}
    type(reading).objects.filter(pk=reading.pk).update(**given)
    told = [
        each
        for each in of_kind(everything(nurse_client, ana), "Observation")
        if each["effectiveDateTime"] == reading.at.isoformat()
    ]
    assert [each["code"]["coding"][0]["code"] for each in told] == ["85354-9", "reading"]
    values = {
        part["code"]["coding"][0]["code"]: (part["valueQuantity"]["value"], part["valueQuantity"]["code"])
        for each in told
        for part in each["component"]
    }
    assert values == {field.loinc or key: (given[key], field.ucum_code) for key, field in READING.items()}
    assert (values["8867-4"], values["8480-6"]) == ((74, "/min"), (132, "mm[Hg]"))
    assert values["dialysate_temperature_c"] == (36.5, "Cel")
    systems = {part["code"]["coding"][0]["system"].rpartition("/")[2] for each in told for part in each["component"]}
    assert systems == {"loinc.org", "field"}


def test_search_by_kind_and_category(nurse_client: Client, ana: Patient, urea: BloodResult) -> None:
    answer = nurse_client.get(f"/api/v1/fhir/Observation?patient=Patient/{ana.pk}&category=laboratory").json()
    assert [each["resource"]["id"] for each in answer["entry"]] == [f"blood-{urea.pk}"]


def test_pages_follow_each_other_and_hold_everything_once(
    nurse_client: Client, ana: Patient, urea: BloodResult
) -> None:
    whole = [each["fullUrl"] for each in everything(nurse_client, ana)["entry"]]
    found, where = [], f"/api/v1/fhir/Patient/{ana.pk}/$everything?_count=7"
    while where:
        bundle = nurse_client.get(where).json()
        found += [each["fullUrl"] for each in bundle["entry"]]
        where = next((link["url"] for link in bundle["link"] if link["relation"] == "next"), "")
    assert found == whole
    assert len(set(found)) == len(found)


def test_only_what_changed_since(nurse_client: Client, ana: Patient, urea: BloodResult) -> None:
    later = (timezone.now() + timedelta(days=1)).isoformat().replace("+", "%2B")
    assert [
        each["resource"]["resourceType"] for each in everything(nurse_client, ana, f"?_since={later}")["entry"]
    ] == ["Patient"]


def test_nobody_sees_more_here_than_elsewhere(
    ana_client: Client, ben_client: Client, nurse_client: Client, ana: Patient, urea: BloodResult
) -> None:
    assert everything(ana_client, ana)["entry"]
    for where in (f"Patient/{ana.pk}", f"Patient/{ana.pk}/$everything", f"Observation/blood-{urea.pk}"):
        refused = ben_client.get(f"/api/v1/fhir/{where}")
        assert (refused.status_code, refused.json()["resourceType"]) == (404, "OperationOutcome")
        assert Client().get(f"/api/v1/fhir/{where}").status_code == 401
    everything(nurse_client, ana)
    assert ours(ReadLog).filter(patient_id=ana.pk, path__contains="$everything").count() == 1


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("_count=many", "_count must be a whole number up to 1000; “many” was given."),
        ("_since=yesterday", "_since must be a time with its zone; “yesterday” was given."),
        ("_sort=date", "$everything knows no “_sort”; known: _since, _type, _count."),
        (
            "_type=Observation,Wish",
            "_type: “Wish” is none of Patient, Device, Procedure, Observation, MedicationStatement.",
        ),
    ],
)
def test_refusals_are_outcomes_with_words(
    query: str, words: str, nurse_client: Client, ana: Patient, faults: Faults
) -> None:
    answer = nurse_client.get(f"/api/v1/fhir/Patient/{ana.pk}/$everything?{query}")
    assert (answer.status_code, faults(answer.json())) == (400, [])
    assert words in answer.json()["issue"][0]["diagnostics"]


def test_queries_do_not_grow_with_the_history(nurse_client: Client, ana: Patient, urea: BloodResult) -> None:
    with CaptureQueriesContext(connection) as few:
        everything(nurse_client, ana, "?_count=1000")
    for days in range(1, 12):
        compute(record_night(ana, A_NIGHT + timedelta(days=days), **NUMBERS), at=timezone.now())
    with CaptureQueriesContext(connection) as many:
        everything(nurse_client, ana, "?_count=1000")
    assert len(many) == len(few)
