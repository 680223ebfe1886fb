"""Who of the staff read whose record stands in a log that only grows."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import connection, transaction
from django.db.utils import DatabaseError
from django.test import Client

from homedialysis.accounts.models import ReadLog, User
from sessions.models import Patient, Prescription, TreatmentRecord
from tests import crowd
from tests.conftest import signed_in
from tests.crowd import ours
from tests.factories import A_NIGHT, record_night

pytestmark = pytest.mark.django_db

Where = Callable[[Patient, TreatmentRecord], str]
READS: dict[str, Where] = {
    "patient page": lambda patient, record: f"/patients/{patient.pk}/",
    "night page": lambda patient, record: f"/nights/{record.pk}/",
    "number page": lambda patient, record: f"/nights/{record.pk}/numbers/uf_rate/",
    "versions page": lambda patient, record: f"/nights/{record.pk}/versions/",
    "prescription page": lambda patient, record: f"/patients/{patient.pk}/prescription/",
    "access page": lambda patient, record: f"/patients/{patient.pk}/access/",
    "bloods page": lambda patient, record: f"/patients/{patient.pk}/bloods/",
    "invite page": lambda patient, record: f"/patients/{patient.pk}/invite/",
    "treatment": lambda patient, record: f"/api/v1/treatments/{record.pk}/",
    "versions": lambda patient, record: f"/api/v1/treatments/{record.pk}/versions/",
    "treatments of one": lambda patient, record: f"/api/v1/treatments/?patient={patient.pk}",
    "treatments of all": lambda patient, record: "/api/v1/treatments/",
    "bloods": lambda patient, record: f"/api/v1/bloods/?patient={patient.pk}",
    "prescription": lambda patient, record: f"/api/v1/prescriptions/current/?patient={patient.pk}",
}


def hers() -> uuid.UUID:
    """The patient of the crowd, who stands in lists of all."""
    return Patient.objects.get(name=crowd.NAME).pk


@pytest.mark.parametrize("read", READS)
def test_staff_who_read_are_noted(
    nurse: User, nurse_client: Client, ana: Patient, anas_prescription: Prescription, read: str
) -> None:
    where = READS[read](ana, record_night(ana))
    assert nurse_client.get(where).status_code == 200
    row = ours(ReadLog).exclude(patient_id=hers()).get()
    assert (row.user, row.patient_id, row.path) == (nurse, ana.pk, where.partition("?")[0])


def test_a_list_over_several_patients_notes_each_once(nurse_client: Client, ana: Patient, ben: Patient) -> None:
    for patient in (ana, ben):
        record_night(patient)
    record_night(ana, A_NIGHT + timedelta(days=2))
    nurse_client.get("/api/v1/treatments/")
    assert sorted(ours(ReadLog).values_list("patient_id", flat=True)) == sorted([ana.pk, ben.pk, hers()])


@pytest.mark.parametrize("read", ["night page", "versions page", "treatment", "treatments of all", "prescription"])
def test_the_patient_and_who_helps_are_not(
    ana_client: Client, partner: User, ana: Patient, anas_prescription: Prescription, read: str
) -> None:
    where = READS[read](ana, record_night(ana))
    assert [client.get(where).status_code for client in (ana_client, signed_in(partner))] == [200, 200]
    assert not ours(ReadLog).exists()


def test_what_was_not_found_was_not_read(nurse_client: Client, ana: Patient) -> None:
    assert nurse_client.get("/patients/5f0c1a52-0000-4000-8000-000000000001/").status_code == 404
    assert not ours(ReadLog).exists()


def test_the_log_can_neither_be_changed_nor_deleted(nurse_client: Client, ana: Patient) -> None:
    nurse_client.get(f"/patients/{ana.pk}/")

    def by_hand() -> None:
        with connection.cursor() as cursor:
            cursor.execute("DELETE FROM accounts_readlog")

    for harm in (lambda: ours(ReadLog).update(path="/"), lambda: ours(ReadLog).all().delete(), by_hand):
        with pytest.raises(DatabaseError, match=r"[Cc]annot (update|delete)"), transaction.atomic():
            harm()
    assert ours(ReadLog).get().path == f"/patients/{ana.pk}/"


def test_somebody_in_the_log_cannot_be_deleted(nurse: User, nurse_client: Client, ana: Patient) -> None:
    nurse_client.get(f"/patients/{ana.pk}/")
    with pytest.raises(DatabaseError), transaction.atomic():
        nurse.delete()
