"""Who writes a treatment: the patient, a care partner, a nurse, a nephrologist; and the record says who it was."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest
from django.test import Client

from homedialysis.accounts.models import Role, User
from sessions.models import Patient, TreatmentRecord
from tests.conftest import signed_in
from tests.crowd import ours
from tests.factories import A_NIGHT, CarePartnerFactory, UserFactory, night_body, record_night
from tests.over_http import BULK, STANDING, TREATMENTS, add_readings, address, post, put

pytestmark = pytest.mark.django_db

WRITERS = (Role.NURSE, Role.NEPHROLOGIST)
READERS = (Role.TECHNOLOGIST, Role.ADMINISTRATOR)


def test_a_care_partner_writes_and_the_record_says_who(partner: User, ana: Patient, ana_client: Client) -> None:
    record_id = uuid.uuid4()
    assert put(signed_in(partner), record_id, night_body()).status_code == 201
    record = ours(TreatmentRecord).get()
    assert (record.patient, record.recorded_by) == (ana, partner)
    put(ana_client, record_id, night_body(post_weight_kg=70.2), STANDING)
    record.refresh_from_db()
    assert record.recorded_by == ana.account
    versions = ana_client.get(address(record_id, "versions/")).json()
    assert [row["written_by"] for row in versions] == ["Rui, who helps Ana", "Ana Verdemar"]


def test_a_care_partner_sees_only_whom_they_help(partner: User, ana: Patient, ben: Patient) -> None:
    own, foreign = record_night(ana), record_night(ben)
    client = signed_in(partner)
    assert [row["id"] for row in client.get(TREATMENTS).json()["results"]] == [str(own.pk)]
    assert client.get(address(foreign.pk)).status_code == 404
    assert put(client, uuid.uuid4(), night_body(patient=str(ben.pk))).status_code == 400


def test_a_care_partner_who_helps_no_more_sees_nothing(partner: User, ana: Patient) -> None:
    record = record_night(ana)
    ana.carepartner_set.all().delete()
    assert signed_in(partner).get(address(record.pk)).status_code == 404


@pytest.mark.parametrize("role", WRITERS)
def test_nurse_and_nephrologist_write_for_a_patient(role: Role, ana: Patient) -> None:
    client = signed_in(UserFactory(role=role))
    assert put(client, uuid.uuid4(), night_body(patient=str(ana.pk))).status_code == 201


@pytest.mark.parametrize("role", READERS)
def test_technologist_and_administrator_read_and_do_not_write(role: Role, ana: Patient) -> None:
    record = record_night(ana)
    client = signed_in(UserFactory(role=role))
    assert client.get(address(record.pk)).status_code == 200
    answers = [
        put(client, uuid.uuid4(), night_body(patient=str(ana.pk))),
        put(client, record.pk, night_body(post_weight_kg=70.2), STANDING),
        add_readings(client, record.pk, {"at": A_NIGHT.isoformat()}),
        post(client, BULK, {"treatments": [{"id": str(uuid.uuid4()), **night_body(patient=str(ana.pk))}]}),
    ]
    assert [answer.status_code for answer in answers] == [403, 403, 403, 403]
    assert "nurse" in answers[0].json()["detail"]
    assert ours(TreatmentRecord).get().revision == 1


def test_somebody_shut_out_neither_reads_nor_writes(nurse: User, ana: Patient) -> None:
    client = signed_in(nurse)
    nurse.is_active = False
    nurse.save()
    assert client.get(TREATMENTS).status_code == 401
    assert put(client, uuid.uuid4(), night_body(patient=str(ana.pk))).status_code == 401


def test_a_record_sent_without_a_name_is_that_of_whose_it_is(ana: Patient, ben: Patient, partner: User) -> None:
    """Who helps two people corrects the record of one of them; the other one has a newer record."""
    CarePartnerFactory(patient=ben, user=partner)
    bens = record_night(ben)
    record_night(ana, A_NIGHT + timedelta(days=1))
    answer = put(signed_in(partner), bens.pk, night_body(post_weight_kg=70.4), STANDING)
    assert (answer.status_code, answer.json()["patient"]) == (200, str(ben.pk))
