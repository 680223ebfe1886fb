"""A changed limit, a stay, a mute: what is open is judged at once by what holds now, and waits for no other night."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from alerts.models import Alert
from alerts.services.evaluation import evaluate_pending, look_for_missing
from alerts.services.limit_setting import set_limit
from alerts.showing.alert_words import step_words
from alerts.showing.sparklines import next_treatments
from homedialysis.accounts.models import User
from sessions.models import HospitalStay, Patient
from sessions.models.local_time import zone_of
from sessions.services.outcomes import keep
from tests.alerts.builders import DAY, MORNING, alerts_of, evaluated
from tests.factories import A_NIGHT, MachineFactory, PrescriptionFactory

HIGH = {"pre_systolic": 185.0}


def limit(patient: Patient, nurse: User, value: float, at: Any = MORNING, name: str = "systolic_high") -> None:
    set_limit(name=name, patient=patient, value=value, why="Agreed.", by=nurse, at=at)
    evaluate_pending(at=at)


def stay(patient: Patient, nurse: User, first: date, last: date | None = None, **more: Any) -> HospitalStay:
    row = HospitalStay(patient=patient, admitted_on=first, discharged_on=last, **more)
    keep(row, by=nurse, at=MORNING)
    return row


def last_words(alert: Alert) -> str:
    step = alert.steps.last()
    assert step is not None
    return step_words(step)


@pytest.mark.usefixtures("anas_prescription")
class TestLimit:
    def test_a_wider_one_ends_what_lies_inside_it_now(self, ana: Patient, nurse: User) -> None:
        evaluated(ana, HIGH)
        limit(ana, nurse, 190)
        (alert,) = alerts_of("pressure_high")
        assert alert.cause_gone_at == MORNING
        assert last_words(alert).startswith(
            "Inside the limit that holds now: 190 mmHg (set for this patient by Nurse Kim"
        )

    def test_not_what_lies_beyond_it_still(self, ana: Patient, nurse: User) -> None:
        evaluated(ana, HIGH)
        limit(ana, nurse, 183)
        (alert,) = alerts_of("pressure_high")
        assert alert.cause_gone_at is None

    def test_a_narrower_one_brings_it_back(self, ana: Patient, nurse: User) -> None:
        evaluated(ana, HIGH)
        limit(ana, nurse, 190)
        limit(ana, nurse, 180, at=MORNING + DAY)
        (alert,) = alerts_of("pressure_high")
        assert alert.cause_gone_at is None
        assert [step.kind for step in alert.steps.all()] == ["opened", "cause_passed", "cause_back"]


class TestStay:
    def test_it_ends_the_asking_for_records_and_the_care_at_home_waits(self, ana: Patient, nurse: User) -> None:
        PrescriptionFactory(patient=ana, version=1)
        MachineFactory(patient=ana, kind="dialysis", since=(A_NIGHT - 400 * DAY).date())
        Patient.objects.filter(pk=ana.pk).update(joined_on=A_NIGHT.date())
        at = MORNING + 9 * DAY
        evaluated(ana, {})
        look_for_missing(at=at)
        assert [alert.cause_gone_at for alert in alerts_of("missing")] == [None]
        assert alerts_of("care_overdue")
        stay(ana, nurse, (A_NIGHT + DAY).date())
        evaluate_pending(at=at)
        (missing,) = alerts_of("missing")
        assert missing.cause_gone_at == at
        for alert in alerts_of("care_overdue"):
            assert alert.cause_gone_at == at
            assert last_words(alert) == "It waits while the patient is in hospital or away."

    def test_afterwards_the_care_is_asked_for_again(self, ana: Patient, nurse: User) -> None:
        MachineFactory(patient=ana, kind="dialysis", since=(A_NIGHT - 400 * DAY).date())
        row = stay(ana, nurse, (A_NIGHT - DAY).date())
        look_for_missing(at=MORNING)
        assert alerts_of("care_overdue") == []
        row.discharged_on = (A_NIGHT + DAY).date()
        keep(row, by=nurse, at=MORNING)
        look_for_missing(at=MORNING + 3 * DAY)
        assert alerts_of("care_overdue")

    def test_the_next_treatment_is_said_by_it(self, ana: Patient, nurse: User) -> None:
        PrescriptionFactory(patient=ana, version=1)
        row = stay(ana, nurse, (A_NIGHT - DAY).date())
        found = next_treatments([ana], at=MORNING, zone=zone_of(ana))[ana.pk]
        assert (found.stay, found.overdue) == (row, False)
        row.discharged_on = (A_NIGHT + DAY).date()
        keep(row, by=nurse, at=MORNING)
        after = next_treatments([ana], at=MORNING + 2 * DAY, zone=zone_of(ana))[ana.pk]
        assert after.stay is None
        assert not after.overdue
