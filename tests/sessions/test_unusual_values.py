"""What is unusual but possible is kept and marked, and says whether the person confirmed it."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest
from django.test import Client

from sessions.facts import plausible
from sessions.facts.fields import LISTS, TREATMENT
from sessions.models import Patient, Prescription, TreatmentRecord
from tests.crowd import ours
from tests.factories import A_NIGHT, night_body, record_night
from tests.over_http import STANDING, add_readings, put

pytestmark = pytest.mark.django_db


def at(minutes: int) -> str:
    return (A_NIGHT + timedelta(minutes=minutes)).isoformat()


def test_an_unusual_number_is_kept_and_marked(ana_client: Client) -> None:
    answer = put(ana_client, uuid.uuid4(), night_body(pre_weight_kg=165.5))
    assert answer.status_code == 201
    mark = {
        "field": "pre_weight_kg",
        "given": 165.5,
        "limit": "usually between 40 and 160 kg",
        "confirmed": False,
    }
    assert answer.json()["marks"] == [mark]
    record = ours(TreatmentRecord).get()
    assert (record.pre_weight_kg, record.marks) == (165.5, [mark])


def test_a_confirmed_one_says_so(ana_client: Client) -> None:
    rows = [{"at": at(60)}, {"at": at(120), "venous_mmhg": 300}]
    body = night_body(readings=rows, confirmed=["readings[1].venous_mmhg"])
    marks = put(ana_client, uuid.uuid4(), body).json()["marks"]
    assert [(mark["field"], mark["confirmed"]) for mark in marks] == [("readings[1].venous_mmhg", True)]


def test_confirming_what_is_usual_marks_nothing(ana_client: Client) -> None:
    body = night_body(confirmed=["pre_weight_kg", "readings[99].pulse", "no such thing"])
    assert put(ana_client, uuid.uuid4(), body).json()["marks"] == []


def test_a_confirmation_follows_its_reading_when_rows_are_put_in_order_of_time(ana_client: Client) -> None:
    rows = [
        {"at": at(180), "venous_mmhg": 310},
        {"at": at(60), "venous_mmhg": 300},
        {"at": at(120), "venous_mmhg": 305},
    ]
    body = night_body(readings=rows, confirmed=["readings[0].venous_mmhg"])
    answer = put(ana_client, uuid.uuid4(), body).json()
    assert [(mark["given"], mark["confirmed"]) for mark in answer["marks"]] == [
        (300, False),
        (305, False),
        (310, True),
    ]


def test_a_confirmation_follows_its_reading_when_a_late_one_comes_before_it(ana_client: Client) -> None:
    record_id = uuid.uuid4()
    rows = [{"at": at(60), "pulse": 70}, {"at": at(180), "venous_mmhg": 310}]
    put(ana_client, record_id, night_body(readings=rows, confirmed=["readings[1].venous_mmhg"]))
    answer = add_readings(ana_client, record_id, {"at": at(120), "venous_mmhg": 305})
    assert [(mark["field"], mark["given"], mark["confirmed"]) for mark in answer.json()["marks"]] == [
        ("readings[1].venous_mmhg", 305, False),
        ("readings[2].venous_mmhg", 310, True),
    ]


def test_marks_are_made_anew_with_each_version(ana_client: Client) -> None:
    record_id = uuid.uuid4()
    put(ana_client, record_id, night_body(pre_weight_kg=165))
    assert put(ana_client, record_id, night_body(), STANDING).json()["marks"] == []


def test_the_limits_that_are_asked_about_are_told(ana_client: Client) -> None:
    answer = ana_client.get("/api/v1/limits/")
    assert answer.status_code == 200
    fields = answer.json()["fields"]
    lists = {f"{name}.{field}" for name, row in LISTS.items() for field in row}
    around = {f"water.{kind}" for kind in plausible.WATER} | {"supplies.count"}
    assert set(fields) == set(TREATMENT) | lists | around
    assert fields["pre_weight_kg"] == {
        "label": "Weight before",
        "short": "Weight",
        "unit": "kg",
        "hard": [20, 300],
        "usual": [40, 160],
        "step": 0.1,
        "decimals": 1,
    }


@pytest.mark.parametrize(
    ("weight", "asked"), [(155, True), (70.5, False), (77.1, True), (62.9, True), (77, False), (74, False)], ids=str
)
def test_a_weight_is_held_against_the_target_and_the_last_one(
    ana_client: Client, ana: Patient, anas_prescription: Prescription, weight: float, asked: bool
) -> None:
    """155 is a usual weight of somebody: pounds, or a slip, where the target is 70 kg."""
    record_night(ana, A_NIGHT - timedelta(days=2), post_weight_kg=70.2)
    record = record_night(ana, pre_weight_kg=weight)
    marks = [(mark["field"], mark["limit"]) for mark in record.marks if mark["field"] == "pre_weight_kg"]
    assert marks == ([("pre_weight_kg", "usually between 63.2 and 77 kg")] if asked else [])
    limits = ana_client.get("/api/v1/bedside/").json()["limits"]["pre_weight_kg"]
    assert limits["hard"] == [20, 300]
    assert (limits["usual"][0] <= weight <= limits["usual"][1]) is not asked


def test_who_weighs_much_is_not_asked_every_night(ana: Patient, anas_prescription: Prescription) -> None:
    Prescription.objects.filter(pk=anas_prescription.pk).update(target_weight_kg=190)
    assert record_night(ana, pre_weight_kg=193, post_weight_kg=190).marks == []


def test_a_wrong_last_weight_does_not_carry_its_fault_on(ana: Patient, anas_prescription: Prescription) -> None:
    record_night(ana, A_NIGHT - timedelta(days=2), post_weight_kg=155)
    assert record_night(ana, pre_weight_kg=72).marks == []


FAR = [
    ({"pre_weight_kg": 72.3, "post_weight_kg": 72.4}, ["usually at most 72.3 kg, as weight before"]),
    ({"pre_weight_kg": 72.3, "post_weight_kg": 72.3}, []),
    (
        {"readings": [{"at": at(60), "uf_volume_l": 0.7}, {"at": at(90), "uf_volume_l": 0.5}]},
        ["usually at least 0.7 L, as read before"],
    ),
    ({"readings": [{"at": at(60), "uf_volume_l": 0.7}, {"at": at(90), "uf_volume_l": 0.7}]}, []),
    ({"medicines": [{"at": at(1), "name": "⟦heparin⟧", "amount": 20000, "unit": "⟦units⟧"}]}, ["usually between"]),
    ({"medicines": [{"at": at(1), "name": "⟦heparin⟧", "amount": 2 * 2000, "unit": "⟦units⟧"}]}, []),
    ({"medicines": [{"at": at(1), "name": "Iron", "amount": 100, "unit": "mg"}]}, []),
]


@pytest.mark.parametrize(("changes", "limits"), FAR)
def test_a_number_far_from_what_it_is_held_against_is_marked(
    ana: Patient, anas_prescription: Prescription, changes: dict[str, object], limits: list[str]
) -> None:
    """Ten times the heparin, a weight that rose and a volume that fell are possible each by itself."""
    assert anas_prescription.bolus_units == 2000
    marks = record_night(ana, **changes).marks
    assert len(marks) == len(limits)
    for mark, words in zip(marks, limits, strict=True):
        assert mark["limit"].startswith(words)
