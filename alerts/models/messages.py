"""Messages to people about alerts that nobody has looked at, and the browsers that take them."""

from __future__ import annotations

from datetime import datetime
from typing import Any, ClassVar, Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext

from alerts.models.choices import Channel
from alerts.models.delivery_answers import answer_words
from homedialysis.accounts.models import User
from sessions.models.querysets import Viewer


class PushAddress(models.Model):
    """Where a browser of one person takes messages: what that browser handed out when the person said yes."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="push_addresses")
    endpoint = models.URLField(max_length=600, unique=True)
    p256dh = models.CharField(max_length=120)
    auth = models.CharField(max_length=60)
    label = models.CharField(max_length=60)
    added_at = models.DateTimeField()

    class Meta:
        ordering: ClassVar = ["added_at"]

    def __str__(self) -> str:
        return self.label

    @property
    def subscription(self) -> dict[str, Any]:
        """As the browser wrote it."""
        return {"endpoint": self.endpoint, "keys": {"p256dh": self.p256dh, "auth": self.auth}}


class AlertMessageQuerySet(models.QuerySet["AlertMessage"]):
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


class AlertMessage(models.Model):
    """One message to one person over one channel: kept with every try and the server's answer.

    Without an alert it is a test. `waiting_since` is since when the alert had not been looked at. It is done when it
    was sent, has failed for good, or was dropped because somebody looked meanwhile.
    """

    alert = models.ForeignKey(
        "alerts.Alert", null=True, blank=True, on_delete=models.PROTECT, related_name="deliveries"
    )
    waiting_since = models.DateTimeField(null=True, blank=True)
    to = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    channel = models.CharField(max_length=5, choices=Channel)
    push = models.ForeignKey(PushAddress, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    made_at = models.DateTimeField()
    due_at = models.DateTimeField()
    attempts = models.PositiveSmallIntegerField(default=0)
    answer = models.JSONField(default=dict)
    sent_at = models.DateTimeField(null=True, blank=True)
    failed_at = models.DateTimeField(null=True, blank=True)
    dropped_at = models.DateTimeField(null=True, blank=True)
    failure_read_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    objects = AlertMessageQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-made_at", "-pk"]
        indexes: ClassVar = [
            models.Index(
                fields=["due_at", "id"],
                name="delivery_due",
                condition=Q(sent_at=None, failed_at=None, dropped_at=None),
            ),
            models.Index(fields=["-made_at"], name="delivery_newest"),
        ]
        constraints: ClassVar = [
            models.UniqueConstraint(
                name="delivery_once",
                fields=["alert", "waiting_since", "to", "channel", "push"],
                nulls_distinct=False,
                condition=Q(alert__isnull=False) & (Q(channel=Channel.EMAIL) | Q(push__isnull=False)),
            ),
            models.CheckConstraint(
                name="delivery_one_end",
                condition=Q(sent_at=None, failed_at=None)
                | Q(sent_at=None, dropped_at=None)
                | Q(failed_at=None, dropped_at=None),
            ),
        ]

    def __str__(self) -> str:
        return gettext("%(channel)s to %(person)s") % {"channel": self.get_channel_display(), "person": self.to}

    @property
    def answer_words(self) -> str:
        """What the server said, in the language of the reader."""
        return answer_words(self.answer)

    @property
    def is_done(self) -> bool:
        return bool(self.sent_at or self.failed_at or self.dropped_at)
