"""News goes up in the transaction that writes: a listener that fails takes the record with it."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.dispatch import Signal
from django.test import Client

from alerts.models import PendingEvaluation
from homedialysis.accounts.models import User
from sessions.models import BloodResult, Patient, Prescription, TreatmentRecord
from sessions.services.bloods import enter_bloods
from sessions.services.prescribing import sign_prescription
from sessions.signals import bloods_entered, prescription_signed, treatment_recorded
from tests.crowd import ours
from tests.factories import A_NIGHT, BloodFactory, DialyserFactory, PrescriptionFactory, night_body, record_night
from tests.over_http import STANDING, add_readings, put

pytestmark = pytest.mark.django_db


class Ear:
    """Listens to one signal; notes what it hears, and breaks when told to."""

    def __init__(self) -> None:
        self.heard: list[dict[str, Any]] = []
        self.breaks = False

    def __call__(self, sender: Any, **news: Any) -> None:
        if self.breaks:
            raise RuntimeError("the listener broke")
        news.pop("signal")
        self.heard.append(news | {"in transaction": connection.in_atomic_block})


@pytest.fixture
def ear(request: pytest.FixtureRequest) -> Iterator[Ear]:
    signal: Signal = request.param
    listener = Ear()
    signal.connect(listener)
    yield listener
    signal.disconnect(listener)


to_treatments = pytest.mark.parametrize("ear", [treatment_recorded], indirect=True)
to_bloods = pytest.mark.parametrize("ear", [bloods_entered], indirect=True)
to_prescriptions = pytest.mark.parametrize("ear", [prescription_signed], indirect=True)


@to_treatments
def test_a_record_is_told_when_made_and_when_changed_and_not_when_repeated(ear: Ear, ana_client: Client) -> None:
    record_id = uuid.uuid4()
    put(ana_client, record_id, night_body())
    put(ana_client, record_id, night_body())
    put(ana_client, record_id, night_body(post_weight_kg=70.2), STANDING)
    add_readings(ana_client, record_id, {"at": (A_NIGHT + timedelta(minutes=7)).isoformat()})
    assert [news["record"].revision for news in ear.heard] == [1, 2, 3]
    assert all(news["in transaction"] for news in ear.heard)


@to_treatments
def test_a_listener_that_fails_leaves_nothing_of_a_new_record(ear: Ear, ana_client: Client) -> None:
    ear.breaks = True
    with pytest.raises(RuntimeError, match="the listener broke"):
        put(ana_client, uuid.uuid4(), night_body())
    assert not ours(TreatmentRecord).exists()
    assert not ours(PendingEvaluation).exists()


@to_treatments
def test_nor_of_a_change(ear: Ear, ana_client: Client, ana: Patient) -> None:
    record = record_night(ana)
    ear.breaks = True
    for change in (
        lambda: put(ana_client, record.pk, night_body(readings=1), STANDING),
        lambda: add_readings(ana_client, record.pk, {"at": (A_NIGHT + timedelta(minutes=7)).isoformat()}),
    ):
        with pytest.raises(RuntimeError):
            change()
    record.refresh_from_db()
    assert (record.revision, record.reading_set.count()) == (1, 3)
    assert ours(PendingEvaluation).count() == 1


@to_bloods
def test_bloods_are_told_together_and_fall_together(ear: Ear, ana: Patient, nurse: User) -> None:
    drawn = [BloodFactory.build(patient=ana, entered_by=nurse, drawn_at=A_NIGHT, timing=t) for t in ("pre", "apart")]
    enter_bloods(results=drawn, by=nurse, at=A_NIGHT)
    assert [len(news["results"]) for news in ear.heard] == [2]
    ear.breaks = True
    more = BloodFactory.build(patient=ana, entered_by=nurse, drawn_at=A_NIGHT + timedelta(days=1))
    with pytest.raises(RuntimeError):
        enter_bloods(results=[more], by=nurse, at=A_NIGHT)
    assert ours(BloodResult).count() == 2


@to_prescriptions
def test_a_prescription_is_told_and_falls_with_its_listener(
    ear: Ear, ana: Patient, anas_prescription: Prescription, nephrologist: User
) -> None:
    def unsigned() -> Prescription:
        built: Prescription = PrescriptionFactory.build(patient=ana, dialyser=DialyserFactory(), signed_by=nephrologist)
        return built

    signed = sign_prescription(prescription=unsigned(), by=nephrologist, at=A_NIGHT)
    assert [news["prescription"] for news in ear.heard] == [signed]
    ear.breaks = True
    with pytest.raises(RuntimeError):
        sign_prescription(prescription=unsigned(), by=nephrologist, at=A_NIGHT + timedelta(days=1))
    assert ana.prescriptions.count() == 2
    signed.refresh_from_db()
    assert signed.in_force.upper is None, "the one in force was not closed either"
