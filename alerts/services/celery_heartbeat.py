"""Signs of life of Celery's own parts: the worker when it is ready, beat when it starts and whenever it ticks."""

from __future__ import annotations

from typing import Any

from celery.signals import after_task_publish, beat_init, worker_ready
from django.db import close_old_connections, connection
from django.utils import timezone

from alerts.services.heartbeat import BEAT, LATER, WORKER, sign_of_life

HEARTBEAT_TASK = "alerts.heartbeat"
OF_QUEUE = {"now": WORKER, "later": LATER}


def _sign(part: str) -> None:
    """From a process that lives for weeks and asks the database only now and then: no connection is kept open."""
    close_old_connections()
    sign_of_life(part, at=timezone.now())
    connection.close()


@worker_ready.connect(dispatch_uid="alerts.worker_is_ready")
def worker_is_ready(sender: Any, **kwargs: Any) -> None:
    """For the queues that this worker serves."""
    for part in filter(None, map(OF_QUEUE.get, sender.app.amqp.queues.consume_from)):
        _sign(part)


@beat_init.connect(dispatch_uid="alerts.beat_starts")
def beat_starts(**kwargs: Any) -> None:
    _sign(BEAT)


@after_task_publish.connect(sender=HEARTBEAT_TASK, dispatch_uid="alerts.beat_ticks")
def beat_ticks(**kwargs: Any) -> None:
    """Only beat publishes this task, for each queue: in its process it means that it works and reaches the broker."""
    _sign(BEAT)
