"""What the phone tells of a changed prescription: against what this reader knows, of this patient alone."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange

from homedialysis.accounts.models import User
from sessions.models import Patient, Prescription, PrescriptionAcknowledgement
from sessions.services.prescription_changes import acknowledge, changes_for, differences
from tests.crowd import ours
from tests.factories import A_NIGHT, CarePartnerFactory, PrescriptionFactory, record_night

DAY = timedelta(days=1)


def versions(patient: Patient) -> list[Prescription]:
    """Four in a row, ten days each, made in another order; the target rises by a kilogram each time."""
    made = {}
    for version in (3, 1, 4, 2):
        since = A_NIGHT - (50 - 10 * version) * DAY
        until = since + 10 * DAY if version < 4 else None
        made[version] = PrescriptionFactory(
            patient=patient, version=version, in_force=DateTimeTZRange(since, until), target_weight_kg=69 + version
        )
    return [made[version] for version in sorted(made)]


@pytest.fixture
def ordered(ana: Patient, ben: Patient) -> list[Prescription]:
    versions(ben)
    return versions(ana)


def read(prescription: Prescription, by: User) -> None:
    PrescriptionAcknowledgement.objects.create(prescription=prescription, by=by, at=A_NIGHT, received_at=A_NIGHT)


def told(reader: User | None, current: Prescription) -> tuple[int, list[str], bool]:
    assert reader
    found: dict[str, Any] | None = changes_for(reader, current)
    assert found
    return found["since_version"], [f"{one['before']} {one['after']}" for one in found["lines"]], found["acknowledged"]


def test_the_first_changes_nothing(ordered: list[Prescription], ana: Patient) -> None:
    assert ana.account
    assert changes_for(ana.account, ordered[0]) is None


def test_against_the_one_before_where_nobody_knows_more(ordered: list[Prescription], ana: Patient) -> None:
    assert told(ana.account, ordered[3]) == (3, ["72 73"], False)
    assert told(ana.account, ordered[2]) == (2, ["71 72"], False), "a later one is nothing earlier"


def test_against_that_of_the_last_treatment(ordered: list[Prescription], ana: Patient, ben: Patient) -> None:
    """Which is the last that was finished: one that runs is not done yet. Ben's are his."""
    for days in (25, 35):
        record_night(ana, A_NIGHT - days * DAY)
    record_night(ana, A_NIGHT - 15 * DAY, status="open", ended_at=None)
    record_night(ben, A_NIGHT - 12 * DAY)
    assert told(ana.account, ordered[3]) == (2, ["71 73"], False)


def test_against_the_last_that_this_reader_acknowledged(
    ordered: list[Prescription], ana: Patient, ben: Patient
) -> None:
    """Not that of the treatment, nor what somebody else read, nor what was read of another patient's."""
    helper = CarePartnerFactory(patient=ana).user
    record_night(ana, A_NIGHT - 15 * DAY)
    read(ben.prescriptions.get(version=3), helper)
    assert told(helper, ordered[3]) == (3, ["72 73"], False)
    for version in (1, 2):
        read(ordered[version - 1], helper)
    assert told(helper, ordered[3]) == (2, ["71 73"], False)
    read(ordered[3], helper)
    assert told(helper, ordered[3]) == (2, ["71 73"], True)
    assert told(ana.account, ordered[3]) == (3, ["72 73"], False)


def test_said_twice_the_first_time_stands(ordered: list[Prescription], nurse: User) -> None:
    for hours in (1, 2):
        at = A_NIGHT + timedelta(hours=hours)
        acknowledge(prescription=ordered[3], by=nurse, at=at, now=at + timedelta(minutes=5))
    kept = ours(PrescriptionAcknowledgement).get()
    assert (kept.at, kept.received_at) == (A_NIGHT + timedelta(hours=1), A_NIGHT + timedelta(hours=1, minutes=5))


@pytest.mark.parametrize(
    ("name", "before", "after", "line"),
    [
        ("target_weight_kg", 70.0, 69.5, "Target weight, kg: 70 → 69.5"),
        ("weekdays", [0, 2, 4], [], "Days: Mon, Wed, Fri → free"),
        ("quiet_at_night", False, True, "No readings asked for during sleep: no → yes"),
        ("anticoagulant", "heparin", "none", "Anticoagulation: unfractionated heparin → none"),
        ("rate_units_h", None, 500.0, "Rate, units/h: none → 500"),
        ("note", "Sit down first.", "", "Note: Sit down first. → none"),
    ],
)
def test_a_change_in_words(ordered: list[Prescription], name: str, before: Any, after: Any, line: str) -> None:
    one, other = ordered[3], Prescription.objects.get(pk=ordered[3].pk)
    setattr(one, name, before)
    setattr(other, name, after)
    assert [change.line for change in differences(one, other)] == [line]
    assert differences(one, one) == differences(None, one) == []
