"""Wake a worker: something waits. The row in the database is the to-do list: a lost call costs a minute at most.

A request must not wait for a broker that is down. Celery's own way waits six seconds for a refused connection
(measured: kombu waits before it tries again, whatever task_publish_retry says), so calls go over connections with
less patience, and after a failure none is tried for a while.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache

from celery import current_app
from django.db import transaction
from kombu.connection import Connection
from kombu.exceptions import KombuError, OperationalError
from kombu.pools import producers

TASK = "alerts.evaluate_pending"
PATIENCE = {"max_retries": 0, "socket_connect_timeout": 0.8, "socket_timeout": 0.8}
"""Seconds. Two tries within them stay under two seconds."""
REST_SECONDS = 10.0
"""How long no call is tried after one that failed."""

logger = logging.getLogger(__name__)


class _State:
    """Of this process: until when to leave the broker alone, and whether calls are held back."""

    rests_until = 0.0
    no_calls = 0


def wake_on_commit(task: str = TASK, *, workers: int = 1) -> None:
    """Once the transaction has committed, tell a worker, or some; whatever comes of it, the request goes on.

    Once is enough, however much news a transaction brings.
    """
    tell = _teller(task, workers)
    waiting = transaction.get_connection().run_on_commit
    if not _State.no_calls and all(hook is not tell for _savepoints, hook, *_ in waiting):
        transaction.on_commit(tell, robust=True)


@cache
def _teller(task: str, workers: int) -> Callable[[], None]:
    """The same function for the same task, so that a transaction knows it again."""

    def tell() -> None:
        for _worker in range(workers):
            wake(task)

    return tell


@contextmanager
def no_calls() -> Iterator[None]:
    """For whoever evaluates in this process right away: the work is written down, but no worker is told."""
    _State.no_calls += 1
    try:
        yield
    finally:
        _State.no_calls -= 1


def wake(task: str = TASK) -> bool:
    """Tell a worker now. False when the broker did not take it, or failed so lately that it was left alone."""
    if time.monotonic() < _State.rests_until:
        return False
    try:
        _tell(task)
    except (OperationalError, KombuError, OSError) as problem:
        _State.rests_until = time.monotonic() + REST_SECONDS
        logger.warning("The broker took no call (%s); the sweep will find the work.", type(problem).__name__)
        return False
    return True


def _tell(task: str) -> None:
    """Twice at most: a connection kept from before may have died while the broker is well."""
    connection: Connection = current_app.connection_for_write()
    connection.transport_options = (connection.transport_options or {}) | PATIENCE
    try:
        _publish(connection, task)
    except OperationalError:
        _publish(connection, task)


def _publish(connection: Connection, task: str) -> None:
    with producers[connection].acquire(block=True, timeout=PATIENCE["socket_timeout"]) as producer:
        current_app.send_task(task, producer=producer, retry=False, ignore_result=True)
