"""A worker dies in the middle of an evaluation: nothing is lost, and nothing is done twice."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta

import psycopg
import pytest

from tests.end_to_end.product import Json, SmallDemo, Visitor, night

HELD_UP = """
    SELECT activity.pid FROM pg_stat_activity activity
    JOIN pg_locks held ON held.pid = activity.pid AND held.granted
        AND held.relation = 'alerts_alert'::regclass AND held.mode = 'RowExclusiveLock'
    WHERE %s = ANY (pg_blocking_pids(activity.pid)) AND query LIKE 'INSERT INTO "alerts_alertstep"%%'
"""
"""Sessions that have written an alert, not committed yet, and wait for our lock to write its first step."""


@pytest.mark.slow  # waits for the next try, half a minute later, and then for the sweep
def test_a_worker_killed_in_the_middle_of_an_evaluation_leaves_one_alert(product: SmallDemo, phone: Visitor) -> None:
    record_id = str(uuid.uuid4())
    try:
        with first_steps_held_up(product) as holder:
            send(phone, record_id, night_with("needle_dislodged", hours_ago=16))
            product.expect(lambda: bool(product.rows(HELD_UP, holder)), "a worker is amid the evaluation")
            ((session,),) = product.rows(HELD_UP, holder)
            product.kill_worker()
        product.expect(lambda: not alive(product, session), "the database lets go of the dead worker")
        assert product.alerts("needle_dislodged", "needle_dislodged") == []
        assert product.waiting(record_id) == 1
    finally:
        product.start_worker()
    product.expect(lambda: product.waiting(record_id) == 0, "the evaluation is done by the next worker")
    assert_one_alert(product, "needle_dislodged", record_id)
    evaluate_another(product, phone)
    assert_one_alert(product, "needle_dislodged", record_id)


@contextmanager
def first_steps_held_up(product: SmallDemo) -> Iterator[int]:
    """Nobody can note a step of an alert meanwhile; yields the number of the session that holds the lock."""
    with psycopg.connect(product.servers.postgres.url) as connection:
        connection.execute("LOCK TABLE alerts_alertstep IN SHARE MODE")
        yield connection.info.backend_pid
        connection.rollback()


def alive(product: SmallDemo, session: int) -> bool:
    return bool(product.rows("SELECT 1 FROM pg_stat_activity WHERE pid = %s", session))


def evaluate_another(product: SmallDemo, phone: Visitor) -> None:
    """One more record of the same patient: all of the patient's nights are looked at again."""
    record_id = str(uuid.uuid4())
    send(phone, record_id, night_with("air", hours_ago=10))
    product.expect(lambda: product.waiting(record_id) == 0, "the next record is evaluated")
    assert_one_alert(product, "air_in_line", record_id)


def assert_one_alert(product: SmallDemo, cause: str, record_id: str) -> None:
    """Open, opened once, and with the record as its only evidence."""
    ((state, evidence),) = product.alerts(cause, cause)
    assert state == "open"
    assert [seen["record"] for seen in evidence] == [record_id]
    steps = "SELECT kind FROM alerts_alertstep JOIN alerts_alert alert ON alert.id = alert_id WHERE cause = %s"
    assert product.rows(steps, cause) == [("opened",)]


def send(phone: Visitor, record_id: str, body: Json) -> None:
    answer = phone.put(f"/api/v1/treatments/{record_id}/", body)
    assert answer.status == 201, answer.text


def night_with(kind: str, *, hours_ago: float) -> Json:
    """A treatment with an event of that kind an hour after its start."""
    at = datetime.now(UTC) - timedelta(hours=hours_ago - 1)
    return night(hours_ago=hours_ago, events=[{"at": at.isoformat(), "kind": kind, "note": ""}])
