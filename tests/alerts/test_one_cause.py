"""One cause is one alert; what nobody looks at grows more urgent."""

from __future__ import annotations

from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest

from alerts.models import Alert
from alerts.models.choices import Urgency
from alerts.rules import BY_KEY
from alerts.rules.base import Seen
from alerts.services import acting
from alerts.services.alert_course import AlertCourse, raise_unseen
from alerts.services.evaluation import evaluate_pending, look_for_missing
from alerts.services.muting import mute, mutes_of
from alerts.showing.alert_words import step_words
from homedialysis.accounts.models import Role, User
from sessions.models import Analyte, Patient
from sessions.services.bloods import enter_bloods, take_back_bloods
from tests.alerts.builders import DAY, MORNING, alerts_of, evaluated
from tests.alerts.made_alerts import made_alert
from tests.factories import A_NIGHT, BloodFactory, UserFactory, record_night


def cramped(index: int) -> dict[str, Any]:
    at = A_NIGHT + 2 * index * DAY + timedelta(hours=1)
    return {"events": [{"at": at.isoformat(), "kind": "cramp", "note": ""}]}


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

    def test_cramps_of_the_nights_of_a_fast_removal_are_one_with_it(self, ana: Patient) -> None:
        evaluated(ana, MUCH | cramped(0), MUCH | cramped(1))
        assert len(alerts_of("uf_rate")) == 1
        assert alerts_of("cramp") == []

    def test_cramps_by_themselves_are_told(self, ana: Patient) -> None:
        evaluated(ana, cramped(0), cramped(1))
        assert len(alerts_of("cramp")) == 1

    def test_treatments_whose_records_are_asked_for_are_not_told_again_as_few(self, ana: Patient) -> None:
        """Nine of twelve: three days without a record are one call."""
        nights = [index for index in range(12) if index not in (4, 7, 9)]
        at = A_NIGHT + 28 * DAY
        for index in nights:
            record_night(ana, A_NIGHT + (index // 3 * 7 + (0, 2, 4)[index % 3]) * DAY)
        evaluate_pending(at=at)
        look_for_missing(at=at)
        assert len(alerts_of("missing")) == 1
        assert alerts_of("fewer_treatments") == []

    @pytest.mark.parametrize(
        ("rule", "outcome", "days", "rests"),
        [
            ("venous_rise", "visit", 3, True),
            ("access_story", "spoken", 13, True),
            ("venous_rise", "visit", 15, False),
            ("venous_rise", "record_wrong", 3, False),
            ("uf_rate", "spoken", 3, False),
        ],
    )
    def test_an_access_that_was_just_looked_after_is_not_called_for_by_a_single_sign(
        self, ana: Patient, nurse: User, rule: str, outcome: str, days: int, rests: bool
    ) -> None:
        made_alert(ana, rule=rule, cause=rule, urgency=Urgency.THIS_WEEK)
        alert = Alert.objects.get(patient=ana, rule=rule)
        acting.close(alerts=[alert], by=nurse, outcome=outcome, words="Looked.", at=MORNING)
        history: Any = SimpleNamespace(patient=ana)
        at = MORNING + days * DAY
        for key, wanted in (("bleeding_rise", rests), ("access_story", False)):
            course = AlertCourse(history, mutes_of(ana), at, BY_KEY[key], key)
            assert course._rests(Seen(key, ())) is wanted


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
