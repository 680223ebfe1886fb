"""Every version of a clinical row is kept by the database itself, and nobody changes what it kept."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection, transaction
from django.db.utils import DatabaseError
from django.test import Client

from homedialysis.accounts.models import User
from sessions.models import BloodResult, Medication, Patient, Prescription, TreatmentRecord, VascularAccess
from tests.crowd import ours
from tests.factories import AccessFactory, BloodFactory, night_body, record_night
from tests.over_http import STANDING, address, put

pytestmark = pytest.mark.django_db

TRACKED = (TreatmentRecord, Patient, Prescription, VascularAccess, BloodResult, Medication, User)


def kept_of(row: Any) -> list[Any]:
    return list(row.events.order_by("pgh_id"))


@pytest.fixture
def night(ana: Patient) -> TreatmentRecord:
    return record_night(ana)


def test_every_version_is_told_oldest_first(ana_client: Client, nurse_client: Client, night: TreatmentRecord) -> None:
    put(nurse_client, night.pk, night_body(post_weight_kg=70.4), STANDING)
    answer = ana_client.get(address(night.pk, "versions/"))
    assert answer.status_code == 200
    told = [(row["revision"], row["written_by"], row["document"]["post_weight_kg"]) for row in answer.json()]
    assert told == [(1, "Ana Verdemar", 70.0), (2, "Nurse Kim", 70.4)]


def test_a_version_of_another_patients_record_is_404(ben_client: Client, night: TreatmentRecord) -> None:
    assert ben_client.get(address(night.pk, "versions/")).status_code == 404


def test_a_change_past_the_code_leaves_a_version(night: TreatmentRecord) -> None:
    ours(TreatmentRecord).update(post_weight_kg=61)
    assert [row.post_weight_kg for row in kept_of(night)] == [70.0, 61]


def test_so_does_sql_by_hand(night: TreatmentRecord) -> None:
    with connection.cursor() as cursor:
        cursor.execute("UPDATE treatment_treatmentrecord SET notes = 'by hand'")
    assert [row.notes for row in kept_of(night)] == ["", "by hand"]


def test_a_change_that_changes_nothing_leaves_none(night: TreatmentRecord) -> None:
    ours(TreatmentRecord).update(post_weight_kg=70.0)
    assert len(kept_of(night)) == 1


@pytest.mark.parametrize("model", TRACKED, ids=lambda model: model.__name__)
def test_what_was_kept_can_neither_be_changed_nor_deleted(
    model: Any, ana: Patient, anas_prescription: Prescription, night: TreatmentRecord
) -> None:
    AccessFactory(patient=ana)
    BloodFactory(patient=ana)
    kept = model._meta.get_field("events").related_model.objects
    before = list(kept.order_by("pgh_id").values_list("pgh_id", "pgh_label"))
    assert before
    for harm in (lambda: kept.update(pgh_label="forged"), lambda: kept.all().delete(), _raw_delete(kept.model)):
        with pytest.raises(DatabaseError, match=r"[Cc]annot (update|delete)"), transaction.atomic():
            harm()
    assert list(kept.order_by("pgh_id").values_list("pgh_id", "pgh_label")) == before


def _raw_delete(model: Any) -> Any:
    def delete() -> None:
        with connection.cursor() as cursor:
            cursor.execute(f"DELETE FROM {model._meta.db_table}")  # noqa: S608  (our own table's name)

    return delete


def test_a_patients_and_a_prescriptions_changes_are_kept_too(ana: Patient, anas_prescription: Prescription) -> None:
    ours(Patient).update(phone="01632 960299")
    ours(Prescription).update(target_weight_kg=69)
    assert [row.phone for row in kept_of(ana)] == ["01632 960200", "01632 960299"]
    assert [row.target_weight_kg for row in kept_of(anas_prescription)] == [70, 69]


def test_a_password_is_not_among_what_is_kept(nurse: User) -> None:
    kept = User._meta.get_field("events").related_model
    assert kept is not None
    names = {field.name for field in kept._meta.get_fields()}  # type: ignore[union-attr]
    assert "role" in names
    assert not names & {"password", "last_login"}


def test_a_record_with_its_patient_cannot_be_deleted_away(ana: Patient, night: TreatmentRecord) -> None:
    with pytest.raises(DatabaseError), transaction.atomic():
        ana.delete()
