"""Computed numbers for programs: the same that the pages show, with interval, standing, what went in and from where."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from dosing.models import PatientMonth, RecordNumbers
from dosing.science import SCIENCE_VERSION
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.computing import compute_month
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.night.computing import compute
from sessions.models import Patient, Prescription, TreatmentRecord
from tests.factories import BloodFactory, record_night

pytestmark = pytest.mark.django_db
MARCH = date(2026, 3, 1)


@pytest.fixture
def night(ana: Patient, anas_prescription: Prescription) -> TreatmentRecord:
    record = record_night(ana)
    for timing, value, method in (("pre", 25, ""), ("post", 8, "slow_flow")):
        at = record.started_at if timing == "pre" else record.ended_at
        BloodFactory(patient=ana, treatment=record, value=value, timing=timing, post_method=method, drawn_at=at)
    compute(record, at=timezone.now())
    return record


def of_night(client: Client, record: TreatmentRecord) -> dict[str, Any]:
    answer = client.get(f"/api/v1/treatments/{record.pk}/numbers/")
    assert answer.status_code == 200
    found: dict[str, Any] = answer.json()
    return found


def by_key(body: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {each["key"]: each for each in body["numbers"]}


def test_every_number_of_a_treatment_is_told_with_all_that_its_page_shows(
    ana_client: Client, night: TreatmentRecord
) -> None:
    body = of_night(ana_client, night)
    assert (body["record"], body["revision"], body["ready"]) == (str(night.pk), 1, True)
    assert body["science_version"] == SCIENCE_VERSION
    numbers = by_key(body)
    assert list(numbers) == list(NIGHT_NUMBERS)
    rate = numbers["uf_rate"]
    assert (rate["value"], rate["unit"], rate["ucum"], rate["shown"]) == (
        pytest.approx(2300 / 4 / 70),
        "mL/kg/h",
        "mL/kg/h",
        "8.2",
    )
    assert rate["equation"] == "60000 · UF / (t · W)"
    assert [(each["symbol"], each["value"], each["unit"]) for each in rate["inputs"] if each["symbol"]] == [
        ("t", 240, "min"), ("UF", 2.3, "L"), ("W", 70, "kg"),
    ]  # fmt: skip
    assert all("the record of this treatment" in each["from"] for each in rate["inputs"])
    assert numbers["delivered"]["value"] == 100, "a share is told as it is read"
    dose = numbers["single_pool_ktv"]
    assert [each["symbol"] for each in dose["steps"]] == ["R", "GFAC"]
    assert "blood drawn on" in next(each["from"] for each in dose["inputs"] if each["symbol"] == "Cpre")
    flow, venous = numbers["venous_median"]["inputs"]
    assert (venous["symbol"], venous["value"], flow["value"]) == ("Pv", [130, 130, 130], [300, 300, 300])


def test_standing_interval_and_reasons_are_told(ana_client: Client, night: TreatmentRecord) -> None:
    kept = RecordNumbers.objects.get(record=night)
    kept.numbers["single_pool_ktv"] |= {"interval": [1.1, 1.6, 0.9], "doubts": [{"code": "sample_was_late"}]}
    kept.numbers["uf_rate"] |= {"doubts": []}
    kept.save()
    numbers = by_key(of_night(ana_client, night))
    dose, rate, bleeding = numbers["single_pool_ktv"], numbers["uf_rate"], numbers["bleeding"]
    assert dose["interval"] == {"low": 1.1, "high": 1.6, "level": 0.9}
    assert (dose["standing"], [each["code"] for each in dose["doubts"]]) == ("doubtful", ["sample_was_late"])
    assert dose["doubts"][0]["words"]
    assert (rate["standing"], rate["interval"], rate["why"]) == ("sure", None, None)
    assert (bleeding["standing"], bleeding["value"], bleeding["why"]["code"]) == ("unknown", None, "not_noted")


def test_a_treatment_not_computed_yet_says_so_of_every_number(ana_client: Client, ana: Patient) -> None:
    body = of_night(ana_client, record_night(ana))
    assert (body["ready"], body["computed_at"]) == (False, None)
    assert {each["why"]["code"] for each in body["numbers"]} == {"not_computed"}


def test_an_answer_that_has_not_changed_is_not_sent_again(ana_client: Client, night: TreatmentRecord) -> None:
    path = f"/api/v1/treatments/{night.pk}/numbers/"
    first = ana_client.get(path)
    assert first.headers["Last-Modified"]
    assert ana_client.get(path, headers={"if-none-match": first.headers["ETag"]}).status_code == 304
    TreatmentRecord.objects.filter(pk=night.pk).update(uf_removed_l=2.8, revision=2)
    compute(TreatmentRecord.objects.get(pk=night.pk), at=timezone.now())
    assert ana_client.get(path, headers={"if-none-match": first.headers["ETag"]}).status_code == 200


def test_every_number_of_a_month_is_told_beside_its_range(
    nurse_client: Client, ana: Patient, night: TreatmentRecord
) -> None:
    compute_month(ana, MARCH, at=timezone.now())
    body = nurse_client.get(f"/api/v1/patients/{ana.pk}/months/2026-03/").json()
    assert (body["month"], body["ready"], body["science_version"]) == ("2026-03", True, SCIENCE_VERSION)
    numbers = by_key(body)
    assert list(numbers) == list(MONTH_NUMBERS)
    assert (numbers["pre_systolic_mean"]["value"], numbers["pre_systolic_mean"]["ucum"]) == (140, "mm[Hg]")
    assert numbers["pre_systolic_mean"]["range"] == "100 to 160 mmHg"
    assert numbers["water"]["standing"] == "unknown"
    PatientMonth.objects.filter(patient=ana).update(stale=True)
    assert nurse_client.get(f"/api/v1/patients/{ana.pk}/months/2026-03/").json()["ready"] is False


@pytest.mark.parametrize("month", ["2026-13", "march", "2026", "2026-3"])
def test_what_is_no_month_is_refused_by_name(month: str, nurse_client: Client, ana: Patient) -> None:
    answer = nurse_client.get(f"/api/v1/patients/{ana.pk}/months/{month}/")
    assert answer.status_code == 400
    assert answer.json()["errors"] == [
        {"field": "month", "message": f"“{month}” is no month; write one such as 2026-03."}
    ]


def test_a_month_of_which_nothing_is_computed_is_not_found(nurse_client: Client, ana: Patient) -> None:
    answer = nurse_client.get(f"/api/v1/patients/{ana.pk}/months/1999-01/")
    assert (answer.status_code, answer.json()["detail"]) == (
        404,
        "Nothing is computed of this month for this patient.",
    )
