"""What the rules need beside the alerts: mutes, and the work of judging history again.

`alerts.models` imports this module, so that Django finds these too.
"""

from __future__ import annotations

from typing import ClassVar

import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from alerts.models.choices import ReplayState
from alerts.models.querysets import ChunkQuerySet
from sessions.models import Patient
from sessions.models.querysets import StaffOnlyQuerySet


class Mute(models.Model):
    """A rule that opens nothing for one patient until a time, and why. Rows are only ever added: the newest holds.

    A row without `until` says that the rule is heard again from then on.
    """

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="mutes")
    rule = models.CharField(max_length=40)
    since = models.DateTimeField()
    until = models.DateTimeField(null=True, blank=True)
    why = models.TextField()
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    objects = StaffOnlyQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-since", "-pk"]
        indexes: ClassVar = [models.Index(fields=["patient", "rule", "-since"], name="mute_of_patient")]
        constraints: ClassVar = [
            models.CheckConstraint(name="mute_until_after_since", condition=Q(until=None) | Q(until__gt=F("since"))),
        ]
        triggers: ClassVar = [pgtrigger.Protect(name="mute_append_only", operation=pgtrigger.Update | pgtrigger.Delete)]

    def __str__(self) -> str:
        return f"{self.rule} from {self.since:%Y-%m-%d}"


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
    ahead before anything is done, so that the chunk of a worker that died is taken again.
    """

    replay = models.ForeignKey(Replay, on_delete=models.CASCADE, related_name="chunks")
    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="+")
    since = models.DateTimeField()
    until = models.DateTimeField(null=True)
    due_at = models.DateTimeField()
    attempts = models.PositiveSmallIntegerField(default=0)
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
