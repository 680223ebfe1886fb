"""News becomes a row in its own transaction, and the row goes in the transaction that evaluates it: never lost."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import InterfaceError, OperationalError, transaction
from django.test import Client

from alerts import tasks
from alerts.models import Alert, PendingEvaluation
from alerts.services import evaluation, outbox, waking
from alerts.services.evaluation import evaluate_pending, evaluate_record
from dosing.models import RecordNumbers
from sessions.models import BloodResult, Patient, Prescription, TreatmentRecord
from sessions.services.bloods import enter_bloods
from tests.alerts.builders import MORNING, again, alerts_of, evaluated
from tests.crowd import ours
from tests.factories import A_NIGHT, BloodFactory, PatientFactory, UserFactory, night_body, record_night

TOO_FAST = {"uf_removed_l": 3.6}
MINUTE = timedelta(minutes=1)


@pytest.fixture(autouse=True)
def prescribed(anas_prescription: Prescription) -> Prescription:
    return anas_prescription


class TestNews:
    def test_a_record_leaves_one_row_that_is_due_at_once(self, ana: Patient) -> None:
        record = record_night(ana)
        row = ours(PendingEvaluation).get()
        assert (row.patient, row.record, row.due_at) == (ana, record, record.received_at)

    def test_the_row_stands_or_falls_with_the_record(self, ana: Patient) -> None:
        with transaction.atomic():
            record_night(ana)
            transaction.set_rollback(True)
        assert not ours(TreatmentRecord).exists()
        assert not ours(PendingEvaluation).exists()

    def test_the_same_record_sent_again_is_no_news(self, ana: Patient, ana_client: Client) -> None:
        url = "/api/v1/treatments/5e0c6a0e-2f52-4f0c-9e5c-b3a1a4a5d001/"
        for _ in range(2):
            ana_client.put(url, night_body(), content_type="application/json")
        assert ours(PendingEvaluation).count() == 1

    def test_bloods_have_their_treatment_computed_again(self, ana: Patient) -> None:
        (record,) = evaluated(ana, {})
        nurse = UserFactory(role="nurse")
        drawn = {"pre": record.started_at, "post": record.ended_at}
        results: list[BloodResult] = [
            BloodFactory.build(patient=ana, value=value, drawn_at=drawn[timing], timing=timing)
            for timing, value in (("pre", 20), ("post", 6))
        ]
        enter_bloods(results=results, by=nurse, at=MORNING)
        assert ours(PendingEvaluation).get().record == record
        evaluate_pending(at=MORNING)
        assert RecordNumbers.objects.get(record=record).numbers["urr"]["value"] == pytest.approx(70)


class TestEvaluation:
    def test_evaluates_and_takes_the_row_away(self, ana: Patient) -> None:
        record_night(ana, **TOO_FAST)
        assert evaluate_pending(at=MORNING) == 1
        assert not ours(PendingEvaluation).exists()
        assert len(alerts_of("uf_rate")) == 1

    def test_not_before_it_is_due(self, ana: Patient) -> None:
        record_night(ana, at=MORNING)
        assert evaluate_pending(at=MORNING - MINUTE) == 0

    def test_again_and_again_changes_nothing(self, ana: Patient) -> None:
        (record,) = evaluated(ana, TOO_FAST)
        (alert,) = alerts_of("uf_rate")
        for _ in range(3):
            evaluate_record(record, at=MORNING + MINUTE)
        assert alerts_of("uf_rate") == [alert]
        assert alert.steps.count() == 1

    def test_the_next_treatment_is_computed_again(self, ana: Patient) -> None:
        """What was gained before it hangs on the weight after this one."""
        first, second = evaluated(ana, {"post_weight_kg": 70.0}, {"pre_weight_kg": 72.0})
        assert RecordNumbers.objects.get(record=second).numbers["gain"]["value"] == pytest.approx(2.0)
        again(first, post_weight_kg=71.0)
        assert RecordNumbers.objects.get(record=second).numbers["gain"]["value"] == pytest.approx(1.0)

    def test_the_one_that_was_next_before_a_correction_of_the_date(self, ana: Patient) -> None:
        first, second = evaluated(ana, {"post_weight_kg": 70.0}, {"pre_weight_kg": 72.0})
        moved = {"started_at": "2026-03-05T21:30:00+00:00", "ended_at": "2026-03-06T01:30:00+00:00", "readings": []}
        again(first, **moved)
        assert RecordNumbers.objects.get(record=second).numbers["gain"]["value"] is None

    def test_all_news_of_a_patient_in_one_go(self, ana: Patient, monkeypatch: pytest.MonkeyPatch) -> None:
        for day in range(4):
            record_night(ana, A_NIGHT + timedelta(days=day), at=MORNING + timedelta(days=4))
        runs: list[int] = []
        real = evaluation.reconcile
        monkeypatch.setattr(evaluation, "reconcile", lambda *args, **kw: (runs.append(1), real(*args, **kw))[1])
        assert evaluate_pending(at=MORNING + timedelta(days=4)) == 4
        assert len(runs) == 1

    def test_no_more_patients_than_asked_for(self, ana: Patient, ben: Patient) -> None:
        record_night(ana)
        record_night(ben)
        assert evaluate_pending(at=MORNING, limit=1) == 1
        assert ours(PendingEvaluation).count() == 1


class TestFailure:
    @pytest.fixture
    def broken(self, monkeypatch: pytest.MonkeyPatch) -> set[Any]:
        """Records whose computation fails."""
        culprits: set[Any] = set()
        real = evaluation.compute

        def compute(record: TreatmentRecord, **kwargs: Any) -> Any:
            if record.pk in culprits:
                raise ValueError("could not read 71.4 kg of 'Ana Verdemar'")
            return real(record, **kwargs)

        monkeypatch.setattr(evaluation, "compute", compute)
        return culprits

    def test_it_waits_longer_each_time_and_is_put_aside_after_five(self, ana: Patient, broken: set[Any]) -> None:
        broken.add(record_night(ana).pk)
        at, waits = MORNING, []
        for _ in range(5):
            evaluate_pending(at=at)
            row = ours(PendingEvaluation).get()
            waits.append((row.due_at - at).total_seconds())
            assert evaluate_pending(at=row.due_at - timedelta(seconds=1)) == 0
            at = row.due_at
        assert waits == [30, 120, 480, 1920, 7680]
        row.refresh_from_db()
        assert row.put_aside_at is not None
        assert row.attempts == 5
        assert evaluate_pending(at=at + timedelta(days=1)) == 0

    def test_the_error_is_kept_without_what_it_is_about(self, ana: Patient, broken: set[Any]) -> None:
        broken.add(record_night(ana).pk)
        evaluate_pending(at=MORNING)
        error = ours(PendingEvaluation).get().last_error
        assert error.startswith("ValueError at tests/alerts/test_outbox.py:")
        assert error.endswith(": could not read # kg of …")
        assert "71" not in error
        assert "Ana" not in error

    def test_half_of_an_evaluation_is_undone(self, ana: Patient, monkeypatch: pytest.MonkeyPatch) -> None:
        record_night(ana, **TOO_FAST)

        def fail(*args: Any, **kwargs: Any) -> None:
            raise RuntimeError("at the very end")

        monkeypatch.setattr(evaluation, "note_judgements", fail)
        assert evaluate_pending(at=MORNING) == 0
        assert not ours(RecordNumbers).exists()
        assert not ours(Alert).exists()
        assert ours(PendingEvaluation).count() == 1

    @pytest.mark.parametrize("culprit", [0, 1])
    def test_only_the_culprit_waits(self, ana: Patient, broken: set[Any], culprit: int) -> None:
        """Also where the culprit is the next treatment, whose gain hangs on the good one."""
        starts = [A_NIGHT, A_NIGHT + timedelta(days=2)]
        records = [record_night(ana, start, at=MORNING + timedelta(days=2)) for start in starts]
        broken.add(records[culprit].pk)
        assert evaluate_pending(at=MORNING + timedelta(days=2)) == 1
        assert ours(RecordNumbers).get().record == records[1 - culprit]
        assert ours(PendingEvaluation).get().record == records[culprit]

    def test_a_follower_that_fails_waits_by_itself(self, ana: Patient, broken: set[Any]) -> None:
        first, second = evaluated(ana, {}, {})
        broken.add(second.pk)
        again(first, post_weight_kg=71.0)
        assert ours(PendingEvaluation).get().record == second

    def test_other_patients_do_not_wait(self, ana: Patient, ben: Patient, broken: set[Any]) -> None:
        broken.add(record_night(ana).pk)
        record_night(ben)
        assert evaluate_pending(at=MORNING) == 1

    def test_tried_again_by_hand_after_repair(self, ana: Patient, broken: set[Any]) -> None:
        record = record_night(ana, **TOO_FAST)
        broken.add(record.pk)
        ours(PendingEvaluation).update(attempts=4)
        evaluate_pending(at=MORNING)
        row = ours(PendingEvaluation).put_aside().get()
        broken.clear()
        assert outbox.try_again(pending_id=row.pk, at=MORNING)
        assert evaluate_pending(at=MORNING) == 1
        assert len(alerts_of("uf_rate")) == 1
        assert not outbox.try_again(pending_id=row.pk, at=MORNING)


class TestWhoGoesFirst:
    def test_a_fresh_record_does_not_wait_for_news_of_the_whole_unit(self, ana: Patient) -> None:
        others = [PatientFactory() for _ in range(3)]
        outbox.add_for_everybody(why="a limit of the unit", at=MORNING - MINUTE)
        record = record_night(ana)
        rows = outbox.claim(at=MORNING)
        assert rows
        assert rows[0].record == record
        assert {row.patient for row in rows} == {ana}, "and her share of the unit's news with it"
        rest = [outbox.claim(at=MORNING) for _ in others]
        assert all(rows and rows[0].record is None for rows in rest)


class TestDeadWorker:
    def test_a_claimed_row_is_due_again(self, ana: Patient) -> None:
        """As after SIGKILL between claim and evaluation: nothing was done, nothing is locked, the row is there."""
        record_night(ana, **TOO_FAST)
        assert outbox.claim(at=MORNING)
        assert evaluate_pending(at=MORNING) == 0
        assert evaluate_pending(at=MORNING + MINUTE) == 1
        assert len(alerts_of("uf_rate")) == 1

    def test_is_nobodys_fault_and_the_row_is_due_again_soon_each_time(self, ana: Patient) -> None:
        record_night(ana)
        at = MORNING
        for _ in range(10):
            (row,) = outbox.claim(at=at) or []
            assert row.due_at - at == timedelta(seconds=30)
            assert row.attempts == 0
            at = row.due_at
        assert evaluate_pending(at=at) == 1

    def test_what_was_lent_often_is_evaluated_alone(self, ana: Patient) -> None:
        """So that rows beside the one that kills its workers get through."""
        at = MORNING + timedelta(days=4)
        records = [record_night(ana, A_NIGHT + index * timedelta(days=2), at=at) for index in range(3)]
        for _ in range(3):
            assert len(outbox.claim(at=at) or []) == 3
            at += MINUTE
        claims = [outbox.claim(at=at) for _ in range(4)]
        assert [[row.record for row in rows] if rows else rows for rows in claims] == [
            *([one] for one in records),
            None,
        ]

    def test_a_row_that_kills_every_worker_is_put_aside(self, ana: Patient) -> None:
        record_night(ana)
        at = MORNING
        for _ in range(20):
            rows = outbox.claim(at=at)
            assert rows
            at = rows[0].due_at
        assert outbox.claim(at=at) == []
        row = ours(PendingEvaluation).put_aside().get()
        assert row.last_error == outbox.STOPPED

    @pytest.mark.parametrize("problem", [OperationalError("terminating connection"), InterfaceError("closed")])
    def test_a_database_that_goes_away_counts_against_no_row(
        self, ana: Patient, ben: Patient, monkeypatch: pytest.MonkeyPatch, problem: Exception
    ) -> None:
        culprit = record_night(ana).pk
        record_night(ben)
        real, tries = evaluation.compute, []

        def compute(record: TreatmentRecord, **kwargs: Any) -> Any:
            if record.pk == culprit and not tries:
                tries.append(record)
                raise problem
            return real(record, **kwargs)

        monkeypatch.setattr(evaluation, "compute", compute)
        assert evaluate_pending(at=MORNING) == 1
        row = ours(PendingEvaluation).get()
        assert (row.record_id, row.attempts, row.last_error) == (culprit, 0, "")
        assert evaluate_pending(at=MORNING + timedelta(seconds=30)) == 1

    def test_also_where_it_goes_away_over_the_next_treatment(
        self, ana: Patient, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        first, second = evaluated(ana, {}, {})
        real = evaluation.compute

        def compute(record: TreatmentRecord, **kwargs: Any) -> Any:
            if record.pk == second.pk:
                raise OperationalError("terminating connection")
            return real(record, **kwargs)

        monkeypatch.setattr(evaluation, "compute", compute)
        again(first, post_weight_kg=71.0)
        row = ours(PendingEvaluation).get()
        assert (row.record, row.attempts) == (first, 0)

    def test_put_aside_twice_is_listed_once(self, ana: Patient, monkeypatch: pytest.MonkeyPatch) -> None:
        def fail(*args: Any, **kwargs: Any) -> None:
            raise ValueError

        monkeypatch.setattr(evaluation, "compute", fail)
        record = record_night(ana)
        for _ in range(2):
            outbox.add(patient_id=ana.pk, record_id=record.pk, why="x", at=MORNING)
            ours(PendingEvaluation).filter(put_aside_at=None).update(attempts=4)
            evaluate_pending(at=MORNING)
        assert ours(PendingEvaluation).put_aside().count() == 1
        assert ours(PendingEvaluation).count() == 1


@pytest.mark.django_db(transaction=True)
class TestWaking:
    def send(self, client: Client) -> int:
        url = "/api/v1/treatments/5e0c6a0e-2f52-4f0c-9e5c-b3a1a4a5d002/"
        return client.put(url, night_body(), content_type="application/json").status_code

    def test_once_the_record_is_committed(self, ana_client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
        calls: list[int] = []
        monkeypatch.setattr(waking, "_tell", lambda task: calls.append(ours(PendingEvaluation).count()))
        assert self.send(ana_client) == 201
        assert calls == [1]

    @pytest.mark.parametrize("problem", [OSError("gone"), RuntimeError("something else")])
    def test_a_broker_that_fails_does_not_fail_the_request(
        self, ana_client: Client, monkeypatch: pytest.MonkeyPatch, problem: Exception
    ) -> None:
        def fail(task: str) -> None:
            raise problem

        monkeypatch.setattr(waking._State, "rests_until", 0.0)
        monkeypatch.setattr(waking, "_tell", fail)
        assert self.send(ana_client) == 201
        assert ours(PendingEvaluation).count() == 1

    def test_once_for_all_news_of_a_transaction_and_as_often_as_workers_are_wanted(
        self, ana: Patient, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        calls: list[str] = []
        monkeypatch.setattr(waking, "_tell", calls.append)
        with transaction.atomic():
            for _ in range(3):
                outbox.add(patient_id=ana.pk, why="x", at=MORNING)
            waking.wake_on_commit("alerts.replay_some", workers=4)
        assert calls == [waking.TASK, *["alerts.replay_some"] * 4]

    def test_no_calls_for_whoever_evaluates_right_away(
        self, ana_client: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        calls: list[int] = []
        monkeypatch.setattr(waking, "_tell", lambda task: calls.append(1))
        with waking.no_calls():
            self.send(ana_client)
        assert calls == []


def test_a_task_leaves_what_is_too_much_for_it_to_the_next(
    ana: Patient, ben: Patient, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls: list[int] = []
    monkeypatch.setattr(tasks, "PATIENTS_A_TASK", 1)
    monkeypatch.setattr(tasks, "wake", lambda: calls.append(ours(PendingEvaluation).count()))
    record_night(ana)
    record_night(ben)
    tasks.evaluate_pending()
    assert calls == [1]
    tasks.sweep()
    assert calls == [1]
    assert not ours(PendingEvaluation).exists()


def test_alerts_are_for_staff_only(ana: Patient, nurse_client: Client) -> None:
    evaluated(ana, TOO_FAST)
    assert list(ours(Alert).visible_to(ana.account)) == []
    assert len(ours(Alert).visible_to(UserFactory(role="technologist"))) == ours(Alert).count()
