"""The answer to a night that was handed over: its numbers beside the plan and the last ten nights."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from alerts.services import acting
from dosing.services.night.computing import compute
from homedialysis.accounts.models import User
from sessions.models import Patient, Prescription, TreatmentRecord
from tests.alerts.builders import again, alerts_of, evaluated
from tests.factories import A_NIGHT, record_night

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


@pytest.fixture(autouse=True)
def prescribed(anas_prescription: Prescription) -> Prescription:
    return anas_prescription


def answer(client: Client, record: TreatmentRecord) -> dict[str, Any]:
    sent = client.get(reverse("dosing:answer", args=[record.pk]))
    assert sent.status_code == 200
    assert sent.headers["Cache-Control"] == "no-store"
    body: dict[str, Any] = sent.json()
    return body | {"lines": {line["key"]: line for line in body["lines"]}}


def test_before_the_worker_came_the_answer_says_that_nothing_is_computed(ana: Patient, ana_client: Client) -> None:
    told = answer(ana_client, record_night(ana))
    assert (told["ready"], told["look"]) == (False, "not_judged")
    assert told["lines"]["uf_rate"]["value"] is None
    assert told["lines"]["uf_rate"]["why"] == "not computed yet"


def test_the_numbers_stand_beside_the_plan(ana: Patient, ana_client: Client) -> None:
    record = record_night(ana, minutes=230, planned_uf_l=2.5, planned_minutes=250)
    compute(record, at=A_NIGHT)
    lines = answer(ana_client, record)["lines"]
    assert (lines["uf_volume"]["value"], lines["uf_volume"]["planned"]) == (2.3, 2.5)
    assert (lines["minutes"]["value"], lines["minutes"]["planned"]) == (230, 250)
    assert lines["uf_rate"]["planned"] == 10  # the limit of the prescription
    assert (lines["off_target"]["value"], lines["off_target"]["planned"]) == (0, 0)
    assert lines["venous_median"]["planned"] is None
    assert lines["standard_ktv"]["why"] == "no urea before and after belongs to this treatment"


def test_a_pressure_noted_with_a_drop_is_the_lowest_of_the_night(ana: Patient, ana_client: Client) -> None:
    drop = {"at": A_NIGHT + timedelta(minutes=50), "kind": "hypotension", "note": "", "systolic": 84, "diastolic": 46}
    record = record_night(ana, pre_systolic=150, post_systolic=148, readings=0, events=[drop])
    compute(record, at=A_NIGHT)
    assert answer(ana_client, record)["lines"]["lowest_systolic"]["value"] == 84


def test_a_drop_without_a_figure_is_held_against_no_night_before(ana: Patient, ana_client: Client) -> None:
    """126 "as in the last nights" would reassure of a low pressure that nobody measured."""
    compute(record_night(ana, A_NIGHT - DAY, pre_systolic=126, readings=0), at=A_NIGHT)
    drop = {"at": A_NIGHT + timedelta(minutes=50), "kind": "hypotension", "note": ""}
    ended = {"blood_return": "none", "blood_lost_ml": 200, "early_reason": "needle"}
    record = record_night(ana, pre_systolic=126, post_systolic=148, readings=0, events=[drop], **ended)
    compute(record, at=A_NIGHT)
    told = answer(ana_client, record)
    lowest = told["lines"]["lowest_systolic"]
    assert (lowest["value"], lowest["standing"], lowest["before"]) == (126, "doubtful", None)
    assert lowest["because"] == "low pressures noted without a figure: 1; the lowest may have been lower"
    assert [each["kind"] for each in told["noted"]["events"]] == ["hypotension"]
    assert {name: told["noted"][name] for name in ended} == ended


@pytest.mark.parametrize(("minutes", "standing"), [(60, "sure"), (61, "doubtful")])
def test_a_reading_near_a_drop_is_its_figure(ana: Patient, ana_client: Client, minutes: int, standing: str) -> None:
    drop = {"at": A_NIGHT + timedelta(minutes=50), "kind": "hypotension", "note": ""}
    read = {"at": A_NIGHT + timedelta(minutes=minutes), "systolic": 88, "diastolic": 50}
    record = record_night(ana, pre_systolic=126, readings=[read], events=[drop])
    compute(record, at=A_NIGHT)
    assert answer(ana_client, record)["lines"]["lowest_systolic"]["standing"] == standing


def test_without_a_plan_of_the_evening_the_prescription_is_the_plan(ana: Patient, ana_client: Client) -> None:
    lines = answer(ana_client, record_night(ana))["lines"]
    assert (lines["minutes"]["planned"], lines["uf_volume"]["planned"]) == (240, None)


def test_the_last_ten_nights_before_it_and_no_other(ana: Patient, ben: Patient, ana_client: Client) -> None:
    for index in range(14):  # the first two are older than ten, the last one is later
        compute(record_night(ana, A_NIGHT + index * DAY, uf_removed_l=round(1 + index / 10, 1)), at=A_NIGHT)
    compute(record_night(ana, A_NIGHT + 11.5 * DAY, status="open", uf_removed_l=9), at=A_NIGHT)
    compute(record_night(ben, A_NIGHT + 5 * DAY, uf_removed_l=8), at=A_NIGHT)
    twelfth = TreatmentRecord.objects.get(patient=ana, started_at=A_NIGHT + 12 * DAY)
    before = answer(ana_client, twelfth)["lines"]["uf_volume"]["before"]
    assert before == {"nights": 10, "low": 1.2, "middle": pytest.approx(1.65), "high": 2.1}


def test_a_first_night_has_nothing_to_be_compared_with(ana: Patient, ana_client: Client) -> None:
    record = record_night(ana)
    compute(record, at=A_NIGHT)
    assert answer(ana_client, record)["lines"]["uf_volume"]["before"] is None


def test_what_the_unit_makes_of_it(ana: Patient, ana_client: Client, nurse: User) -> None:
    calm, fast = evaluated(ana, {}, {"uf_removed_l": 3.6})
    assert answer(ana_client, calm)["look"] == "nothing"
    assert answer(ana_client, fast)["look"] == "on_the_list"
    (alert,) = (each for each in alerts_of("uf_rate") if each.patient == ana)
    acting.see(alert=alert, by=nurse, at=A_NIGHT + 3 * DAY)
    assert answer(ana_client, fast)["look"] == "seen"
    (faster,) = evaluated(ana, {"uf_removed_l": 3.8}, first=2)
    assert answer(ana_client, faster)["look"] == "on_the_list"


def test_a_correction_takes_the_night_off_the_list(ana: Patient, ana_client: Client) -> None:
    (record,) = evaluated(ana, {"uf_removed_l": 3.6})
    again(record, uf_removed_l=2.3)
    assert answer(ana_client, record)["look"] == "nothing"
