"""Do worker and beat work? Each leaves a sign of life in the database; silence shows to staff and to machines.

Beat signs when it has handed the heartbeat task to the broker, the worker when it has carried it out: together the
two rows say which of them is silent.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils.translation import gettext

from alerts.models import Heartbeat, PendingEvaluation

SILENT_AFTER = timedelta(minutes=3)
OVERDUE_AFTER = timedelta(minutes=5)
"""How long a record may wait for its evaluation before staff are told (the sweep runs every minute)."""

WORKER, BEAT = "worker", "beat"


@dataclass(frozen=True, slots=True)
class WorkState:
    """When each part was last heard of, None for never, and since when the oldest overdue record waits."""

    at: datetime
    worker_heard: datetime | None
    beat_heard: datetime | None
    waiting_since: datetime | None

    @property
    def worker(self) -> str:
        return _in_words(self.worker_heard, self.at)

    @property
    def beat(self) -> str:
        return _in_words(self.beat_heard, self.at)

    @property
    def worker_works(self) -> bool:
        return _works(self.worker_heard, self.at)

    @property
    def beat_works(self) -> bool:
        return _works(self.beat_heard, self.at)

    @property
    def well(self) -> bool:
        return self.worker_works and self.beat_works


def sign_of_life(part: str, *, at: datetime) -> None:
    """Note that a part of the machinery works. An older sign never takes the place of a newer one."""
    _, created = Heartbeat.objects.get_or_create(part=part, defaults={"at": at})
    if not created:
        Heartbeat.objects.filter(part=part, at__lt=at).update(at=at)


def state_of_work(*, at: datetime) -> WorkState:
    """Whether worker and beat have been heard of within the last minutes."""
    heard = dict(Heartbeat.objects.values_list("part", "at"))
    waiting = PendingEvaluation.objects.due(at - OVERDUE_AFTER).values_list("due_at", flat=True).first()
    return WorkState(at=at, worker_heard=heard.get(WORKER), beat_heard=heard.get(BEAT), waiting_since=waiting)


def _works(heard: datetime | None, at: datetime) -> bool:
    return heard is not None and at - heard <= SILENT_AFTER


def _in_words(heard: datetime | None, at: datetime) -> str:
    if heard is None:
        return gettext("never heard of")
    if _works(heard, at):
        return gettext("working")
    return gettext("silent since %(when)s UTC") % {"when": f"{heard:%Y-%m-%d %H:%M}"}
