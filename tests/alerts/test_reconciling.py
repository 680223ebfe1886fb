"""What one patient's alerts are set beside: that patient's own, and nobody else's."""

from __future__ import annotations

from typing import Any

import pytest

from alerts.models import Alert, AlertStep
from alerts.services.acting import NotDone, close, may_take_care
from alerts.services.evaluation import look_for_missing
from alerts.services.muting import mute, mutes_of
from homedialysis.accounts.models import Role, User
from sessions.models import Patient
from tests.alerts.builders import DAY, MORNING, alerts_of, evaluated
from tests.alerts.made_alerts import made_alert
from tests.crowd import ours
from tests.factories import A_NIGHT, PrescriptionFactory, TrainingFactory, UserFactory

TOO_FAST = {"uf_removed_l": 3.6}


@pytest.fixture
def two(ana: Patient, ben: Patient) -> tuple[Patient, Patient]:
    for patient in (ana, ben):
        PrescriptionFactory(patient=patient, version=1)
    return ana, ben


def state_of(patient: Patient) -> list[Any]:
    return [*Alert.objects.filter(patient=patient).values(), *ours(AlertStep).filter(alert__patient=patient).values()]


def test_somebody_elses_alert_of_the_same_cause_is_left_alone(two: tuple[Patient, Patient]) -> None:
    ana, ben = two
    made_alert(ben)
    before = state_of(ben)
    evaluated(ana, TOO_FAST, TOO_FAST)
    (alert,) = Alert.objects.filter(patient=ana, rule="uf_rate")
    assert len(alert.evidence) == 2
    assert state_of(ben) == before


def test_what_was_closed_for_somebody_else_is_not_dealt_with_here(two: tuple[Patient, Patient], nurse: User) -> None:
    """The same treatment is missing with both, on the same days: only Ben's was spoken about."""
    ana, ben = two
    Patient.objects.filter(pk=ana.pk).update(left_on=A_NIGHT.date() - 300 * DAY)
    evaluated(ben, {})
    look_for_missing(at=MORNING + 8 * DAY)
    (bens,) = alerts_of("missing")
    close(alerts=[bens], by=nurse, outcome="spoken", words="In hospital.", at=MORNING + 8 * DAY)
    Patient.objects.filter(pk=ana.pk).update(left_on=None)
    evaluated(ana, {})
    look_for_missing(at=MORNING + 8 * DAY)
    (anas,) = ours(Alert).open().filter(rule="missing")
    assert anas.patient == ana
    assert [item["day"] for item in anas.evidence] == [item["day"] for item in bens.evidence]


def test_what_was_closed_of_another_cause_still_counts_here(ana: Patient, nurse: User) -> None:
    PrescriptionFactory(patient=ana, version=1)
    evaluated(ana, TOO_FAST | {"pre_systolic": 185})
    (high,) = alerts_of("pressure_high")
    close(alerts=[high], by=nurse, outcome="spoken", words="x", at=MORNING)
    evaluated(ana, TOO_FAST, first=1)
    (alert,) = alerts_of("uf_rate")
    assert len(alert.evidence) == 2


@pytest.mark.parametrize("days", [10, 89, 91, 400])
def test_what_fell_due_however_long_ago_is_not_closed_by_talking(ana: Patient, nurse: User, days: int) -> None:
    """A due day is no night: it is looked at again each day, also where it is older than all nights that are read."""
    due = (MORNING - days * DAY).date()
    TrainingFactory(patient=ana, topic="Needles", done_on=due - 365 * DAY, valid_until=due)
    look_for_missing(at=MORNING)
    (alert,) = alerts_of("training_overdue")
    with pytest.raises(NotDone):
        close(alerts=[alert], by=nurse, outcome="spoken", words="She comes in May.", at=MORNING)
    for later in (1, 30):
        look_for_missing(at=MORNING + later * DAY)
        assert [each.state for each in alerts_of("training_overdue")] == ["open"]


def test_mutes_in_force_end_first_first(ana: Patient, nurse: User) -> None:
    for rule, days in (("pressure_high", 9), ("venous_high", 3), ("uf_rate", 5), ("short", 5)):
        mute(patient=ana, rule=rule, until=MORNING + days * DAY, why="x", by=nurse, at=MORNING)
    mute(patient=ana, rule="fewer_treatments", until=MORNING + DAY, why="x", by=nurse, at=MORNING)
    found = mutes_of(ana).in_force(MORNING + 2 * DAY)
    assert [row.rule for row in found] == ["venous_high", "short", "uf_rate", "pressure_high"]


def test_only_those_who_care_for_patients_can_be_given_an_alert(
    ana: Patient, nurse: User, nephrologist: User, technologist: User, administrator: User, partner: User
) -> None:
    UserFactory(role=Role.NURSE, is_active=False)
    assert set(may_take_care()) == {nurse, nephrologist}
