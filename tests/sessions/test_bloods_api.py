"""Blood results over HTTP: in canonical units, tied to the treatment they were drawn at."""

from __future__ import annotations

import json
import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from alerts.models import PendingEvaluation
from homedialysis.accounts.models import User
from sessions.facts import plausible
from sessions.models import BloodResult, Patient
from sessions.services.bloods import enter_bloods, treatment_of_sample
from tests.crowd import ours
from tests.factories import A_NIGHT, BloodFactory, night_body, record_night
from tests.over_http import JSON, STANDING, faults, put

pytestmark = pytest.mark.django_db

BLOODS = "/api/v1/bloods/"
END = A_NIGHT + timedelta(hours=4)
UREA = "22664-7"


def row(patient: Patient, **changes: Any) -> dict[str, Any]:
    usual = {
        "patient": str(patient.pk),
        "analyte": UREA,
        "value": 22.4,
        "drawn_at": A_NIGHT.isoformat(),
        "timing": "pre",
    }
    return usual | changes


def enter(client: Client, *rows: Any) -> Any:
    return client.post(BLOODS, json.dumps({"results": list(rows)}), content_type=JSON)


def test_results_are_kept_and_told_with_their_unit(nurse_client: Client, nurse: User, ana: Patient) -> None:
    answer = enter(nurse_client, row(ana), row(ana, analyte="718-7", value=112))
    assert answer.status_code == 201
    assert [(each["name"], each["value"], each["unit"]) for each in answer.json()] == [
        ("Urea", 22.4, "mmol/L"),
        ("Haemoglobin", 112, "g/L"),
    ]
    assert {result.entered_by for result in ours(BloodResult).all()} == {nurse}


def test_a_pair_is_tied_to_its_night_which_is_evaluated_once(nurse_client: Client, ana: Patient) -> None:
    night = record_night(ana)
    ours(PendingEvaluation).all().delete()
    after = row(ana, value=7.1, timing="post", post_method="slow_flow", drawn_at=END.isoformat())
    answer = enter(nurse_client, row(ana), after)
    assert [each["treatment"] for each in answer.json()] == [str(night.pk)] * 2
    assert ours(PendingEvaluation).get().record == night


def test_results_that_came_before_the_record_are_tied_when_it_comes(
    nurse_client: Client, ana_client: Client, ana: Patient, ben: Patient
) -> None:
    after = row(ana, value=7.1, timing="post", post_method="slow_flow", drawn_at=END.isoformat())
    enter(nurse_client, row(ana), after, row(ana, timing="apart", analyte="718-7", value=110))
    enter(nurse_client, row(ben))
    record_id = uuid.uuid4()
    put(ana_client, record_id, night_body(status="open", ended_at=None))
    tied = ours(BloodResult).exclude(treatment=None)
    assert list(tied.values_list("timing", "treatment")) == [("pre", record_id)]
    put(ana_client, record_id, night_body(), STANDING)
    assert sorted(tied.values_list("timing", "treatment")) == [("post", record_id), ("pre", record_id)]


def test_a_start_corrected_to_another_day_lets_go_of_them(
    nurse_client: Client, ana: Patient, ana_client: Client
) -> None:
    record = record_night(ana)
    enter(nurse_client, row(ana))
    put(ana_client, record.pk, night_body(A_NIGHT + timedelta(days=3)), STANDING)
    assert ours(BloodResult).get().treatment is None


@pytest.mark.parametrize(
    ("timing", "minutes", "belongs"),
    [
        ("pre", -360, True),
        ("pre", -361, False),
        ("pre", 30, True),
        ("pre", 31, False),
        ("post", 240 - 30, True),
        ("post", 240 - 31, False),
        ("post", 240 + 360, True),
        ("post", 240 + 361, False),
        ("apart", 0, False),
    ],
)
def test_which_treatment_a_sample_belongs_to(ana: Patient, timing: str, minutes: int, belongs: bool) -> None:
    night = record_night(ana)
    found = treatment_of_sample(ana, A_NIGHT + timedelta(minutes=minutes), timing)
    assert found == (night if belongs else None)


def test_of_two_treatments_the_nearer_one_is_meant(ana: Patient, ben: Patient) -> None:
    first = record_night(ana, A_NIGHT, minutes=60)
    second = record_night(ana, A_NIGHT + timedelta(hours=2), minutes=60)
    record_night(ben, A_NIGHT + timedelta(hours=1))
    between = A_NIGHT + timedelta(minutes=90)
    assert treatment_of_sample(ana, between, "pre") == second
    assert treatment_of_sample(ana, between, "post") == first


