"""Reading alerts: who may see which, in what order, and under lock."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Self

from django.db import models

from alerts.choices import AlertState
from homedialysis.accounts.models import User
from sessions.querysets import Viewer

if TYPE_CHECKING:
    from alerts.models import Alert, PendingEvaluation  # noqa: F401  (named as text below)


class AlertQuerySet(models.QuerySet["Alert"]):
    def visible_to(self, user: Viewer) -> Self:
        """All alerts for the unit's staff, none for others: they are the unit's work list."""
        staff = isinstance(user, User) and user.is_unit_staff
        return self if staff else self.none()

    def open(self) -> Self:
        return self.filter(state=AlertState.OPEN)

    def closed(self) -> Self:
        return self.filter(state=AlertState.CLOSED)

    def locked(self) -> Self:
        """Lock these alerts, not the patients they point at; always in id order so two nurses cannot deadlock."""
        return self.order_by("pk").select_for_update(of=("self",), no_key=True)

    def for_page(self) -> Self:
        """With the patient and every step, for pages that show them."""
        return self.select_related("patient", "closed_by").prefetch_related("steps__who")


class PendingQuerySet(models.QuerySet["PendingEvaluation"]):
    def due(self, at: datetime) -> Self:
        return self.filter(put_aside_at=None, due_at__lte=at).order_by("due_at", "pk")

    def put_aside(self) -> Self:
        return self.exclude(put_aside_at=None).order_by("put_aside_at", "pk")

    def claimed(self) -> Self:
        """Lock these rows for this worker and pass over those another worker holds."""
        return self.select_for_update(skip_locked=True, of=("self",), no_key=True)
