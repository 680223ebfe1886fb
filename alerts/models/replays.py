"""The work of judging history again: a run and its chunks."""

from __future__ import annotations

from datetime import datetime
from typing import ClassVar, Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from alerts.models.choices import ReplayState
from sessions.models import Patient
from sessions.models.querysets import StaffOnlyQuerySet

MOST_CHUNK_ATTEMPTS = 4
"""How often a chunk of history is tried before people have to look."""


class ChunkQuerySet(models.QuerySet["ReplayChunk"]):
    def open(self) -> Self:
        """Not done, of a run that goes on, and not given up."""
        return self.filter(done_at=None, replay__state=ReplayState.RUNNING, attempts__lt=MOST_CHUNK_ATTEMPTS)

    def given_up(self) -> Self:
        """Failed as often as a chunk may, and waiting for nobody any more."""
        return self.filter(done_at=None, attempts__gte=MOST_CHUNK_ATTEMPTS)

    def due(self, at: datetime) -> Self:
        return self.open().filter(due_at__lte=at).order_by("due_at", "pk")

    def claimed(self) -> Self:
        """Lock these rows for this worker and pass over those another worker holds."""
        return self.select_for_update(skip_locked=True, of=("self",), no_key=True)


class Replay(models.Model):
    """One run of judging history again with the rules and limits as they stand, in chunks that any worker may take."""

    why = models.TextField()
    state = models.CharField(max_length=8, choices=ReplayState, default=ReplayState.RUNNING)
    started_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    started_at = models.DateTimeField()
    stopped_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    ended_at = models.DateTimeField(_("stopped or done at"), null=True, blank=True)

    objects = StaffOnlyQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-started_at", "-pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                name="replay_one_at_a_time", fields=["state"], condition=Q(state=ReplayState.RUNNING)
            ),
        ]

    def __str__(self) -> str:
        return f"Judging again, begun {self.started_at:%Y-%m-%d %H:%M}"


class ReplayChunk(models.Model):
    """A patient's nights that began in [since, until), to be judged again by one worker in one transaction.

    The one without `until` reaches to the present and brings the patient's alerts up to date. A claim moves `due_at`
    ahead before anything is done, so that the chunk of a worker that died is taken again. attempts: how often it
    failed by itself; loans: how often a worker has claimed it since and was not heard of.
    """

    replay = models.ForeignKey(Replay, on_delete=models.CASCADE, related_name="chunks")
    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="+")
    since = models.DateTimeField()
    until = models.DateTimeField(null=True)
    due_at = models.DateTimeField()
    attempts = models.PositiveSmallIntegerField(default=0)
    loans = models.PositiveSmallIntegerField(default=0)
    records = models.PositiveIntegerField(default=0, help_text=_("Judged in it."))
    done_at = models.DateTimeField(null=True)
    last_error = models.CharField(max_length=300, blank=True)

    objects = ChunkQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["pk"]
        indexes: ClassVar = [
            models.Index(fields=["replay", "due_at", "id"], name="chunk_open", condition=Q(done_at=None)),
        ]
        constraints: ClassVar = [
            models.UniqueConstraint(name="chunk_once", fields=["replay", "patient", "since"]),
        ]

    def __str__(self) -> str:
        return f"Chunk {self.pk} of {self.replay_id}"
