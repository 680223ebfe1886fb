"""Urgent and not looked at: the next on the rota gets a message, and only in opening hours."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, time, timedelta

import pytest
from django.db import IntegrityError, connection, transaction

from alerts.models import Absence, Alert, AlertMessage, PushAddress, RotaTurn, Routine
from alerts.models.choices import Channel, Urgency
from alerts.services import acting, escalation
from alerts.services.rota import order_at
from homedialysis.accounts.models import Role, Unit, User
from sessions.models import Patient
from tests.alerts.made_alerts import MORNING, made_alert
from tests.crowd import ours
from tests.factories import UserFactory

MINUTE = timedelta(minutes=1)


@pytest.fixture
def team(unit: Unit) -> list[User]:
    """Bo first, then Al, on Tuesdays; Cy is a nurse without a turn."""
    people = [UserFactory(role=Role.NURSE, name=name) for name in ("Bo", "Al", "Cy")]
    for place, person in enumerate(people[:2], start=1):
        RotaTurn.objects.create(person=person, weekday=1, begins=time(8), ends=time(17), place=place)
    return people


def told() -> list[str]:
    return [row.to.name for row in ours(AlertMessage).order_by("made_at", "pk")]


class TestOrder:
    def names(self, at: datetime) -> list[str]:
        return [person.name for person in order_at(Unit.objects.get(), at)]

    def test_places_first_then_the_other_nurses(self, team: list[User]) -> None:
        assert self.names(MORNING) == ["Bo", "Al", "Cy"]

    def test_another_day_has_no_turn(self, team: list[User]) -> None:
        assert self.names(MORNING + timedelta(days=1)) == ["Al", "Bo", "Cy"]

    def test_a_turn_ends(self, team: list[User]) -> None:
        RotaTurn.objects.filter(person=team[0]).update(ends=time(9, 30))
        assert self.names(MORNING - MINUTE)[0] == "Bo"
        assert self.names(MORNING) == ["Al", "Bo", "Cy"]

    def test_a_turn_begins_on_its_minute_and_ends_before_its_last(self, team: list[User]) -> None:
        RotaTurn.objects.filter(person=team[0]).update(begins=MORNING.time())
        assert [self.names(MORNING - MINUTE)[0], self.names(MORNING)[0]] == ["Al", "Bo"]

    def test_away_from_the_first_day_to_the_last(self, team: list[User]) -> None:
        day = timedelta(days=1)
        Absence.objects.create(person=team[2], first_day=MORNING.date(), last_day=(MORNING + day).date())
        there = ["Cy" in self.names(MORNING + days * day) for days in (-1, 0, 1, 2)]
        assert there == [True, False, False, True]

    def test_nobody_who_does_not_care_for_patients(self, team: list[User], technologist: User) -> None:
        RotaTurn.objects.create(person=technologist, weekday=1, begins=time(8), ends=time(17), place=0)
        assert self.names(MORNING) == ["Bo", "Al", "Cy"]

    def test_not_those_who_are_away_or_gone(self, team: list[User]) -> None:
        Absence.objects.create(person=team[0], first_day=MORNING.date(), last_day=MORNING.date())
        User.objects.filter(pk=team[1].pk).update(is_active=False)
        assert self.names(MORNING) == ["Cy"]
        assert self.names(MORNING + timedelta(days=7)) == ["Bo", "Cy"]

    def test_a_nephrologist_may_have_a_turn(self, team: list[User], nephrologist: User) -> None:
        RotaTurn.objects.create(person=nephrologist, weekday=1, begins=time(8), ends=time(17), place=3)
        assert self.names(MORNING) == ["Bo", "Al", "Dr Lee", "Cy"]


class TestTelling:
    def test_not_before_the_time_is_over(self, team: list[User], ana: Patient) -> None:
        made_alert(ana)
        assert escalation.tell_next(at=MORNING + 29 * MINUTE) == 0
        assert escalation.tell_next(at=MORNING + 30 * MINUTE) == 1
        assert told() == ["Bo"]

    def test_the_step_says_so_in_the_same_transaction(self, team: list[User], ana: Patient) -> None:
        alert = made_alert(ana)
        escalation.tell_next(at=MORNING + 30 * MINUTE)
        step = alert.steps.last()
        assert step is not None
        assert (step.kind, step.who, step.to) == ("told", None, team[0])
        row = ours(AlertMessage).get()
        assert (row.alert, row.waiting_since, row.channel, row.due_at) == (alert, MORNING, "email", row.made_at)

    def test_then_the_next_and_nobody_twice(self, team: list[User], ana: Patient) -> None:
        made_alert(ana)
        for minutes in range(0, 200, 10):
            escalation.tell_next(at=MORNING + minutes * MINUTE)
        assert told() == ["Bo", "Al", "Cy"]
        assert escalation.nobody_left(at=MORNING + 200 * MINUTE) == 1

    def test_somebody_is_left_while_one_was_not_told_of_what_waits_now(self, team: list[User], ana: Patient) -> None:
        alert = made_alert(ana)
        for minutes in (30, 60):
            escalation.tell_next(at=MORNING + minutes * MINUTE)
            assert escalation.nobody_left(at=MORNING + minutes * MINUTE) == 0
        escalation.tell_next(at=MORNING + 90 * MINUTE)
        assert escalation.nobody_left(at=MORNING + 90 * MINUTE) == 1
        Absence.objects.create(person=team[0], first_day=MORNING.date(), last_day=MORNING.date())
        assert escalation.nobody_left(at=MORNING + 90 * MINUTE) == 1, "of those who can be told"
        Alert.objects.filter(pk=alert.pk).update(waits_since=MORNING + 95 * MINUTE)
        assert escalation.nobody_left(at=MORNING + 99 * MINUTE) == 0, "it came back, and nobody knows yet"

    def test_nobody_after_somebody_looked(self, team: list[User], ana: Patient) -> None:
        alert = made_alert(ana)
        escalation.tell_next(at=MORNING + 30 * MINUTE)
        acting.see(alert=alert, by=team[2], at=MORNING + 40 * MINUTE)
        assert escalation.tell_next(at=MORNING + 120 * MINUTE) == 0
        assert escalation.nobody_left(at=MORNING + 120 * MINUTE) == 0

    def test_only_opening_hours_count(self, team: list[User], ana: Patient) -> None:
        """It came at 3 in the morning of a Tuesday; the unit opens at 8."""
        made_alert(ana, at=MORNING.replace(hour=3, minute=0))
        assert escalation.tell_next(at=MORNING.replace(hour=7, minute=59)) == 0
        assert escalation.tell_next(at=MORNING.replace(hour=8, minute=29)) == 0
        assert escalation.tell_next(at=MORNING.replace(hour=8, minute=30)) == 1

    def test_nobody_is_told_while_the_unit_is_closed(self, team: list[User], ana: Patient) -> None:
        made_alert(ana)
        assert escalation.tell_next(at=MORNING.replace(hour=17, minute=0)) == 0

    def test_the_time_is_the_units(self, team: list[User], ana: Patient) -> None:
        Routine.objects.create(seen_within_minutes=5)
        made_alert(ana)
        assert escalation.tell_next(at=MORNING + 5 * MINUTE) == 1

    def test_one_message_for_all_of_a_patient(self, team: list[User], ana: Patient, ben: Patient) -> None:
        made_alert(ana)
        made_alert(ana, rule="venous_high", cause="venous_high", at=MORNING + 5 * MINUTE)
        made_alert(ben)
        assert escalation.tell_next(at=MORNING + 40 * MINUTE) == 2
        assert told() == ["Bo", "Bo"]
        assert {alert.steps.last().kind for alert in ours(Alert)} == {"told"}  # type: ignore[union-attr]

    @pytest.mark.parametrize("changes", [{"urgency": Urgency.THIS_WEEK}, {"set_aside_until": MORNING + 99 * MINUTE}])
    def test_not_what_can_wait(self, team: list[User], ana: Patient, changes: dict[str, object]) -> None:
        made_alert(ana, **changes)
        assert escalation.tell_next(at=MORNING + 60 * MINUTE) == 0

    def test_not_what_a_correction_took_away_but_what_has_passed(self, team: list[User], ana: Patient) -> None:
        alert = made_alert(ana, cause_gone_at=MORNING)
        alert.steps.create(kind="cause_gone", at=MORNING)
        assert escalation.tell_next(at=MORNING + 60 * MINUTE) == 0
        other = made_alert(ana, rule="symptom", cause="symptom", cause_gone_at=MORNING)
        other.steps.create(kind="cause_passed", at=MORNING)
        assert escalation.tell_next(at=MORNING + 60 * MINUTE) == 1

    def test_whoever_was_not_reached_for_good_holds_nothing_up(self, team: list[User], ana: Patient) -> None:
        made_alert(ana)
        escalation.tell_next(at=MORNING + 30 * MINUTE)
        ours(AlertMessage).update(failed_at=MORNING + 31 * MINUTE)
        assert escalation.tell_next(at=MORNING + 32 * MINUTE) == 1
        assert told() == ["Bo", "Al"]

    def test_every_browser_of_the_person_too(self, team: list[User], ana: Patient) -> None:
        for name in "ab":
            endpoint = f"https://push.example.org/{name}"
            PushAddress.objects.create(
                person=team[0], endpoint=endpoint, p256dh="x", auth="y", label=name, added_at=MORNING
            )
        made_alert(ana)
        escalation.tell_next(at=MORNING + 30 * MINUTE)
        channels = list(ours(AlertMessage).order_by("pk").values_list("channel", flat=True))
        assert channels == [Channel.EMAIL, Channel.PUSH, Channel.PUSH]
        assert steps_of(ana) == ["opened", "told"]

    def test_what_came_back_is_told_anew(self, team: list[User], ana: Patient) -> None:
        alert = made_alert(ana)
        escalation.tell_next(at=MORNING + 30 * MINUTE)
        Alert.objects.filter(pk=alert.pk).update(waits_since=MORNING + 60 * MINUTE)
        assert escalation.tell_next(at=MORNING + 90 * MINUTE) == 1
        assert told() == ["Bo", "Bo"]

    def test_the_same_message_twice_is_against_the_databases_rule(self, team: list[User], ana: Patient) -> None:
        made_alert(ana)
        escalation.tell_next(at=MORNING + 30 * MINUTE)
        twin = ours(AlertMessage).get()
        twin.pk = None
        with pytest.raises(IntegrityError, match="delivery_once"), transaction.atomic():
            twin.save(force_insert=True)


def steps_of(patient: Patient) -> list[str]:
    return [step.kind for step in patient.alerts.get().steps.all()]


@pytest.mark.django_db(transaction=True)
def test_two_workers_tell_one_person_once(team: list[User], ana: Patient) -> None:
    made_alert(ana)
    start = threading.Barrier(2)

    def tell(_: int) -> int:
        try:
            start.wait(timeout=10)
            return escalation.tell_next(at=MORNING + 30 * MINUTE)
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as pool:
        assert sorted(pool.map(tell, range(2))) == [0, 1]
    assert told() == ["Bo"]
