"""Reading alerts: who may see which, in what order, and under lock."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Self

from django.db import models

from alerts.models.choices import AlertState, ReplayState
from homedialysis.accounts.models import User
from sessions.models.querysets import Viewer

if TYPE_CHECKING:
    from alerts.models import Alert, PendingEvaluation  # noqa: F401
    from alerts.models.mutes_and_replays import ReplayChunk  # noqa: F401
    from alerts.models.rota_and_messages import Delivery  # noqa: F401  (named as text below)

MOST_CHUNK_ATTEMPTS = 4
"""How often a chunk of history is tried before people have to look."""


class AlertQuerySet(models.QuerySet["Alert"]):
    def visible_to(self, user: Viewer) -> Self:
        """All alerts for the unit's staff, none for others: they are the unit's work list."""
        staff = isinstance(user, User) and user.is_unit_staff
        return self if staff else self.none()

    def open(self) -> Self:
        return self.filter(state=AlertState.OPEN)

    def on_the_table(self) -> Self:
        """Open, and not set aside until later."""
        return self.open().filter(set_aside_until=None)

    def closed(self) -> Self:
        return self.filter(state=AlertState.CLOSED)

    def locked(self) -> Self:
        """Lock these alerts, not the patients they point at; always in id order so two nurses cannot deadlock."""
        return self.order_by("pk").select_for_update(of=("self",), no_key=True)

    def for_page(self) -> Self:
        """With the patient and every step, for pages that show them."""
        wanted = ("patient", "closed_by", "assigned_to")
        return self.select_related(*wanted).prefetch_related("steps__who", "steps__to", "steps__call")


class PendingQuerySet(models.QuerySet["PendingEvaluation"]):
    def due(self, at: datetime) -> Self:
        return self.filter(put_aside_at=None, due_at__lte=at).order_by("due_at", "pk")

    def fresh(self, at: datetime) -> Self:
        """Due, never claimed, never failed."""
        return self.filter(put_aside_at=None, due_at__lte=at, attempts=0, loans=0)

    def put_aside(self) -> Self:
        return self.exclude(put_aside_at=None).order_by("put_aside_at", "pk")

    def claimed(self) -> Self:
        """Lock these rows for this worker and pass over those another worker holds."""
        return self.select_for_update(skip_locked=True, of=("self",), no_key=True)


class DeliveryQuerySet(models.QuerySet["Delivery"]):
    def visible_to(self, user: Viewer) -> Self:
        staff = isinstance(user, User) and user.is_unit_staff
        return self if staff else self.none()

    def waiting(self) -> Self:
        return self.filter(sent_at=None, failed_at=None, dropped_at=None)

    def due(self, at: datetime) -> Self:
        return self.waiting().filter(due_at__lte=at).order_by("due_at", "pk")

    def failures_unread(self) -> Self:
        return self.exclude(failed_at=None).filter(failure_read_by=None)

    def claimed(self) -> Self:
        """Lock these rows for this worker and pass over those another worker holds."""
        return self.select_for_update(skip_locked=True, of=("self",), no_key=True)


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
