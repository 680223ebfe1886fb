"""Silence of worker or beat is told to staff and to machines."""

from __future__ import annotations

from datetime import timedelta
from unittest.mock import Mock

import pytest
from celery.signals import after_task_publish, beat_init, worker_ready
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from alerts import tasks
from alerts.models import Heartbeat, PendingEvaluation
from alerts.services.heartbeat import BEAT, LATER, PARTS, WORKER, sign_of_life, state_of_work
from homedialysis.celery import app
from sessions.models import Patient
from tests.alerts.test_triage_page import text_of
from tests.crowd import ours
from tests.factories import A_NIGHT

PAGE = reverse("alerts:heartbeat")


@pytest.mark.django_db
class TestState:
    def test_never_heard_of(self) -> None:
        state = state_of_work(at=A_NIGHT)
        assert (state.well, state.worker, state.beat) == (False, "never heard of", "never heard of")

    def test_working(self) -> None:
        for part in PARTS:
            sign_of_life(part, at=A_NIGHT)
        state = state_of_work(at=A_NIGHT + timedelta(minutes=3))
        assert (state.well, state.worker, state.beat) == (True, "working", "working")

    @pytest.mark.parametrize(("silent", "minutes"), [(WORKER, 3), (BEAT, 3), (LATER, 10)])
    def test_which_of_them_is_silent(self, silent: str, minutes: int) -> None:
        heard, over = A_NIGHT + timedelta(minutes=minutes), A_NIGHT + timedelta(minutes=minutes, seconds=1)
        for part in PARTS:
            sign_of_life(part, at=A_NIGHT if part == silent else heard)
        assert state_of_work(at=heard).well
        state = state_of_work(at=over)
        assert not state.well
        said = {part: getattr(state, part) for part in PARTS}
        assert said == dict.fromkeys(PARTS, "working") | {silent: "silent since 2026-03-02 21:30 UTC"}

    def test_a_record_that_waits_is_named(self, ana: Patient) -> None:
        for part in PARTS:
            sign_of_life(part, at=A_NIGHT)
        due = A_NIGHT - timedelta(minutes=6)
        PendingEvaluation.objects.create(patient=ana, why="x", created_at=due, due_at=due)
        state = state_of_work(at=A_NIGHT)
        assert (state.well, state.records) == (False, "waiting since 2026-03-02 21:24 UTC")

    def test_an_old_sign_does_not_replace_a_newer_one(self) -> None:
        sign_of_life(WORKER, at=A_NIGHT)
        sign_of_life(WORKER, at=A_NIGHT - timedelta(hours=1))
        assert ours(Heartbeat).get().at == A_NIGHT


@pytest.mark.django_db
class TestSigns:
    def parts(self) -> set[str]:
        return set(ours(Heartbeat).values_list("part", flat=True))

    def test_the_task_is_the_workers(self) -> None:
        tasks.heartbeat()
        assert self.parts() == {WORKER}

    @pytest.fixture(autouse=True)
    def kept_connection(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """The parts of Celery close theirs after each sign; the test's own stays open."""
        monkeypatch.setattr("alerts.services.celery_heartbeat.connection.close", lambda: None)
        monkeypatch.setattr("alerts.services.celery_heartbeat.close_old_connections", lambda: None)

    def test_that_of_the_other_queue_is_its_own(self) -> None:
        tasks.heartbeat("later")
        assert self.parts() == {LATER}

    @pytest.mark.parametrize("queues", [{"now": WORKER}, {"later": LATER}, {"now": WORKER, "later": LATER}])
    def test_a_worker_that_is_ready_signs_for_its_queues(self, queues: dict[str, str]) -> None:
        consumer = Mock()
        consumer.app.amqp.queues.consume_from = queues
        worker_ready.send(sender=consumer)
        assert self.parts() == set(queues.values())

    def test_beat_when_it_starts_and_whenever_it_hands_the_task_over(self) -> None:
        beat_init.send(sender=None)
        assert self.parts() == {BEAT}
        ours(Heartbeat).delete()
        after_task_publish.send(sender="alerts.sweep")
        assert self.parts() == set()
        after_task_publish.send(sender="alerts.heartbeat")
        assert self.parts() == {BEAT}


class TestBanner:
    def test_empty_while_all_is_well(self, nurse_client: Client) -> None:
        for part in PARTS:
            sign_of_life(part, at=timezone.now())
        assert text_of(nurse_client.get(PAGE)).strip() == ""

    def test_the_worker_is_silent(self, nurse_client: Client) -> None:
        sign_of_life(BEAT, at=timezone.now())
        sign_of_life(WORKER, at=timezone.now() - timedelta(minutes=4))
        assert "Records come in, but are not evaluated" in text_of(nurse_client.get(PAGE))

    def test_what_can_wait_stands_still(self, nurse_client: Client) -> None:
        for part in (WORKER, BEAT):
            sign_of_life(part, at=timezone.now())
        assert "What can wait stands still: months, reports and exports" in text_of(nurse_client.get(PAGE))

    def test_beat_is_silent(self, nurse_client: Client) -> None:
        sign_of_life(WORKER, at=timezone.now())
        assert "The clock of the program stands still" in text_of(nurse_client.get(PAGE))

    def test_a_record_waits_too_long(self, ana: Patient, nurse_client: Client) -> None:
        now = timezone.now()
        for part in PARTS:
            sign_of_life(part, at=now)
        PendingEvaluation.objects.create(patient=ana, why="x", created_at=now, due_at=now - timedelta(minutes=6))
        assert "Evaluation is behind" in text_of(nurse_client.get(PAGE))


def test_beat_has_a_task_for_each_of_its_entries() -> None:
    planned = {entry["task"] for entry in app.conf.beat_schedule.values()}
    assert {"alerts.sweep", "alerts.heartbeat", "alerts.look_for_missing"} <= planned <= set(app.tasks)
    assert "alerts.evaluate_pending" in app.tasks
