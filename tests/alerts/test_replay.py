"""Judging history again: in chunks, by many, stopped and gone on with, never in the way of a fresh record."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from celery import current_app
from django.core.exceptions import PermissionDenied, ValidationError
from django.test import Client
from django.urls import reverse

from alerts import tasks
from alerts.models import Alert, PendingEvaluation, RecordJudgement, Replay, ReplayChunk
from alerts.models.choices import ReplayState
from alerts.rules import RULES_VERSION
from alerts.services import outbox, replaying, waking
from alerts.services.evaluation import evaluate_pending
from homedialysis.accounts.models import User
from sessions.models import Patient, Prescription, TreatmentRecord
from tests.alerts.builders import DAY, alerts_of
from tests.alerts.test_two_workers import side_by_side
from tests.crowd import ours
from tests.factories import A_NIGHT, record_night

TOO_FAST = {"uf_removed_l": 3.6}
NOW = A_NIGHT + 300 * DAY


def nothing() -> None:
    """No news."""


def clock(at: datetime = NOW) -> Callable[[], datetime]:
    """A clock that goes on by a second whenever it is asked."""
    moments = iter(at + timedelta(seconds=second) for second in range(100_000))
    return lambda: next(moments)


def work(at: datetime = NOW, seconds: int = 1000) -> bool:
    return replaying.work(now=clock(at), until=at + timedelta(seconds=seconds), news=nothing)


def begun(by: User) -> Replay:
    return replaying.start(why="New limits.", by=by, at=NOW)


@pytest.fixture
def history(ana: Patient, ben: Patient, anas_prescription: Prescription) -> list[TreatmentRecord]:
    """Ten months: old nights of Ana and Ben, one of them too fast, and a recent one that is."""
    starts = [A_NIGHT + day * DAY for day in (0, 2, 100, 102, 290)]
    records = [record_night(ana, start, **(TOO_FAST if index in (1, 4) else {})) for index, start in enumerate(starts)]
    records.append(record_night(ben, A_NIGHT + 150 * DAY))
    evaluate_pending(at=NOW)
    ours(RecordJudgement).delete()
    return records


def judged() -> dict[str, list[str]]:
    return {
        str(row.record.night): [one["rule"] for one in row.found if one["rule"] == "uf_rate"]
        for row in ours(RecordJudgement).select_related("record")
    }


class TestRun:
    def test_every_night_is_judged_with_what_was_seen(self, history: list[TreatmentRecord], nurse: User) -> None:
        run = begun(nurse)
        assert not work()
        run.refresh_from_db()
        assert run.state == ReplayState.DONE
        assert judged() == {
            "2026-03-02": [], "2026-03-04": ["uf_rate"], "2026-06-10": [], "2026-06-12": [],
            "2026-12-17": ["uf_rate"], "2026-07-30": [],
        }  # fmt: skip
        assert replaying.progress(run) == {"chunks": 3, "done": 3, "given_up": 0, "records": 6}

    def test_the_alerts_of_today_are_brought_up_to_date(self, history: list[TreatmentRecord], nurse: User) -> None:
        before = [(alert.pk, alert.evidence) for alert in alerts_of("uf_rate")]
        assert len(before) == 1
        begun(nurse)
        work()
        assert [(alert.pk, alert.evidence) for alert in alerts_of("uf_rate")] == before
        assert alerts_of("uf_rate")[0].steps.count() == 1

    def test_twice_changes_nothing(self, history: list[TreatmentRecord], nurse: User) -> None:
        begun(nurse)
        work()
        first, alerts = judged(), ours(Alert).count()
        begun(nurse)
        work(NOW + timedelta(hours=1))
        assert (judged(), ours(Alert).count()) == (first, alerts)

    def test_a_pattern_across_two_chunks_is_one(
        self, ana: Patient, anas_prescription: Prescription, nurse: User
    ) -> None:
        """Off target on the last night of one chunk and the first of the next."""
        border = replaying.WINDOW.days
        for day in (0, border - 1, border + 1):
            record_night(ana, A_NIGHT + day * DAY, post_weight_kg=71.5 if day else 70.0)
        evaluate_pending(at=NOW)
        ours(RecordJudgement).delete()
        begun(nurse)
        work()
        off = [row.record.night for row in ours(RecordJudgement) if any(f["rule"] == "off_target" for f in row.found)]
        assert len(off) == 2

    def test_one_at_a_time(self, nurse: User) -> None:
        begun(nurse)
        with pytest.raises(replaying.AlreadyRunning):
            begun(nurse)

    def test_only_clinical_people_and_with_a_reason(self, technologist: User, nurse: User) -> None:
        with pytest.raises(PermissionDenied):
            begun(technologist)
        with pytest.raises(ValidationError):
            replaying.start(why=" ", by=nurse, at=NOW)


class TestStopAndGoOn:
    def test_stopped_it_takes_no_more_and_goes_on_where_it_was(
        self, history: list[TreatmentRecord], nurse: User
    ) -> None:
        run = begun(nurse)
        chunk = replaying.claim(at=NOW)
        assert chunk is not None
        replaying.do(chunk, at=NOW)
        replaying.stop(run=run, by=nurse, at=NOW)
        assert replaying.claim(at=NOW) is None
        assert replaying.progress(run)["done"] == 1
        with pytest.raises(replaying.NotThere):
            replaying.stop(run=run, by=nurse, at=NOW)
        replaying.resume(run=run, by=nurse, at=NOW)
        work()
        assert replaying.progress(run)["done"] == 3
        with pytest.raises(replaying.NotThere):
            replaying.resume(run=run, by=nurse, at=NOW)


class TestAccidents:
    def test_the_chunk_of_a_dead_worker_is_taken_again(self, history: list[TreatmentRecord], nurse: User) -> None:
        begun(nurse)
        lost = replaying.claim(at=NOW)
        assert lost is not None
        work(seconds=60)
        assert ours(Replay).get().state == ReplayState.RUNNING, "that one is left"
        assert not work(NOW + replaying.LEASE)
        assert ours(Replay).get().state == ReplayState.DONE

    def test_a_dead_worker_counts_against_no_chunk_until_many_have_died(
        self, history: list[TreatmentRecord], nurse: User
    ) -> None:
        run = begun(nurse)
        ours(ReplayChunk).exclude(pk=ours(ReplayChunk).earliest("pk").pk).update(done_at=NOW)
        at = NOW
        for _ in range(20):
            chunk = replaying.claim(at=at)
            assert chunk is not None
            assert chunk.attempts == 0
            at = chunk.due_at
        assert replaying.claim(at=at) is None
        assert ours(ReplayChunk).given_up().get().last_error == outbox.STOPPED
        replaying.finish_what_is_done(at=at)
        assert ours(Replay).get().state == ReplayState.DONE
        replaying.resume(run=run, by=nurse, at=at)
        work(at)
        assert replaying.progress(run)["given_up"] == 0

    def test_records_that_earlier_rules_judged_are_told_until_they_are_judged_again(
        self, history: list[TreatmentRecord], nurse: User, nurse_client: Client
    ) -> None:
        def told() -> bool:
            return "last judged by an earlier version" in nurse_client.get(reverse("alerts:replays")).content.decode()

        begun(nurse)
        work()
        RecordJudgement.objects.filter(record=history[0]).update(rules="1")
        RecordJudgement.objects.exclude(record=history[0]).update(rules=RULES_VERSION)
        assert replaying.judged_by_other_rules() == 1
        assert told()
        begun(nurse)
        work()
        assert replaying.judged_by_other_rules() == 0
        assert not told()

    def test_what_fails_again_and_again_is_given_up_and_shown(
        self, history: list[TreatmentRecord], nurse: User, nurse_client: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        run = begun(nurse)
        real = replaying.judge

        def judge(patient: Patient, **kwargs: Any) -> int:
            if patient.name == "Ben Okonjo":
                raise ValueError("cannot read 71 of 'Ben'")
            return real(patient, **kwargs)

        monkeypatch.setattr(replaying, "judge", judge)
        for hour in range(6):
            work(NOW + timedelta(hours=hour))
        run.refresh_from_db()
        assert run.state == ReplayState.DONE
        assert replaying.progress(run)["given_up"] == 1
        page = nurse_client.get(reverse("alerts:replays")).content.decode()
        assert "1 failed and was given up" in page
        assert "cannot read # of …" in page
        monkeypatch.setattr(replaying, "judge", real)
        replaying.resume(run=run, by=nurse, at=NOW + timedelta(days=1))
        work(NOW + timedelta(days=1))
        assert replaying.progress(run)["given_up"] == 0

    def test_lost_messages_are_noticed(self, history: list[TreatmentRecord], nurse: User) -> None:
        assert not replaying.stalled(at=NOW)
        begun(nurse)
        assert replaying.stalled(at=NOW)
        chunk = replaying.claim(at=NOW)
        assert chunk is not None
        replaying.do(chunk, at=NOW)
        assert not replaying.stalled(at=NOW)
        assert replaying.stalled(at=NOW + timedelta(minutes=1))


class TestFreshRecords:
    def test_news_is_done_before_the_next_chunk(self, history: list[TreatmentRecord], nurse: User) -> None:
        begun(nurse)
        record_night(ours(Patient).get(name="Ana Verdemar"), NOW - DAY, at=NOW)
        waited: list[int] = []

        def news() -> None:
            waited.append(ours(ReplayChunk).exclude(done_at=None).count())
            ours(PendingEvaluation).delete()

        replaying.work(now=clock(), until=NOW + timedelta(seconds=1000), news=news)
        assert waited == [0]

    def test_a_patient_with_news_is_left_for_later(self, history: list[TreatmentRecord], nurse: User) -> None:
        begun(nurse)
        record_night(ours(Patient).get(name="Ana Verdemar"), NOW - DAY, at=NOW)
        assert work(seconds=50)
        left = ours(ReplayChunk).filter(done_at=None)
        assert {chunk.patient.name for chunk in left} == {"Ana Verdemar"}
        assert {chunk.attempts for chunk in left} == {0}

    def test_on_the_queue_that_can_wait(self) -> None:
        assert current_app.amqp.router.route({}, replaying.TASK)["queue"].name == "later"

    def test_a_task_sends_the_next(self, history: list[TreatmentRecord], nurse: User, monkeypatch: Any) -> None:
        sent: list[str] = []
        monkeypatch.setattr(tasks, "wake", lambda task="": sent.append(task))
        monkeypatch.setattr(tasks.timezone, "now", clock())
        begun(nurse)
        tasks.replay_some()
        assert sent == [replaying.TASK]


@pytest.mark.django_db(transaction=True)
def test_four_workers_do_each_chunk_once(
    ana: Patient, ben: Patient, anas_prescription: Prescription, nurse: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    for patient in (ana, ben):
        for day in range(0, 290, 29):
            record_night(patient, A_NIGHT + day * DAY, **TOO_FAST)
    evaluate_pending(at=NOW)
    ours(RecordJudgement).delete()
    run = begun(nurse)
    done: list[int] = []
    real = replaying.judge
    monkeypatch.setattr(replaying, "judge", lambda *args, **kw: (done.append(1), real(*args, **kw))[1])
    side_by_side(*[lambda: [work(NOW + timedelta(seconds=3 * n)) for n in range(8)]] * 4)
    chunks = replaying.progress(run)
    assert (chunks["done"], chunks["records"]) == (chunks["chunks"], 20)
    assert len(done) == chunks["chunks"]
    assert ours(Alert).filter(rule="uf_rate", patient=ana).count() == 1
    assert ours(RecordJudgement).count() == 20


class TestPages:
    def test_begin_watch_stop_go_on(
        self, history: list[TreatmentRecord], nurse_client: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(waking, "wake", lambda *args: True)
        address = reverse("alerts:replays")
        assert nurse_client.post(address, {"why": ""}).status_code == 400
        assert nurse_client.post(address, {"why": "New limits."}).status_code == 302
        run = ours(Replay).get()
        page = nurse_client.get(address).content.decode()
        assert "0 of 3 parts" in page
        assert 'hx-trigger="every 2s"' in page
        assert nurse_client.post(address, {"why": "Again."}).status_code == 400
        nurse_client.post(reverse("alerts:stop-replay", args=[run.pk]))
        page = nurse_client.get(reverse("alerts:replays-live")).content.decode()
        assert "stopped by Nurse Kim" in page
        assert "hx-trigger" not in page
        nurse_client.post(reverse("alerts:resume-replay", args=[run.pk]))
        run.refresh_from_db()
        assert run.state == ReplayState.RUNNING
