"""Two workers at once: each row is done by one of them, and one alert is opened, not two."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection, transaction

from alerts.models import Alert, PendingEvaluation
from alerts.services import evaluation, outbox
from alerts.services.evaluation import evaluate_pending, evaluate_record
from sessions.models import Patient, Prescription
from tests.alerts.builders import MORNING
from tests.crowd import ours
from tests.factories import A_NIGHT, record_night

pytestmark = pytest.mark.django_db(transaction=True)
LATER = MORNING + timedelta(days=30)


def side_by_side(*work: Callable[[], Any]) -> list[Any]:
    """Run all at once, each on a connection of its own, starting together."""
    start = threading.Barrier(len(work))

    def run(one: Callable[[], Any]) -> Any:
        try:
            start.wait(timeout=10)
            return one()
        finally:
            connection.close()

    with ThreadPoolExecutor(len(work)) as pool:
        return [future.result(timeout=60) for future in [pool.submit(run, one) for one in work]]


def test_each_row_is_done_once(ana: Patient, ben: Patient, anas_prescription: Prescription) -> None:
    for patient in (ana, ben):
        for day in range(0, 10, 2):
            record_night(patient, A_NIGHT + timedelta(days=day), at=LATER, uf_removed_l=3.6)
    done = side_by_side(*[lambda: evaluate_pending(at=LATER)] * 4)
    assert sum(done) == 10
    assert not ours(PendingEvaluation).exists()
    assert ours(Alert).filter(rule="uf_rate").count() == 1


def test_the_same_record_by_two_at_once(ana: Patient, anas_prescription: Prescription) -> None:
    record = record_night(ana, uf_removed_l=3.6)
    side_by_side(*[lambda: evaluate_record(record, at=MORNING)] * 4)
    (alert,) = ours(Alert).filter(rule="uf_rate")
    assert [step.kind for step in alert.steps.all()] == ["opened"]


def test_a_row_in_work_is_passed_over(ana: Patient) -> None:
    record_night(ana)
    assert outbox.claim(at=MORNING) is not None
    assert side_by_side(lambda: outbox.claim(at=MORNING)) == [None]


def test_a_row_that_stands_for_news_is_not_taken_before_the_news_is_there(ana: Patient) -> None:
    """One row for both; no worker can have it between the news being written and being committed."""
    record_night(ana)
    row = ours(PendingEvaluation).get()
    with transaction.atomic():
        outbox.add(patient_id=ana.pk, record_id=row.record_id, why="corrected", at=MORNING)
        assert side_by_side(lambda: outbox.claim(at=MORNING)) == [None]
    assert side_by_side(lambda: outbox.claim(at=MORNING)) == [[row]]
    with transaction.atomic():
        outbox.add(patient_id=ana.pk, record_id=row.record_id, why="corrected again", at=MORNING)
    assert ours(PendingEvaluation).count() == 2


def test_news_that_comes_while_its_patient_is_evaluated_is_not_lost(
    ana: Patient, anas_prescription: Prescription, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The correction is committed after the evaluation has read the record and before it takes its row away."""
    record = record_night(ana)
    real = evaluation.note_judgements

    def correct_meanwhile(*args: Any, **kwargs: Any) -> None:
        monkeypatch.setattr(evaluation, "note_judgements", real)
        real(*args, **kwargs)
        side_by_side(lambda: PendingEvaluation.objects.create(
            patient=ana, record=record, why="treatment recorded", created_at=MORNING, due_at=MORNING
        ))  # fmt: skip

    monkeypatch.setattr(evaluation, "note_judgements", correct_meanwhile)
    assert evaluate_pending(at=MORNING, limit=1) == 1
    assert ours(PendingEvaluation).count() == 1
