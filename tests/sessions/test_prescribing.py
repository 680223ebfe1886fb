"""Prescriptions: one in force at a time, each version signed by a nephrologist, differences in words."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange

from homedialysis.accounts.models import Role, User
from sessions.facts.ordered import NUMBERS
from sessions.models import Dialyser, Patient, Prescription
from sessions.pages.differences import changed_fields
from sessions.services.prescribing import NotForSigning, prescription_in_force, sign_prescription
from sessions.services.prescription_changes import differences
from tests.factories import A_NIGHT, LONG_AGO, DialyserFactory, PrescriptionFactory, UserFactory, record_night

pytestmark = pytest.mark.django_db

WEEK = timedelta(days=7)


def unsigned(patient: Patient, **changes: Any) -> Prescription:
    built: Prescription = PrescriptionFactory.build(
        patient=patient, **({"dialyser": DialyserFactory(), "signed_by": None} | changes)
    )
    return built


def test_the_first_prescription_holds_from_its_signing(ana: Patient, nephrologist: User) -> None:
    signed = sign_prescription(prescription=unsigned(ana), by=nephrologist, at=A_NIGHT)
    assert (signed.version, signed.signed_by, signed.signed_at) == (1, nephrologist, A_NIGHT)
    assert prescription_in_force(ana, A_NIGHT) == signed
    assert prescription_in_force(ana, A_NIGHT - timedelta(microseconds=1)) is None


def test_the_next_one_begins_where_the_one_before_ends(
    ana: Patient, anas_prescription: Prescription, nephrologist: User
) -> None:
    second = sign_prescription(prescription=unsigned(ana), by=nephrologist, at=A_NIGHT)
    anas_prescription.refresh_from_db()
    assert (second.version, anas_prescription.in_force.upper) == (2, A_NIGHT)
    assert prescription_in_force(ana, A_NIGHT - timedelta(microseconds=1)) == anas_prescription
    assert prescription_in_force(ana, A_NIGHT) == second
    assert list(ana.prescriptions.values_list("version", flat=True)) == [2, 1]


def test_one_patients_prescription_leaves_anothers_alone(
    ana: Patient, ben: Patient, anas_prescription: Prescription, nephrologist: User
) -> None:
    sign_prescription(prescription=unsigned(ben), by=nephrologist, at=A_NIGHT)
    assert prescription_in_force(ana, A_NIGHT) == anas_prescription


@pytest.mark.parametrize("role", [role for role in Role if role != Role.NEPHROLOGIST])
def test_nobody_but_a_nephrologist_signs(ana: Patient, anas_prescription: Prescription, role: Role) -> None:
    with pytest.raises(NotForSigning, match="Only a nephrologist"):
        sign_prescription(prescription=unsigned(ana), by=UserFactory(role=role), at=A_NIGHT)
    anas_prescription.refresh_from_db()
    assert anas_prescription.in_force.upper is None


def test_a_nephrologist_shut_out_does_not_sign(ana: Patient, nephrologist: User) -> None:
    nephrologist.is_active = False
    with pytest.raises(NotForSigning):
        sign_prescription(prescription=unsigned(ana), by=nephrologist, at=A_NIGHT)


@pytest.mark.parametrize("earlier", [timedelta(0), WEEK])
def test_nothing_is_signed_back_in_time(ana: Patient, nephrologist: User, earlier: timedelta) -> None:
    sign_prescription(prescription=unsigned(ana), by=nephrologist, at=A_NIGHT)
    with pytest.raises(NotForSigning, match="Prescription 1 begins on 2 Mar 2026"):
        sign_prescription(prescription=unsigned(ana), by=nephrologist, at=A_NIGHT - earlier)
    assert ana.prescriptions.count() == 1


@pytest.mark.parametrize(("first", "second"), [((0, 2), (1, 3)), ((0, None), (1, None)), ((1, 2), (0, 3))])
def test_the_database_refuses_two_in_force_at_once(
    ana: Patient, first: tuple[int, int | None], second: tuple[int, int | None]
) -> None:
    def weeks(bounds: tuple[int, int | None]) -> DateTimeTZRange:
        low, high = bounds
        return DateTimeTZRange(LONG_AGO + low * WEEK, None if high is None else LONG_AGO + high * WEEK)

    PrescriptionFactory(patient=ana, version=1, in_force=weeks(first))
    with pytest.raises(IntegrityError, match="prescription_one_in_force"), transaction.atomic():
        PrescriptionFactory(patient=ana, version=2, in_force=weeks(second))


def test_neighbours_in_time_are_no_overlap(ana: Patient) -> None:
    PrescriptionFactory(patient=ana, version=1, in_force=DateTimeTZRange(LONG_AGO, A_NIGHT))
    PrescriptionFactory(patient=ana, version=2, in_force=DateTimeTZRange(A_NIGHT, None))
    assert prescription_in_force(ana, A_NIGHT) == ana.prescriptions.get(version=2)


@pytest.mark.parametrize(
    ("changes", "constraint"),
    [
        ({"minutes": 240, "max_minutes": 239}, "prescription_minutes"),
        ({"in_force": DateTimeTZRange(None, A_NIGHT)}, "prescription_begins"),
        ({"in_force": DateTimeTZRange(A_NIGHT, A_NIGHT)}, "prescription_begins"),
    ],
)
def test_the_database_refuses_what_cannot_be(ana: Patient, changes: dict[str, Any], constraint: str) -> None:
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        PrescriptionFactory(patient=ana, version=1, **changes)


def test_a_version_number_stands_once(ana: Patient) -> None:
    PrescriptionFactory(patient=ana, version=1, in_force=DateTimeTZRange(LONG_AGO, A_NIGHT))
    with pytest.raises(IntegrityError, match="prescription_version_once"), transaction.atomic():
        PrescriptionFactory(patient=ana, version=1, in_force=DateTimeTZRange(A_NIGHT, None))


FIELDS = [name for name in NUMBERS if name in {f.name for f in Prescription._meta.fields}]


@pytest.mark.parametrize("name", FIELDS)
def test_an_impossible_number_is_refused_at_its_field_and_closes_nothing(
    ana: Patient, anas_prescription: Prescription, nephrologist: User, name: str
) -> None:
    limits = NUMBERS[name]
    beyond = limits.hard[1] + 1
    with pytest.raises(ValidationError) as refused:
        sign_prescription(prescription=unsigned(ana, weekdays=[], **{name: beyond}), by=nephrologist, at=A_NIGHT)
    assert f"{beyond:g} was given" in refused.value.message_dict[name][0]
    anas_prescription.refresh_from_db()
    assert anas_prescription.in_force.upper is None, "the transaction took the closing back"


def test_fixed_days_are_as_many_as_prescribed(ana: Patient, nephrologist: User) -> None:
    with pytest.raises(ValidationError) as refused:
        sign_prescription(prescription=unsigned(ana, weekdays=[0, 2], days_per_week=3), by=nephrologist, at=A_NIGHT)
    assert refused.value.message_dict["weekdays"] == ["2 days are marked, but 3 a week are prescribed."]


def test_a_night_keeps_the_prescription_it_was_done_under(
    ana: Patient, anas_prescription: Prescription, nephrologist: User
) -> None:
    before = record_night(ana, A_NIGHT - timedelta(days=2))
    second = sign_prescription(prescription=unsigned(ana), by=nephrologist, at=A_NIGHT - timedelta(days=1))
    after = record_night(ana, A_NIGHT)
    late = record_night(ana, A_NIGHT - timedelta(days=3), at=A_NIGHT + WEEK)
    assert [night.prescription for night in (before, late, after)] == [
        anas_prescription,
        anas_prescription,
        second,
    ]


def test_differences_in_words(ana: Patient) -> None:
    before: Prescription = PrescriptionFactory(
        patient=ana, version=1, in_force=DateTimeTZRange(LONG_AGO, A_NIGHT), bolus_units=None
    )
    after: Prescription = PrescriptionFactory(
        patient=ana,
        version=2,
        in_force=DateTimeTZRange(A_NIGHT, None),
        target_weight_kg=69.5,
        bolus_units=1500,
        weekdays=[],
        needle_gauge=None,
        anticoagulant="none",
        dialyser=Dialyser.objects.create(name="Fenrow 21", koa_ml_min=1200, surface_m2=2.1),
        note="Lower the target slowly.",
    )
    for each in (before, after):
        each.refresh_from_db()
    assert [change.line for change in differences(before, after)] == [
        "Days: Mon, Wed, Fri → free",
        "Target weight, kg: 70 → 69.5",
        "Dialyser: Fenrow 17 (KoA 1000 mL/min, 1.7 m²) → Fenrow 21 (KoA 1200 mL/min, 2.1 m²)",
        "Needles, G: 15 → none",
        "Anticoagulation: unfractionated heparin → none",
        "Bolus, units: none → 1500",
        "Note: none → Lower the target slowly.",
    ]
    assert differences(None, after) == []
    assert differences(after, after) == []


def test_a_yes_or_no_is_said_in_words(ana: Patient) -> None:
    before, after = (PrescriptionFactory.build(patient=ana, quiet_at_night=quiet) for quiet in (False, True))
    lines = [[each.before, each.after] for each in differences(before, after) if "sleep" in each.line]
    assert lines == [["no", "yes"]]
    assert [each.after for each in differences(after, before) if "sleep" in each.line] == ["no"]


def test_changed_fields_of_a_record_in_words() -> None:
    before = {"pre_weight_kg": 72.0, "notes": "", "readings": [{"at": "T1", "pulse": 70.0}], "confirmed": []}
    after = {
        "pre_weight_kg": 71.5,
        "notes": "Better.",
        "readings": [{"at": "T1", "pulse": None}, {"at": "T2", "pulse": 72.0}],
        "confirmed": [],
    }
    assert changed_fields(before, after) == [
        {"field": "Weight before", "before": "72", "after": "71.5"},
        {"field": "Pulse (reading 1)", "before": "70", "after": ""},
        {"field": "notes", "before": "", "after": "Better."},
        {"field": "at (reading 2)", "before": "", "after": "T2"},
        {"field": "Pulse (reading 2)", "before": "", "after": "72"},
    ]


def test_how_trouble_ended_is_told_of_two_versions_in_its_own_words() -> None:
    event = {"at": "T1", "kind": "hypotension", "outcome": "", "called": ""}
    after = {"events": [event | {"outcome": "ended", "called": "not_reached"}]}
    told = [(each["before"], each["after"]) for each in changed_fields({"events": [event]}, after)]
    assert told == [("", "the treatment was ended"), ("", "the unit was not reached")]


def test_a_prescription_of_now_is_told_over_http(
    ana: Patient, anas_prescription: Prescription, ana_client: Any, ben_client: Any
) -> None:
    answer = ana_client.get("/api/v1/prescriptions/current/")
    assert answer.status_code == 200
    body = answer.json()
    assert (body["version"], body["target_weight_kg"], body["dialyser"]["koa_ml_min"]) == (1, 70.0, 1000.0)
    assert datetime.fromisoformat(body["begins"]) == LONG_AGO
    assert ben_client.get("/api/v1/prescriptions/current/").status_code == 404
    foreign = ben_client.get("/api/v1/prescriptions/current/", {"patient": str(ana.pk)})
    assert foreign.status_code == 400
