"""Water tests, counts and tasks over HTTP, as a phone sends them that was offline for days."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from homedialysis.accounts.models import ReadLog, User
from sessions.facts import plausible
from sessions.models import Patient, SupplyCount, SupplyItem, TaskDone, Training, WaterTest
from sessions.services.readiness import steps_to_first_treatment
from tests.conftest import signed_in
from tests.crowd import ours
from tests.factories import A_NIGHT, DeliveryFactory, MachineFactory, SupplyItemFactory, WaterTestFactory
from tests.over_http import faults, post

pytestmark = pytest.mark.django_db

WATER, COUNTS, DONE = (f"/api/v1/bedside/{part}/" for part in ("water", "counts", "done"))


def strip(**changes: Any) -> dict[str, Any]:
    usual = {"id": str(uuid.uuid4()), "kind": "total_chlorine", "value": 0.02, "sampled_at": A_NIGHT.isoformat()}
    return usual | changes


def task(**changes: Any) -> dict[str, Any]:
    return {"id": str(uuid.uuid4()), "kind": "disinfection", "done_at": A_NIGHT.isoformat()} | changes


@pytest.fixture
def items(db: None) -> list[SupplyItem]:
    return [SupplyItemFactory(name="Dialysers"), SupplyItemFactory(name="Lines")]


def counted(items: list[SupplyItem], *counts: int) -> dict[str, Any]:
    rows = [
        {"id": str(uuid.uuid4()), "item": item.pk, "count": count} for item, count in zip(items, counts, strict=True)
    ]
    return {"counted_at": A_NIGHT.isoformat(), "counts": rows}


def test_a_chlorine_strip_is_noted_once(ana_client: Client, ana: Patient) -> None:
    body = strip(below_detection=True, value=0.05)
    first, again = post(ana_client, WATER, body), post(ana_client, WATER, body)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    row = ours(WaterTest).get()
    assert (row.patient, row.unit, row.place, row.fluid, row.below_detection, row.entered_by) == (
        ana,
        "mg/L",
        "first_carbon",
        "dialysis_water",
        True,
        ana.account,
    )


def test_the_sample_is_what_its_machine_gives(ana_client: Client, ana: Patient) -> None:
    MachineFactory(patient=ana, kind="water", ultrapure=True)
    assert post(ana_client, WATER, strip(kind="bacteria", value=0)).json()["fluid"] == "ultrapure_water"
    said = post(ana_client, WATER, strip(kind="endotoxin", value=0, place="fluid_port", fluid="dialysis_fluid")).json()
    assert (said["place"], said["fluid"]) == ("fluid_port", "dialysis_fluid")


def test_something_else_under_the_same_id_is_a_conflict(ana_client: Client, ben_client: Client, ana: Patient) -> None:
    body = strip()
    post(ana_client, WATER, body)
    answer = post(ana_client, WATER, body | {"value": 0.03})
    assert answer.status_code == 409
    assert "Something else was noted under this id" in answer.json()["detail"]
    assert post(ben_client, WATER, body).status_code == 409
    assert ours(WaterTest).get().value == 0.02


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"value": 11}, "value"),
        ({"value": "0.02"}, "value"),
        ({"value": None}, "value"),
        ({"kind": "taste"}, "kind"),
        ({"unit": "EU/mL"}, "unit"),
        ({"unit": "ppb"}, "unit"),
        ({"place": "cellar"}, "place"),
        ({"id": "1"}, "id"),
        ({"sampled_at": "2026-03-02T21:30:00"}, "sampled_at"),
        ({"sampled_at": "1950-03-02T21:30:00Z"}, "sampled_at"),
        ({"strange": 1}, "strange"),
        ({"patient": str(uuid.uuid4())}, "patient"),
    ],
)
def test_what_cannot_be_is_refused(ana_client: Client, changes: dict[str, Any], field: str) -> None:
    assert set(faults(post(ana_client, WATER, strip(**changes)))) == {field}
    assert not ours(WaterTest).exists()


def test_a_refusal_names_the_limit_and_what_was_given(ana_client: Client) -> None:
    found = faults(post(ana_client, WATER, strip(value=11)))["value"]
    assert (found["message"], found["given"]) == (plausible.WATER["total_chlorine"].refusal(11), 11)
    ahead = (timezone.now() + timedelta(days=3)).isoformat()
    assert "ahead of now" in faults(post(ana_client, WATER, strip(sampled_at=ahead)))["sampled_at"]["message"]


def test_a_second_result_of_the_same_sample_is_refused(ana_client: Client) -> None:
    post(ana_client, WATER, strip())
    (found,) = faults(post(ana_client, WATER, strip(value=0.04))).values()
    assert "stands already" in found["message"]


def test_a_count_is_noted_whole_and_once(ana_client: Client, ana: Patient, items: list[SupplyItem]) -> None:
    body = counted(items, 24, 12)
    first, again = post(ana_client, COUNTS, body), post(ana_client, COUNTS, body)
    assert (first.status_code, again.status_code) == (201, 200)
    assert [(row["name"], row["count"]) for row in again.json()] == [("Dialysers", 24), ("Lines", 12)]
    assert set(ours(SupplyCount).values_list("patient", "item", "count")) == {
        (ana.pk, items[0].pk, 24),
        (ana.pk, items[1].pk, 12),
    }


@pytest.mark.parametrize(
    ("row", "field"),
    [({"count": 100_001}, "count"), ({"count": -1}, "count"), ({"count": 1.5}, "count"), ({"item": 0}, "item")],
)
def test_of_a_bad_count_nothing_is_kept(
    ana_client: Client, items: list[SupplyItem], row: dict[str, Any], field: str
) -> None:
    body = counted(items, 24, 12)
    body["counts"][1] |= row
    assert set(faults(post(ana_client, COUNTS, body))) == {f"counts[1].{field}"}
    assert not ours(SupplyCount).exists()


def test_a_count_counts_something(ana_client: Client) -> None:
    assert set(faults(post(ana_client, COUNTS, {"counted_at": A_NIGHT.isoformat(), "counts": []}))) == {"counts"}


def test_a_count_of_another_under_a_taken_id_keeps_nothing(
    ana_client: Client, ben_client: Client, items: list[SupplyItem]
) -> None:
    mine = counted(items, 24, 12)
    post(ana_client, COUNTS, mine)
    theirs = counted(items, 1, 2)
    theirs["counts"][1]["id"] = mine["counts"][1]["id"]
    assert post(ben_client, COUNTS, theirs).status_code == 409
    assert ours(SupplyCount).count() == 2


def test_a_task_is_noted_once(ana_client: Client, ana: Patient) -> None:
    body = task(note="Citric.")
    assert [post(ana_client, DONE, body).status_code for _ in range(2)] == [201, 200]
    done = ours(TaskDone).get()
    assert (done.patient, done.kind, done.done_at, done.note) == (ana, "disinfection", A_NIGHT, "Citric.")


def test_a_delivery_that_came_is_noted_once(ana_client: Client, ana: Patient) -> None:
    delivery = DeliveryFactory(patient=ana, count=24)
    body = task(kind="delivery", delivery=str(delivery.pk), arrived=20)
    assert [post(ana_client, DONE, body).status_code for _ in range(2)] == [201, 200]
    delivery.refresh_from_db()
    assert (delivery.arrived_at, delivery.came) == (A_NIGHT, 20)
    assert not ours(TaskDone).exists()


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"kind": "polish"}, "kind"),
        ({"kind": "delivery"}, "delivery"),
        ({"kind": "delivery", "delivery": str(uuid.uuid4())}, "delivery"),
        ({"delivery": str(uuid.uuid4())}, "delivery"),
        ({"arrived": 3}, "arrived"),
        ({"note": "x" * 301}, "note"),
        ({"done_at": "soon"}, "done_at"),
    ],
)
def test_what_cannot_be_done_is_refused(ana_client: Client, changes: dict[str, Any], field: str) -> None:
    assert set(faults(post(ana_client, DONE, task(**changes)))) == {field}
    assert not ours(TaskDone).exists()


def test_a_delivery_that_came_in_the_future_is_refused(ana_client: Client, ana: Patient) -> None:
    delivery = DeliveryFactory(patient=ana)
    ahead = (timezone.now() + timedelta(days=3)).isoformat()
    body = task(kind="delivery", delivery=str(delivery.pk), done_at=ahead)
    assert set(faults(post(ana_client, DONE, body))) == {"done_at"}


def test_a_delivery_to_somebody_else_is_not_there(ben_client: Client, ana: Patient) -> None:
    delivery = DeliveryFactory(patient=ana)
    assert set(faults(post(ben_client, DONE, task(kind="delivery", delivery=str(delivery.pk))))) == {"delivery"}


def test_a_care_partner_and_a_technologist_note_for_the_patient(
    partner: User, technologist: User, administrator: User, ana: Patient
) -> None:
    for hour, user in enumerate((partner, technologist)):
        when = (A_NIGHT + timedelta(hours=hour)).isoformat()
        answer = post(signed_in(user), WATER, strip(patient=str(ana.pk), sampled_at=when))
        assert (answer.status_code, answer.json()["entered_by"]) == (201, user.name)
    assert post(signed_in(administrator), WATER, strip(patient=str(ana.pk))).status_code == 403


def test_staff_read_them_newest_first_and_it_is_noted(technologist: User, ana: Patient, ben: Patient) -> None:
    for days in (2, 0, 1):
        WaterTestFactory(patient=ana, value=days, sampled_at=A_NIGHT + timedelta(days=days))
    WaterTestFactory(patient=ana, value=9, taken_back="Wrong.", sampled_at=A_NIGHT + timedelta(days=9))
    WaterTestFactory(patient=ben)
    client = signed_in(technologist)
    body = client.get(WATER, {"patient": str(ana.pk)}).json()
    assert ([row["value"] for row in body["results"]], body["count"]) == ([2, 1, 0], 3)
    assert ours(ReadLog).get().patient_id == ana.pk
    for where in (COUNTS, DONE):
        assert client.get(where, {"patient": str(ana.pk)}).json()["results"] == []
        assert client.get(where).status_code == 400


def test_a_patient_reads_only_their_own(ana_client: Client, ana: Patient, ben: Patient) -> None:
    WaterTestFactory(patient=ana)
    WaterTestFactory(patient=ben)
    assert [row["patient"] for row in ana_client.get(WATER).json()["results"]] == [str(ana.pk)]
    assert set(faults(ana_client.get(WATER, {"patient": str(ben.pk)}))) == {"patient"}


def test_that_a_treatment_was_practised_stands_among_the_trainings_and_trains_nobody(
    ana_client: Client, nurse_client: Client, partner: User, ana: Patient
) -> None:
    body = task(kind="practice")
    assert [post(ana_client, DONE, body).status_code for _ in range(2)] == [201, 200]
    assert post(signed_in(partner), DONE, task(kind="practice", patient=str(ana.pk))).status_code == 201
    mine, helpers = Training.objects.filter(patient=ana).order_by("entered_at")
    assert (mine.partner, mine.done_on, mine.valid_until, mine.trained_by) == (
        None,
        A_NIGHT.date(),
        None,
        str(ana.account),
    )
    assert helpers.partner == partner
    page = nurse_client.get(f"/patients/{ana.pk}/surroundings/").content.decode()
    assert page.count("Practice of a treatment on the phone") == 2
    assert "⟦" not in page
    [training] = [each for each in steps_to_first_treatment(ana, at=timezone.now()) if each.title == "Training"]
    assert training.done is False
