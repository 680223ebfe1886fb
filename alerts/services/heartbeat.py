"""Do workers and beat work? Each leaves a sign of life in the database; silence shows to staff and to machines.

Beat signs when it has handed the heartbeat tasks to the broker, the worker of each queue when it has carried its own
out: together the rows say which of them is silent.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils.translation import gettext

from alerts.models import Heartbeat, PendingEvaluation

SILENT_AFTER = timedelta(minutes=3)
LATER_SILENT_AFTER = timedelta(minutes=10)
"""The worker of what can wait may be busy for minutes with one piece of it."""
OVERDUE_AFTER = timedelta(minutes=5)
"""How long a record may wait for its evaluation before staff are told (the sweep runs every minute)."""

WORKER, LATER, BEAT = PARTS = ("worker", "later", "beat")
BACKUP, PROOF = "backup", "proof"
"""A backup was made; a backup was restored beside, and was whole."""
BACKUP_LATE_AFTER = timedelta(days=2)


@dataclass(frozen=True, slots=True)
class WorkState:
    """When each part was last heard of, None for never, and since when the oldest overdue record waits."""

    at: datetime
    worker_heard: datetime | None
    later_heard: datetime | None
    beat_heard: datetime | None
    waiting_since: datetime | None
    backup_heard: datetime | None = None
    proof_heard: datetime | None = None

    @property
    def worker(self) -> str:
        return _in_words(self.worker_heard, self.at)

    @property
    def later(self) -> str:
        return _in_words(self.later_heard, self.at, LATER_SILENT_AFTER)

    @property
    def beat(self) -> str:
        return _in_words(self.beat_heard, self.at)

    @property
    def worker_works(self) -> bool:
        return _works(self.worker_heard, self.at)

    @property
    def later_works(self) -> bool:
        return _works(self.later_heard, self.at, LATER_SILENT_AFTER)

    @property
    def beat_works(self) -> bool:
        return _works(self.beat_heard, self.at)

    @property
    def backup_late(self) -> bool:
        """Backups were made here once, and none was lately."""
        return self.backup_heard is not None and self.at - self.backup_heard > BACKUP_LATE_AFTER

    @property
    def records(self) -> str:
        """Whether records are evaluated as they come, for machines and their keepers."""
        return "ok" if self.waiting_since is None else f"waiting since {self.waiting_since:%Y-%m-%d %H:%M} UTC"

    @property
    def well(self) -> bool:
        return self.worker_works and self.later_works and self.beat_works and self.waiting_since is None


def sign_of_life(part: str, *, at: datetime) -> None:
    """Note that a part of the machinery works. An older sign never takes the place of a newer one."""
    _, created = Heartbeat.objects.get_or_create(part=part, defaults={"at": at})
    if not created:
        Heartbeat.objects.filter(part=part, at__lt=at).update(at=at)


def state_of_work(*, at: datetime) -> WorkState:
    """Whether workers and beat have been heard of within the last minutes."""
    heard = dict(Heartbeat.objects.values_list("part", "at"))
    waiting = PendingEvaluation.objects.due(at - OVERDUE_AFTER).values_list("due_at", flat=True).first()
    parts = {f"{part}_heard": heard.get(part) for part in (*PARTS, BACKUP, PROOF)}
    return WorkState(at=at, waiting_since=waiting, **parts)


def _works(heard: datetime | None, at: datetime, longest: timedelta = SILENT_AFTER) -> bool:
    return heard is not None and at - heard <= longest


def _in_words(heard: datetime | None, at: datetime, longest: timedelta = SILENT_AFTER) -> str:
    if heard is None:
        return gettext("never heard of")
    if _works(heard, at, longest):
        return gettext("working")
    return gettext("silent since %(when)s UTC") % {"when": f"{heard:%Y-%m-%d %H:%M}"}
