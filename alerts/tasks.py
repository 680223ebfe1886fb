"""What Celery carries out. The work itself is in services; a task only says what time it is."""

from __future__ import annotations

from celery import shared_task
from django.utils import timezone

from alerts.models import PendingEvaluation
from alerts.services import evaluation
from alerts.services.heartbeat import WORKER, sign_of_life
from alerts.services.nudge import nudge

PATIENTS_A_TASK = 25
"""A task must end long before its time limit; what is left is for the next one."""


def evaluate_some() -> None:
    evaluation.evaluate_pending(at=timezone.now(), limit=PATIENTS_A_TASK)
    if PendingEvaluation.objects.due(timezone.now()).exists():
        nudge()


@shared_task(name="alerts.evaluate_pending", ignore_result=True)
def evaluate_pending() -> None:
    """The nudge: a record or bloods came in."""
    evaluate_some()


@shared_task(name="alerts.sweep", ignore_result=True)
def sweep() -> None:
    """Every minute: whatever a lost nudge, a failure or a dead worker left behind."""
    evaluate_some()


@shared_task(name="alerts.look_for_missing", ignore_result=True)
def look_for_missing() -> None:
    """Every quarter of an hour: has a record not come that was due?"""
    evaluation.look_for_missing(at=timezone.now())


@shared_task(name="alerts.heartbeat", ignore_result=True)
def heartbeat() -> None:
    """Carried out by a worker: so a worker works."""
    sign_of_life(WORKER, at=timezone.now())
