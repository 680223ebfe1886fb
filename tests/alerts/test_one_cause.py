"""One cause is one alert; what nobody looks at grows more urgent."""

from __future__ import annotations

from datetime import timedelta

import pytest

from alerts.models.choices import Urgency
from alerts.services import acting
from alerts.services.alert_course import raise_unseen
from alerts.services.evaluation import evaluate_pending
from alerts.services.muting import mute
from alerts.showing.alert_words import step_words
from homedialysis.accounts.models import Role, User
from sessions.models import Analyte, Patient
from sessions.services.bloods import enter_bloods, take_back_bloods
from tests.alerts.builders import DAY, MORNING, alerts_of, evaluated
from tests.factories import A_NIGHT, BloodFactory, UserFactory

MUCH = {"uf_removed_l": 4.4, "pre_weight_kg": 74.4}


def potassium(patient: Patient, value: float) -> None:
    drawn = BloodFactory.build(patient=patient, analyte=Analyte.POTASSIUM, value=value, timing="apart")
    enter_bloods(results=[drawn], by=UserFactory(role=Role.NURSE), at=MORNING)
    evaluate_pending(at=MORNING)


@pytest.mark.usefixtures("anas_prescription")
class TestJoined:
    def test_fast_and_much_of_the_same_nights_is_one(self, ana: Patient) -> None:
        evaluated(ana, MUCH, MUCH)
        assert len(alerts_of("uf_rate")) == 1
        assert alerts_of("uf_volume") == []

    def test_what_the_other_cannot_tell_while_it_is_muted_is_told(self, ana: Patient, nurse: User) -> None:
        mute(patient=ana, rule="uf_rate", until=MORNING + 30 * DAY, why="Known.", by=nurse, at=A_NIGHT - DAY)
        evaluated(ana, MUCH, MUCH)
        assert len(alerts_of("uf_volume")) == 1


@pytest.mark.usefixtures("anas_prescription")
def test_a_habit_that_was_spoken_of_is_left_alone_for_a_fortnight(ana: Patient, nurse: User) -> None:
    evaluated(ana, MUCH)
    acting.close(alerts=alerts_of("uf_rate"), by=nurse, outcome="spoken", words="Drinks less.", at=MORNING)
    evaluated(ana, MUCH, first=1)
    (alert,) = alerts_of("uf_rate")
    assert alert.state == "closed"
    evaluated(ana, MUCH, first=8)
    assert alerts_of("uf_rate")[-1].state == "open"


def test_taking_back_another_patients_potassium_ends_what_it_called_for(ana: Patient, nurse: User) -> None:
    potassium(ana, 6.8)
    (alert,) = alerts_of("potassium_call")
    (drawn,) = ana.bloods.all()
    take_back_bloods(drawn, why="Another patient's tube.", by=nurse, at=MORNING + DAY)
    evaluate_pending(at=MORNING + DAY)
    (after,) = alerts_of("potassium_call")
    assert alert.cause_gone_at is None
    assert after.cause_gone_at is not None


class TestUnseen:
    def test_potassium_of_6_is_for_this_week_and_rises_to_today_unseen(self, ana: Patient) -> None:
        potassium(ana, 6.4)
        (alert,) = alerts_of("potassium")
        assert alert.urgency == Urgency.THIS_WEEK
        assert raise_unseen(at=MORNING + timedelta(hours=23)) == 0
        assert raise_unseen(at=MORNING + DAY) == 1
        (alert,) = alerts_of("potassium")
        assert (alert.urgency, alert.waits_since) == (Urgency.CALL_TODAY, MORNING + DAY)
        step = alert.steps.last()
        assert step is not None
        assert step_words(step) == "Nobody has looked at it for 1 day: call today now."

    def test_not_once_somebody_looked(self, ana: Patient, nurse: User) -> None:
        potassium(ana, 6.4)
        acting.see(alert=alerts_of("potassium")[0], by=nurse, at=MORNING)
        assert raise_unseen(at=MORNING + 9 * DAY) == 0

    def test_a_little_over_waits_a_week_first(self, ana: Patient) -> None:
        drawn = BloodFactory.build(patient=ana, analyte=Analyte.HAEMOGLOBIN, value=99, timing="apart")
        enter_bloods(results=[drawn], by=UserFactory(role=Role.NURSE), at=MORNING)
        evaluate_pending(at=MORNING)
        assert alerts_of("haemoglobin")[0].urgency == Urgency.AT_REVIEW
        assert raise_unseen(at=MORNING + 6 * DAY) == 0
        assert raise_unseen(at=MORNING + 7 * DAY) == 1
        assert alerts_of("haemoglobin")[0].urgency == Urgency.THIS_WEEK
