"""What the life of an alert needs beside the alert: calls, the rota, messages on their way, and the unit's times.

`alerts.models` imports this module, so that Django finds these too.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any, ClassVar

import pghistory
import pgtrigger
from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from alerts.models.choices import CallResult, Channel
from alerts.models.delivery_answers import answer_words
from alerts.models.querysets import DeliveryQuerySet
from homedialysis.accounts.models import Weekday
from sessions.models import Patient
from sessions.models.querysets import StaffOnlyQuerySet


def append_only(name: str) -> pgtrigger.Protect:
    return pgtrigger.Protect(name=name, operation=pgtrigger.Update | pgtrigger.Delete)


class RoutineManager(models.Manager["Routine"]):
    def current(self) -> Routine:
        """The unit's times, or the defaults where it has set none."""
        return self.first() or Routine()


@pghistory.track()
class Routine(models.Model):
    """The unit's times for alerts; one row. Both defaults are common practice, without a source."""

    only = models.BooleanField(default=True, editable=False, unique=True)
    seen_within_minutes = models.PositiveSmallIntegerField(
        _("an urgent alert is looked at within (minutes of opening hours)"),
        default=30,
        validators=[MinValueValidator(5), MaxValueValidator(480)],
        help_text=_("After that the next on the rota gets a message. 5 to 480."),
    )
    reopen_days = models.PositiveSmallIntegerField(
        _("a closed alert goes on when the same comes back within (days)"),
        default=14,
        validators=[MaxValueValidator(90)],
        help_text=_("Later, or with 0, a new alert opens. 0 to 90."),
    )

    objects = RoutineManager()

    class Meta:
        constraints: ClassVar = [models.CheckConstraint(name="routine_only_one", condition=Q(only=True))]

    def __str__(self) -> str:
        return f"seen within {self.seen_within_minutes} min, goes on within {self.reopen_days} days"

    @property
    def seen_within(self) -> timedelta:
        return timedelta(minutes=self.seen_within_minutes)


class Call(models.Model):
    """One try to reach a patient: what came of it, what was said, what is planned. Rows are only ever added."""

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="calls")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    result = models.CharField(max_length=12, choices=CallResult)
    said = models.TextField(blank=True)
    plan = models.TextField(blank=True)
    next_call_at = models.DateTimeField(null=True, blank=True)

    objects = StaffOnlyQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-at", "-pk"]
        indexes: ClassVar = [models.Index(fields=["patient", "-at"], name="call_of_patient")]
        constraints: ClassVar = [
            models.CheckConstraint(name="call_next_later", condition=Q(next_call_at=None) | Q(next_call_at__gt=F("at")))
        ]
        triggers: ClassVar = [append_only("call_append_only")]

    def __str__(self) -> str:
        return f"{self.get_result_display()} at {self.at:%Y-%m-%d %H:%M}"


@pghistory.track()
class RotaTurn(models.Model):
    """Who is told of an unseen alert on one weekday between two times of the unit's clock; the lowest place first."""

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="rota_turns", verbose_name=_("person")
    )
    weekday = models.PositiveSmallIntegerField(_("weekday"), choices=Weekday)
    begins = models.TimeField(_("from"))
    ends = models.TimeField(_("until"))
    place = models.PositiveSmallIntegerField(_("place"), default=1, validators=[MinValueValidator(1)])

    objects = StaffOnlyQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["weekday", "place", "begins", "pk"]
        constraints: ClassVar = [
            models.CheckConstraint(name="rota_turn_in_order", condition=Q(ends__gt=F("begins"))),
            models.UniqueConstraint(
                name="rota_turn_once",
                fields=["person", "weekday", "begins"],
                violation_error_message=_("This person has a turn that begins then."),
            ),
        ]

    def __str__(self) -> str:
        parts = {"person": self.person, "day": self.get_weekday_display()}
        parts |= {"begins": f"{self.begins:%H:%M}", "ends": f"{self.ends:%H:%M}"}
        return gettext("%(person)s, %(day)s %(begins)s to %(ends)s") % parts


@pghistory.track()
class Absence(models.Model):
    """Days on which somebody is not told, whatever the rota says."""

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="absences", verbose_name=_("person")
    )
    first_day = models.DateField(_("from"))
    last_day = models.DateField(_("up to and including"))

    objects = StaffOnlyQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["first_day", "pk"]
        constraints: ClassVar = [
            models.CheckConstraint(name="absence_in_order", condition=Q(last_day__gte=F("first_day")))
        ]

    def __str__(self) -> str:
        parts = {"person": self.person, "first": self.first_day, "last": self.last_day}
        return gettext("%(person)s from %(first)s to %(last)s") % parts


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


class Delivery(models.Model):
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

    objects = DeliveryQuerySet.as_manager()

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
