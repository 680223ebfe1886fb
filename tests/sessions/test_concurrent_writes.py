"""Two senders at the same moment: the database decides, and nothing is lost or doubled."""

from __future__ import annotations

import threading
import uuid
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.db import connection

from alerts.models import PendingEvaluation
from sessions.models import Patient, Reading, TreatmentRecord
from tests.conftest import signed_in
from tests.crowd import ours
from tests.factories import A_NIGHT, night_body, record_night
from tests.over_http import add_readings, put

pytestmark = pytest.mark.django_db(transaction=True)


def at_once(*works: Callable[[], Any]) -> list[Any]:
    """Do these at the same time, each in a thread with a database connection of its own."""
    start = threading.Barrier(len(works))

    def one(work: Callable[[], Any]) -> Any:
        try:
            start.wait(timeout=10)
            return work()
        finally:
            connection.close()

    with ThreadPoolExecutor(len(works)) as pool:
        return [done.result(timeout=20) for done in [pool.submit(one, work) for work in works]]


def test_the_same_new_record_from_two_senders_is_made_once(ana: Patient) -> None:
    record_id, body = uuid.uuid4(), night_body()
    clients = [signed_in(ana.account) for _ in range(4)]
    answers = at_once(*(lambda client=client: put(client, record_id, body) for client in clients))
    assert sorted(answer.status_code for answer in answers) == [200, 200, 200, 201]
    first, *others = [answer.json() for answer in answers]
    assert others == [first] * 3
    assert ours(TreatmentRecord).count() == 1
    assert ours(Reading).count() == 3
    assert ours(PendingEvaluation).count() == 1


def test_two_different_new_records_under_one_id_keep_the_first(ana: Patient) -> None:
    record_id = uuid.uuid4()
    clients = [signed_in(ana.account) for _ in range(2)]
    answers = at_once(
        lambda: put(clients[0], record_id, night_body(post_weight_kg=70.1)),
        lambda: put(clients[1], record_id, night_body(post_weight_kg=70.2)),
    )
    assert sorted(answer.status_code for answer in answers) == [201, 428]
    (made,) = (answer.json() for answer in answers if answer.status_code == 201)
    assert ours(TreatmentRecord).get().post_weight_kg == made["post_weight_kg"]


def test_of_two_corrections_of_one_revision_one_stands_and_the_other_is_told(ana: Patient) -> None:
    record = record_night(ana)
    clients = [signed_in(ana.account) for _ in range(2)]
    answers = at_once(
        lambda: put(clients[0], record.pk, night_body(post_weight_kg=70.1), record.etag),
        lambda: put(clients[1], record.pk, night_body(post_weight_kg=70.2), record.etag),
    )
    assert sorted(answer.status_code for answer in answers) == [200, 412]
    kept = ours(TreatmentRecord).get()
    (stale,) = (answer.json() for answer in answers if answer.status_code == 412)
    assert (kept.revision, stale["current"]["post_weight_kg"]) == (2, kept.post_weight_kg)


def test_late_readings_from_two_senders_are_both_kept(ana: Patient) -> None:
    record = record_night(ana, readings=0)
    clients = [signed_in(ana.account) for _ in range(2)]
    moments = [A_NIGHT.replace(hour=22), A_NIGHT.replace(hour=23)]
    answers = at_once(
        lambda: add_readings(clients[0], record.pk, {"at": moments[0].isoformat(), "pulse": 70}),
        lambda: add_readings(clients[1], record.pk, {"at": moments[1].isoformat(), "pulse": 72}),
    )
    assert [answer.status_code for answer in answers] == [200, 200]
    assert list(ours(Reading).values_list("at", "pulse")) == [(moments[0], 70), (moments[1], 72)]
    assert ours(TreatmentRecord).get().revision == 3
