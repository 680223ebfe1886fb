"""The life of an alert: evidence joins it, corrections tell on it, people act on it, nothing is overwritten."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, ProgrammingError, connection, transaction

from alerts.models import Alert, AlertStep, Routine
from alerts.models.choices import Outcome, StepKind
from alerts.services import acting
from alerts.services.alert_course import AlertCourse
from alerts.showing.alert_words import sentence_of, step_words
from homedialysis.accounts.models import Role, User
from sessions.models import Patient, Prescription
from tests.alerts.builders import DAY, MORNING, again, alerts_of, evaluated
from tests.crowd import ours
from tests.factories import UserFactory

TOO_FAST = {"uf_removed_l": 3.6}
SPOKEN = {"outcome": Outcome.SPOKEN, "words": "Drinks less from now on; weighs daily."}


@pytest.fixture(autouse=True)
def prescribed(anas_prescription: Prescription) -> Prescription:
    return anas_prescription


def the_alert() -> Alert:
    (alert,) = alerts_of("uf_rate")
    return alert


DOUBTED = " Doubtful: the machine's total is {} L, the weights say 2.3 L."
"""The fluid of these nights was made up beside the weights."""


def kinds(alert: Alert) -> list[str]:
    return list(alert.steps.values_list("kind", flat=True))


class TestEvidence:
    def test_a_second_night_joins_the_open_alert(self, ana: Patient) -> None:
        evaluated(ana, TOO_FAST, {"uf_removed_l": 3.2})
        alert = the_alert()
        expected = "UF rate 12.9 mL/kg/h at worst, in 2 treatments from 2 Mar to 4 Mar, over the limit of 10 mL/kg/h."
        assert sentence_of(alert) == expected + DOUBTED.format(3.2)
        assert [round(item["value"], 1) for item in alert.evidence] == [12.9, 11.4]
        assert (alert.opened_at, alert.last_seen_at) == (MORNING, MORNING + 2 * DAY)
        assert kinds(alert) == ["opened", "evidence"]
        assert step_words(alert.steps.last()) == "Added: 4 Mar."

    def test_a_correction_takes_the_cause_away_but_not_the_alert(self, ana: Patient) -> None:
        (record,) = evaluated(ana, TOO_FAST)
        again(record, uf_removed_l=2.4)
        alert = the_alert()
        assert alert.is_open
        assert alert.cause_gone_at is not None
        assert [item.get("gone") for item in alert.evidence] == [True]
        assert kinds(alert) == ["opened", "cause_gone"]

    def test_a_correction_of_one_of_two_nights(self, ana: Patient) -> None:
        first, _ = evaluated(ana, TOO_FAST, {"uf_removed_l": 3.2})
        again(first, uf_removed_l=2.4)
        alert = the_alert()
        assert alert.cause_gone_at is None
        assert sentence_of(alert) == "UF rate 11.4 mL/kg/h on 4 Mar, over the limit of 10 mL/kg/h." + DOUBTED.format(
            3.2
        )
        assert step_words(alert.steps.last()) == "No longer so: 2 Mar."

    def test_a_correction_that_is_over_too(self, ana: Patient) -> None:
        (record,) = evaluated(ana, TOO_FAST)
        again(record, uf_removed_l=4.2)
        alert = the_alert()
        assert sentence_of(alert) == "UF rate 15.0 mL/kg/h on 2 Mar, over the limit of 10 mL/kg/h." + DOUBTED.format(
            4.2
        )
        assert [(round(item["value"], 1), item.get("gone", False)) for item in alert.evidence] == [
            (12.9, True),
            (15.0, False),
        ]

    def test_the_cause_comes_back(self, ana: Patient) -> None:
        (record,) = evaluated(ana, TOO_FAST)
        gone = again(record, uf_removed_l=2.4)
        again(gone, uf_removed_l=3.6)
        assert the_alert().cause_gone_at is None
        assert kinds(the_alert()) == ["opened", "cause_gone", "cause_back"]

    def test_nothing_new_writes_nothing(self, ana: Patient) -> None:
        (record,) = evaluated(ana, TOO_FAST)
        again(record, notes="Slept well.")
        assert kinds(the_alert()) == ["opened"]

    def test_one_open_alert_is_the_databases_rule(self, ana: Patient) -> None:
        evaluated(ana, TOO_FAST)
        twin = the_alert()
        twin.pk = None
        with pytest.raises(IntegrityError, match="alert_open_once"), transaction.atomic():
            twin.save(force_insert=True)


@pytest.fixture
def restless(monkeypatch: pytest.MonkeyPatch) -> None:
    """As of a rule that comes back with the next night."""
    monkeypatch.setattr(AlertCourse, "_rests", lambda course, seen: False)


@pytest.mark.usefixtures("restless")
class TestAfterClosing:
    def close(self, nurse: User, at: Any = MORNING) -> None:
        acting.close(alerts=[the_alert()], by=nurse, at=at, **SPOKEN)

    def test_what_was_dealt_with_opens_nothing(self, ana: Patient, nurse: User) -> None:
        (record,) = evaluated(ana, TOO_FAST)
        self.close(nurse)
        again(record, notes="Slept well.")
        evaluated(ana, {}, first=2)
        assert not the_alert().is_open

    def test_a_new_night_within_the_time_goes_on_with_the_same_story(self, ana: Patient, nurse: User) -> None:
        evaluated(ana, TOO_FAST)
        self.close(nurse)
        evaluated(ana, {"uf_removed_l": 3.2}, first=1)
        alert = the_alert()
        assert (alert.is_open, alert.outcome, alert.closed_by, alert.looked_at) == (True, "", None, None)
        assert sentence_of(alert) == "UF rate 11.4 mL/kg/h on 4 Mar, over the limit of 10 mL/kg/h." + DOUBTED.format(
            3.2
        )
        assert [(round(item["value"], 1), item.get("handled", False)) for item in alert.evidence] == [
            (12.9, True),
            (11.4, False),
        ]
        assert kinds(alert) == ["opened", "closed", "back_again"]
        assert (alert.waits_since, alert.opened_at) == (MORNING + 2 * DAY, MORNING)
        assert alert.steps.get(kind="closed").outcome == "spoken"

    def test_after_the_time_a_new_one_opens_with_its_own_evidence(self, ana: Patient, nurse: User) -> None:
        evaluated(ana, TOO_FAST)
        self.close(nurse)
        evaluated(ana, {"uf_removed_l": 3.2}, first=8)
        closed, opened = alerts_of("uf_rate")
        assert not closed.is_open
        assert [round(item["value"], 1) for item in opened.evidence] == [11.4]

    def test_the_time_is_the_units(self, ana: Patient, nurse: User) -> None:
        Routine.objects.create(reopen_days=1)
        evaluated(ana, TOO_FAST)
        self.close(nurse)
        evaluated(ana, {"uf_removed_l": 3.2}, first=1)
        assert [alert.is_open for alert in alerts_of("uf_rate")] == [False, True]

    def test_what_came_back_grows_and_is_dealt_with_again(self, ana: Patient, nurse: User) -> None:
        first, *_ = evaluated(ana, TOO_FAST)
        self.close(nurse)
        evaluated(ana, {"uf_removed_l": 3.2}, {"uf_removed_l": 3.3}, first=1)
        first = again(first, notes="Slept well.")
        alert = the_alert()
        assert [(round(item["value"], 1), item.get("handled", False)) for item in alert.evidence] == [
            (12.9, True),
            (11.4, False),
            (11.8, False),
        ]
        self.close(nurse, MORNING + 5 * DAY)
        again(first, notes="Slept very well.")
        assert not the_alert().is_open

    def test_a_correction_of_what_came_back_says_that_the_cause_is_gone(self, ana: Patient, nurse: User) -> None:
        evaluated(ana, TOO_FAST)
        self.close(nurse)
        (record,) = evaluated(ana, {"uf_removed_l": 3.2}, first=1)
        again(record, uf_removed_l=2.4)
        assert the_alert().cause_gone_at is not None
        assert the_alert().is_open

    def test_a_correction_that_makes_it_worse_goes_on(self, ana: Patient, nurse: User) -> None:
        (record,) = evaluated(ana, TOO_FAST)
        self.close(nurse)
        again(record, uf_removed_l=4.2)
        assert kinds(the_alert()) == ["opened", "closed", "back_again"]

    def test_a_pattern_must_show_anew(self, ana: Patient, nurse: User) -> None:
        """Off target twice running was dealt with: one more such night is no pattern, two are."""
        evaluated(ana, *[{"post_weight_kg": 71.5}] * 2)
        (alert,) = alerts_of("off_target")
        acting.close(alerts=[alert], by=nurse, at=MORNING, **SPOKEN)
        evaluated(ana, {"post_weight_kg": 71.5}, first=2)
        assert [alert.is_open for alert in alerts_of("off_target")] == [False]
        evaluated(ana, {"post_weight_kg": 71.5}, first=3)
        assert [alert.is_open for alert in alerts_of("off_target")] == [True]

    def test_what_was_closed_as_wrong_and_then_turns_out_right(self, ana: Patient, nurse: User) -> None:
        (record,) = evaluated(ana, TOO_FAST)
        corrected = again(record, uf_removed_l=2.4)
        acting.close(alerts=[the_alert()], by=nurse, at=MORNING + 2 * DAY, outcome="record_wrong", words="Slip.")
        again(corrected, uf_removed_l=3.6)
        assert the_alert().is_open


class TestPeople:
    @pytest.fixture(autouse=True)
    def alert(self, ana: Patient) -> None:
        evaluated(ana, TOO_FAST)

    def test_seen_once_until_something_is_new(self, ana: Patient, nurse: User) -> None:
        assert acting.see(alert=the_alert(), by=nurse, at=MORNING + DAY)
        assert not acting.see(alert=the_alert(), by=nurse, at=MORNING + DAY)
        evaluated(ana, TOO_FAST, first=1)
        assert acting.see(alert=the_alert(), by=nurse, at=MORNING + 3 * DAY)
        assert kinds(the_alert()) == ["opened", "seen", "evidence", "seen"]

    def test_closed_with_person_time_and_words(self, nurse: User) -> None:
        acting.close(alerts=[the_alert()], by=nurse, at=MORNING, **SPOKEN)
        alert = the_alert()
        assert (alert.state, alert.closed_by, alert.closed_at, alert.outcome) == ("closed", nurse, MORNING, "spoken")
        step = alert.steps.last()
        assert step is not None
        assert (step.kind, step.who, step.at, step.words) == ("closed", nurse, MORNING, SPOKEN["words"])

    @pytest.mark.parametrize("words", ["", "  \n"])
    def test_not_without_words(self, nurse: User, words: str) -> None:
        with pytest.raises(acting.WordsMissing):
            acting.close(alerts=[the_alert()], by=nurse, at=MORNING, outcome="spoken", words=words)
        with pytest.raises(acting.WordsMissing):
            acting.note(alerts=[the_alert()], by=nurse, at=MORNING, words=words)
        assert the_alert().is_open

    def test_not_with_an_outcome_of_ones_own(self, nurse: User) -> None:
        with pytest.raises(ValueError, match="dunno"):
            acting.close(alerts=[the_alert()], by=nurse, at=MORNING, outcome="dunno", words="?")

    @pytest.mark.parametrize("role", [Role.TECHNOLOGIST, Role.ADMINISTRATOR, Role.PATIENT, Role.CARE_PARTNER])
    def test_others_do_not_act(self, role: Role) -> None:
        person, alert = UserFactory(role=role), the_alert()
        with pytest.raises(PermissionDenied):
            acting.close(alerts=[alert], by=person, at=MORNING, **SPOKEN)
        with pytest.raises(PermissionDenied):
            acting.see(alert=alert, by=person, at=MORNING)
        with pytest.raises(PermissionDenied):
            acting.note(alerts=[alert], by=person, at=MORNING, words="x")
        assert kinds(alert) == ["opened"]

    def test_the_second_to_close_sees_what_the_first_did(self, nurse: User, nephrologist: User) -> None:
        stale = the_alert()
        acting.close(alerts=[the_alert()], by=nurse, at=MORNING, **SPOKEN)
        with pytest.raises(acting.AlreadyClosed, match="Nurse Kim closed this alert") as caught:
            acting.close(alerts=[stale], by=nephrologist, at=MORNING, outcome="other", words="Also me.")
        assert caught.value.alert.outcome == "spoken"
        assert kinds(the_alert()) == ["opened", "closed"]

    def test_a_step_added_meanwhile_is_read_first(self, nurse: User, nephrologist: User) -> None:
        looked_at = the_alert().steps.last()
        assert looked_at is not None
        acting.note(alerts=[the_alert()], by=nephrologist, at=MORNING, words="Target weight changes on Thursday.")
        with pytest.raises(acting.MovedOn):
            acting.close(
                alerts=[the_alert()], by=nurse, at=MORNING, newest={looked_at.alert_id: looked_at.pk}, **SPOKEN
            )
        assert the_alert().is_open

    def test_a_note_after_closing(self, nurse: User) -> None:
        acting.close(alerts=[the_alert()], by=nurse, at=MORNING, **SPOKEN)
        acting.note(alerts=[the_alert()], by=nurse, at=MORNING, words="Called back at noon.")
        assert kinds(the_alert()) == ["opened", "closed", "note"]

    @pytest.mark.parametrize("change", [lambda rows: rows.update(words="never"), lambda rows: rows.delete()])
    def test_steps_are_only_ever_added(self, change: Any) -> None:
        with pytest.raises(ProgrammingError, match="Cannot update or delete"), transaction.atomic():
            change(ours(AlertStep))

    def test_each_version_of_an_alert_is_kept(self, nurse: User) -> None:
        acting.close(alerts=[the_alert()], by=nurse, at=MORNING, **SPOKEN)
        versions: Any = the_alert().events  # type: ignore[attr-defined]
        assert list(versions.order_by("pgh_id").values_list("state", flat=True)) == ["open", "closed"]


@pytest.mark.django_db(transaction=True)
def test_two_nurses_at_the_same_moment(ana: Patient) -> None:
    evaluated(ana, TOO_FAST)
    alert = the_alert()
    nurses = [UserFactory(role=Role.NURSE, name=name) for name in ("Kim", "Sol")]
    start = threading.Barrier(2)

    def close(nurse: User) -> str:
        try:
            start.wait(timeout=10)
            acting.close(alerts=[alert], by=nurse, at=MORNING, outcome="spoken", words=f"{nurse} called.")
        except acting.AlreadyClosed as problem:
            return f"{nurse} learns: {problem.alert.closed_by}"
        finally:
            connection.close()
        return f"{nurse} closed"

    with ThreadPoolExecutor(2) as pool:
        said = sorted(pool.map(close, nurses))
    assert said in (["Kim closed", "Sol learns: Kim"], ["Kim learns: Sol", "Sol closed"])
    assert kinds(alert) == ["opened", StepKind.CLOSED]
