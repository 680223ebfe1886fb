"""What people do with several alerts at once: give, set aside, call, close; nobody's step is overwritten."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import date, datetime, timedelta

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, ProgrammingError, connection, transaction

from alerts.models import Alert, Call, PendingEvaluation
from alerts.models.choices import Urgency
from alerts.services import acting
from alerts.services.alert_course import bring_back_due
from alerts.showing.alert_words import step_words
from homedialysis.accounts.models import Role, User
from homedialysis.accounts.services.dates import short_day
from sessions.models import Patient
from tests.alerts.made_alerts import MORNING, made_alert, newest
from tests.crowd import ours
from tests.factories import UserFactory

DAY = timedelta(days=1)
WEDNESDAY = date(2026, 3, 4)


@pytest.fixture
def two(ana: Patient) -> list[Alert]:
    return [made_alert(ana), made_alert(ana, rule="venous_high", cause="venous_high")]


def kinds(alert: Alert) -> list[str]:
    return list(alert.steps.values_list("kind", flat=True))


class TestGive:
    def test_to_a_person(self, two: list[Alert], nurse: User, nephrologist: User) -> None:
        acting.assign(alerts=two, by=nurse, to=nephrologist, at=MORNING, words="Target weight?")
        for alert in two:
            alert.refresh_from_db()
            step = alert.steps.last()
            assert alert.assigned_to == nephrologist
            assert step is not None
            assert (step.kind, step.who, step.to, step.words) == ("assigned", nurse, nephrologist, "Target weight?")

    @pytest.mark.parametrize("role", [Role.TECHNOLOGIST, Role.ADMINISTRATOR, Role.PATIENT])
    def test_not_to_somebody_who_may_not_act(self, two: list[Alert], nurse: User, role: Role) -> None:
        with pytest.raises(ValidationError, match="no nurse or nephrologist"):
            acting.assign(alerts=two, by=nurse, to=UserFactory(role=role), at=MORNING)
        assert kinds(two[0]) == ["opened"]

    def test_it_counts_as_looked_at(self, two: list[Alert], nurse: User) -> None:
        acting.assign(alerts=two[:1], by=nurse, to=nurse, at=MORNING)
        assert Alert.objects.get(pk=two[0].pk).looked_at == MORNING
        assert Alert.objects.get(pk=two[1].pk).looked_at is None


class TestSetAside:
    @pytest.fixture(autouse=True)
    def not_today(self, two: list[Alert]) -> None:
        """What wants a call today has rules of its own, see `TestSetAsideToday`."""
        for alert in two:
            alert.urgency = Urgency.THIS_WEEK
            alert.save()

    def test_until_the_morning_of_a_day_at_the_unit(self, two: list[Alert], nurse: User) -> None:
        acting.set_aside(alerts=two, by=nurse, until=WEDNESDAY, words="Bloods on Tuesday.", at=MORNING)
        alert = Alert.objects.get(pk=two[0].pk)
        assert alert.set_aside_until is not None
        assert alert.set_aside_until.isoformat() == "2026-03-04T00:00:00+00:00"
        assert list(ours(Alert).on_the_table()) == []
        step = alert.steps.last()
        assert step is not None
        assert (step.kind, step.until, step.words) == ("set_aside", WEDNESDAY, "Bloods on Tuesday.")

    def test_comes_back_by_itself_and_says_so(self, two: list[Alert], nurse: User) -> None:
        acting.set_aside(alerts=two, by=nurse, until=WEDNESDAY, words="Bloods.", at=MORNING)
        assert bring_back_due(at=MORNING + timedelta(hours=12)) == 0
        assert bring_back_due(at=MORNING + DAY) == 2
        assert bring_back_due(at=MORNING + DAY) == 0
        alert = Alert.objects.get(pk=two[0].pk)
        assert kinds(alert) == ["opened", "set_aside", "returned"]
        assert (alert.set_aside_until, alert.looked_at, alert.waits_since) == (None, None, MORNING + DAY)

    @pytest.mark.parametrize("until", [date(2026, 3, 3), date(2026, 3, 1), date(2026, 6, 30)])
    def test_not_to_the_past_and_not_for_ever(self, two: list[Alert], nurse: User, until: date) -> None:
        with pytest.raises(ValidationError, match=f"at most 92 days away; {short_day(until)} was given"):
            acting.set_aside(alerts=two, by=nurse, until=until, words="Later.", at=MORNING)

    def test_not_without_a_reason(self, two: list[Alert], nurse: User) -> None:
        with pytest.raises(acting.WordsMissing):
            acting.set_aside(alerts=two, by=nurse, until=WEDNESDAY, words=" ", at=MORNING)

    def test_what_is_closed_is_not_aside(self, two: list[Alert], nurse: User) -> None:
        acting.set_aside(alerts=two, by=nurse, until=WEDNESDAY, words="Bloods.", at=MORNING)
        acting.close(alerts=two, by=nurse, outcome="spoken", words="Done.", at=MORNING)
        assert Alert.objects.get(pk=two[0].pk).set_aside_until is None
        with pytest.raises(IntegrityError, match="alert_set_aside_open"), transaction.atomic():
            Alert.objects.filter(pk=two[0].pk).update(set_aside_until=MORNING)


def reached(patient: Patient, by: User, at: datetime = MORNING) -> None:
    acting.log_call(patient=patient, by=by, result="reached", said="Feels well.", at=at)


class TestSetAsideToday:
    """What wants a call today: only once the patient was spoken with, and for three days at most."""

    def test_not_before_the_patient_was_reached(self, two: list[Alert], ana: Patient, nurse: User) -> None:
        acting.log_call(patient=ana, by=nurse, result="no_answer", at=MORNING)
        reached(ana, nurse, MORNING - DAY)  # before the alert came
        with pytest.raises(acting.NotSpoken, match="note first that the patient was reached"):
            acting.set_aside(alerts=two, by=nurse, until=WEDNESDAY, words="Later.", at=MORNING)
        reached(ana, nurse)
        acting.set_aside(alerts=two, by=nurse, until=WEDNESDAY, words="Comes in.", at=MORNING)
        assert list(ours(Alert).on_the_table()) == []

    def test_for_three_days_at_most(self, two: list[Alert], ana: Patient, nurse: User) -> None:
        reached(ana, nurse)
        with pytest.raises(ValidationError, match="at most 3 days away; 7 Mar 2026 was given"):
            acting.set_aside(alerts=two, by=nurse, until=date(2026, 3, 7), words="Later.", at=MORNING)
        acting.set_aside(alerts=two, by=nurse, until=date(2026, 3, 6), words="Comes in.", at=MORNING)

    def test_once_back_it_wants_another_call(self, two: list[Alert], ana: Patient, nurse: User) -> None:
        reached(ana, nurse)
        acting.set_aside(alerts=two, by=nurse, until=WEDNESDAY, words="Comes in.", at=MORNING)
        bring_back_due(at=MORNING + DAY)
        with pytest.raises(acting.NotSpoken):
            acting.set_aside(alerts=two, by=nurse, until=date(2026, 3, 6), words="Later.", at=MORNING + DAY)

    def test_taken_up_again_before_its_day(self, two: list[Alert], ana: Patient, nurse: User) -> None:
        reached(ana, nurse)
        acting.set_aside(alerts=two, by=nurse, until=WEDNESDAY, words="Comes in.", at=MORNING)
        assert acting.take_up(alert=two[0], by=nurse, at=MORNING)
        assert not acting.take_up(alert=two[0], by=nurse, at=MORNING)
        assert list(ours(Alert).on_the_table()) == [two[0]]
        assert kinds(two[0]) == ["opened", "set_aside", "returned"]


class TestToBeDone:
    """An overdue task does not end by talking about it."""

    def test_not_closed_while_it_is_not_done(self, ana: Patient, nurse: User) -> None:
        alert = made_alert(ana, rule="water_overdue", cause="bacteria")
        with pytest.raises(acting.NotDone, match="is over when it is noted as done"):
            acting.close(alerts=[alert], by=nurse, outcome="spoken", words="Will send it.", at=MORNING)
        Alert.objects.filter(pk=alert.pk).update(cause_gone_at=MORNING)
        acting.close(alerts=[alert], by=nurse, outcome="spoken", words="Sent.", at=MORNING)
        assert ours(Alert).closed().count() == 1

    def test_with_it_nothing_else_is_closed(self, two: list[Alert], ana: Patient, nurse: User) -> None:
        alert = made_alert(ana, rule="training_overdue", cause="training")
        with pytest.raises(acting.NotDone):
            acting.close_each(outcomes={two[0].pk: "spoken", alert.pk: "known"}, by=nurse, words="Done.", at=MORNING)
        assert ours(Alert).open().count() == 3


class TestReopen:
    """Undo for whoever closed it, for a while; later with a reason."""

    @pytest.fixture
    def closed(self, two: list[Alert], nurse: User) -> Alert:
        outcomes = {two[0].pk: "visit", two[1].pk: "known"}
        acting.close_each(outcomes=outcomes, by=nurse, words="Comes on Thursday.", at=MORNING)
        return two[0]

    def test_each_has_its_own_outcome(self, closed: Alert) -> None:
        assert dict(ours(Alert).values_list("rule", "outcome")) == {"uf_rate": "visit", "venous_high": "known"}

    def test_whoever_closed_it_just_now_takes_it_back_without_a_word(self, closed: Alert, nurse: User) -> None:
        assert acting.may_be_undone(by=nurse, at=MORNING + timedelta(minutes=15))[-1] == closed
        assert acting.reopen(alert=closed, by=nurse, at=MORNING + timedelta(minutes=15))
        assert not acting.reopen(alert=closed, by=nurse, at=MORNING + timedelta(minutes=15))
        again = Alert.objects.get(pk=closed.pk)
        assert (again.state, again.closed_by, again.closed_at, again.outcome) == ("open", None, None, "")
        assert kinds(closed) == ["opened", "closed", "reopened"]
        assert ours(PendingEvaluation).filter(patient=closed.patient).exists()

    def test_later_or_by_another_only_with_a_reason(self, closed: Alert, nurse: User, nephrologist: User) -> None:
        for by, after in ((nurse, timedelta(minutes=16)), (nephrologist, timedelta(minutes=1))):
            with pytest.raises(acting.WordsMissing):
                acting.reopen(alert=closed, by=by, at=MORNING + after)
        acting.reopen(alert=closed, by=nephrologist, at=MORNING + 30 * DAY, words="It is not over.")
        step = closed.steps.last()
        assert step is not None
        assert (step.kind, step.who, step.words) == ("reopened", nephrologist, "It is not over.")

    def test_not_beside_one_that_came_back_by_itself(self, closed: Alert, ana: Patient, nurse: User) -> None:
        made_alert(ana)
        with pytest.raises(acting.OpenAlready):
            acting.reopen(alert=closed, by=nurse, at=MORNING)

    def test_not_by_a_technologist(self, closed: Alert, technologist: User) -> None:
        with pytest.raises(PermissionDenied):
            acting.reopen(alert=closed, by=technologist, at=MORNING, words="x")


class TestCall:
    def test_beside_the_alerts_it_was_about(self, two: list[Alert], ana: Patient, nurse: User) -> None:
        call = acting.log_call(
            patient=ana,
            by=nurse,
            result="reached",
            said="Drank more at the party.",
            plan="Weighs daily.",
            next_call_at=MORNING + 2 * DAY,
            at=MORNING,
            alerts=two[:1],
        )
        assert [kinds(alert)[-1] for alert in two] == ["call", "opened"]
        step = two[0].steps.last()
        assert step is not None
        assert (step.call, step_words(step)) == (call, "Reached. Drank more at the party. Plan: Weighs daily.")

    def test_what_was_said_is_needed_when_reached(self, ana: Patient, nurse: User) -> None:
        with pytest.raises(ValidationError, match="write down what was said"):
            acting.log_call(patient=ana, by=nurse, result="reached", at=MORNING)
        acting.log_call(patient=ana, by=nurse, result="no_answer", at=MORNING)
        assert ours(Call).count() == 1

    @pytest.mark.parametrize("after", [timedelta(0), -DAY, timedelta(days=93)])
    def test_the_next_call_is_later(self, ana: Patient, nurse: User, after: timedelta) -> None:
        with pytest.raises(ValidationError, match="Must be later than now, at most 92 days"):
            acting.log_call(patient=ana, by=nurse, result="message", next_call_at=MORNING + after, at=MORNING)

    def test_is_never_changed(self, ana: Patient, nurse: User) -> None:
        acting.log_call(patient=ana, by=nurse, result="no_answer", at=MORNING)
        with pytest.raises(ProgrammingError, match="Cannot update or delete"), transaction.atomic():
            ours(Call).update(said="never")

    def test_patients_do_not_see_what_was_written(self, ana: Patient, nurse: User) -> None:
        acting.log_call(patient=ana, by=nurse, result="no_answer", at=MORNING)
        assert ana.account is not None
        assert list(ours(Call).visible_to(ana.account)) == []
        assert ours(Call).visible_to(nurse).count() == 1


class TestTogether:
    def test_several_are_closed_in_one_go(self, two: list[Alert], nurse: User) -> None:
        acting.close(alerts=two, by=nurse, outcome="visit", words="Comes on Thursday.", at=MORNING)
        assert set(ours(Alert).values_list("state", "outcome")) == {("closed", "visit")}
        assert [kinds(alert) for alert in two] == [["opened", "closed"]] * 2

    def test_all_or_none(self, two: list[Alert], nurse: User, nephrologist: User) -> None:
        seen = newest(*two)
        acting.note(alerts=two[1:], by=nephrologist, words="I look at it.", at=MORNING)
        with pytest.raises(acting.MovedOn) as caught:
            acting.close(alerts=two, by=nurse, outcome="spoken", words="Done.", at=MORNING, newest=seen)
        assert [(step.who, step.words) for step in caught.value.steps] == [(nephrologist, "I look at it.")]
        assert ours(Alert).open().count() == 2

    @pytest.mark.parametrize("deed", ["note", "assign", "set_aside", "close", "log_call"])
    def test_no_act_passes_over_a_step_that_was_not_seen(
        self, two: list[Alert], ana: Patient, nurse: User, nephrologist: User, deed: str
    ) -> None:
        Alert.objects.filter(pk__in=[alert.pk for alert in two]).update(urgency=Urgency.THIS_WEEK)
        common = {"alerts": two, "by": nurse, "at": MORNING, "newest": newest(*two)}
        own = {
            "note": {"words": "x"},
            "assign": {"to": nurse},
            "set_aside": {"until": WEDNESDAY, "words": "x"},
            "close": {"outcome": "spoken", "words": "x"},
            "log_call": {"patient": ana, "result": "no_answer"},
        }[deed]
        acting.see(alert=two[0], by=nephrologist, at=MORNING)
        with pytest.raises(acting.MovedOn):
            getattr(acting, deed)(**common, **own)
        assert [kinds(alert) for alert in two] == [["opened", "seen"], ["opened"]]
        assert ours(Call).count() == 0
        getattr(acting, deed)(**(common | {"newest": newest(*two)}), **own)

    @pytest.mark.parametrize("role", [Role.TECHNOLOGIST, Role.ADMINISTRATOR, Role.PATIENT, Role.CARE_PARTNER])
    def test_others_do_not_act(self, two: list[Alert], ana: Patient, nurse: User, role: Role) -> None:
        person = UserFactory(role=role)
        with pytest.raises(PermissionDenied):
            acting.assign(alerts=two, by=person, to=nurse, at=MORNING)
        with pytest.raises(PermissionDenied):
            acting.set_aside(alerts=two, by=person, until=WEDNESDAY, words="x", at=MORNING)
        with pytest.raises(PermissionDenied):
            acting.log_call(patient=ana, by=person, result="no_answer", at=MORNING)


@pytest.mark.django_db(transaction=True)
def test_two_nurses_at_the_same_moment_on_crossing_bundles(ana: Patient) -> None:
    """Each chose both alerts, in the other order: one is first, the other reads it; none waits for ever."""
    two = [made_alert(ana), made_alert(ana, rule="venous_high", cause="venous_high")]
    seen, start = newest(*two), threading.Barrier(2)

    def act(alerts: list[Alert], name: str) -> str:
        person = UserFactory(role=Role.NURSE, name=name)
        try:
            start.wait(timeout=10)
            acting.note(alerts=alerts, by=person, words=f"{name} rings.", at=MORNING, newest=seen)
        except acting.MovedOn as moved:
            return f"{name} reads: {moved.steps[0].who}"
        finally:
            connection.close()
        return f"{name} wrote"

    with ThreadPoolExecutor(2) as pool:
        said = sorted(pool.map(act, [two, two[::-1]], ["Kim", "Sol"]))
    assert said in (["Kim reads: Sol", "Sol wrote"], ["Kim wrote", "Sol reads: Kim"])
    assert [kinds(alert) for alert in two] == [["opened", "note"]] * 2