def test_a_result_entered_again_takes_the_old_ones_place_and_the_old_one_is_kept(
    nurse_client: Client, ana: Patient
) -> None:
    enter(nurse_client, row(ana))
    for named in ({}, {"corrects": 21.0}):
        refused = enter(nurse_client, row(ana, value=24.0, **named), row(ana, analyte="2823-3", value=5.0))
        assert refused.status_code == 409
        (fault,) = refused.json()["errors"]
        assert fault["field"] == "results[0].corrects"
        assert "22.4 mmol/L stands, entered by Nurse Kim" in fault["message"]
    assert [result.value for result in ours(BloodResult)] == [22.4]
    assert enter(nurse_client, row(ana)).status_code == 201  # the same again is no correction
    assert enter(nurse_client, row(ana, value=24.0, corrects=22.4)).status_code == 201
    result = ours(BloodResult).get()
    assert result.value == 24.0
    assert [event.value for event in result.events.order_by("pgh_id")] == [22.4, 24.0]  # type: ignore[attr-defined]


def test_a_method_of_the_second_sample_not_told_is_not_known(nurse_client: Client, ana: Patient) -> None:
    enter(nurse_client, row(ana, timing="post", value=7.0))
    assert ours(BloodResult).get().post_method == "neither"


TOMORROW = (timezone.now() + timedelta(days=1)).isoformat()


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"value": None}, "value"),
        ({"value": "22"}, "value"),
        ({"value": True}, "value"),
        ({"value": 121}, "value"),
        ({"analyte": "99999-9"}, "analyte"),
        ({"timing": "later"}, "timing"),
        ({"post_method": "slow_flow"}, "post_method"),
        ({"drawn_at": TOMORROW}, "drawn_at"),
        ({"drawn_at": "0001-01-01T00:00:00Z"}, "drawn_at"),
        ({"drawn_at": "2026-03-02T21:30:00"}, "drawn_at"),
        ({"strange": 1}, "strange"),
        ({"patient": "x"}, "patient"),
    ],
)
def test_what_cannot_be_is_refused(nurse_client: Client, ana: Patient, changes: dict[str, Any], field: str) -> None:
    assert set(faults(enter(nurse_client, row(ana), row(ana) | changes))) == {f"results[1].{field}"}
    assert not ours(BloodResult).exists()


@pytest.mark.parametrize("literal", ["1e999", "1" + "0" * 400])
def test_a_number_beyond_all_bounds_is_refused(nurse_client: Client, ana: Patient, literal: str) -> None:
    body = json.dumps({"results": [row(ana, value="HERE")]}).replace('"HERE"', literal)
    answer = nurse_client.post(BLOODS, body, content_type=JSON)
    assert set(faults(answer)) == {"results[0].value"}


@pytest.mark.parametrize("analyte", plausible.BLOOD)
def test_each_analyte_has_its_limits(nurse_client: Client, ana: Patient, analyte: str) -> None:
    low, high = plausible.BLOOD[analyte].hard
    found = faults(enter(nurse_client, *(row(ana, analyte=analyte, value=value) for value in (low / 2, high * 2))))
    assert [fault["message"] for fault in found.values()] == [
        plausible.BLOOD[analyte].refusal(low / 2),
        plausible.BLOOD[analyte].refusal(high * 2),
    ]


def test_one_patient_at_a_time(nurse_client: Client, ana: Patient, ben: Patient) -> None:
    assert set(faults(enter(nurse_client, row(ana), row(ben)))) == {"results"}
    assert not ours(BloodResult).exists()


@pytest.mark.parametrize("results", [[], None, "x", [3]])
def test_a_list_of_results_is_needed(nurse_client: Client, ana: Patient, results: Any) -> None:
    answer = nurse_client.post(BLOODS, {"results": results}, content_type=JSON)
    assert answer.status_code == 400


def test_a_patient_reads_their_own_newest_first(ana_client: Client, ana: Patient, ben: Patient) -> None:
    for days in (0, 2, 1):
        BloodFactory(patient=ana, value=20 + days, drawn_at=A_NIGHT + timedelta(days=days))
    BloodFactory(patient=ben)
    body = ana_client.get(BLOODS).json()
    assert ([each["value"] for each in body["results"]], body["count"]) == ([22, 21, 20], 3)


@pytest.mark.parametrize("count", [1, 3])
def test_the_list_asks_a_fixed_number_of_times(
    ana_client: Client, ana: Patient, count: int, django_assert_num_queries: Any
) -> None:
    for days in range(count):
        BloodFactory(patient=ana, drawn_at=A_NIGHT + timedelta(days=days))
    ana_client.get(BLOODS)
    with django_assert_num_queries(12):  # session, person, unit, six of the throttle's cache, patient, count, rows
        assert len(ana_client.get(BLOODS).json()["results"]) == count


def test_entering_nothing_tells_nobody(nurse: User) -> None:
    assert enter_bloods(results=[], by=nurse, at=datetime(2026, 3, 2, tzinfo=UTC)) == []
    assert not ours(PendingEvaluation).exists()
