"""What Celery carries out. The work itself is in services; a task only says what time it is."""

from __future__ import annotations

from datetime import timedelta

from celery import shared_task
from django.utils import timezone

from alerts.models import PendingEvaluation
from alerts.services import alert_course, delivery, escalation, evaluation, replaying
from alerts.services.heartbeat import WORKER, sign_of_life
from alerts.services.waking import wake

MESSAGES_A_TASK = 10
SECONDS_OF_HISTORY = timedelta(seconds=2)
"""How long a task judges history before it gives its worker back."""
PATIENTS_A_TASK = 25
"""A task must end long before its time limit; what is left is for the next one."""


def evaluate_some() -> None:
    evaluation.evaluate_pending(at=timezone.now(), limit=PATIENTS_A_TASK)
    if PendingEvaluation.objects.due(timezone.now()).exists():
        wake()


@shared_task(name="alerts.evaluate_pending", ignore_result=True)
def evaluate_pending() -> None:
    """Woken by news."""
    evaluate_some()


@shared_task(name="alerts.sweep", ignore_result=True)
def sweep() -> None:
    """Every minute: whatever a lost call, a failure or a dead worker left behind."""
    evaluate_some()
    if replaying.stalled(at=timezone.now()):
        wake(replaying.TASK)


@shared_task(name=replaying.TASK, ignore_result=True)
def replay_some() -> None:
    """Some seconds of judging history again, on the queue that can wait; what is left is for the next task."""
    if replaying.work(now=timezone.now, until=timezone.now() + SECONDS_OF_HISTORY, news=evaluate_some):
        wake(replaying.TASK)


@shared_task(name="alerts.look_for_missing", ignore_result=True)
def look_for_missing() -> None:
    """Every quarter of an hour: has a record not come that was due?"""
    evaluation.look_for_missing(at=timezone.now())


@shared_task(name="alerts.heartbeat", ignore_result=True)
def heartbeat(part: str = WORKER) -> None:
    """Carried out by the worker of a queue: so it works."""
    sign_of_life(part, at=timezone.now())


@shared_task(name="alerts.deliver_due", ignore_result=True)
def deliver_due() -> None:
    """Every minute: what was set aside comes back, what nobody looks at rises, the rota is told, messages go out."""
    from alerts.services.sending import send  # heavy, and only a worker sends

    alert_course.bring_back_due(at=timezone.now())
    alert_course.raise_unseen(at=timezone.now())
    escalation.tell_next(at=timezone.now())
    delivery.deliver_due(send, now=timezone.now, limit=MESSAGES_A_TASK)
