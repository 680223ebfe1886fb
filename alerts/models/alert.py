"""Alerts: one thing about one patient that wants somebody of the unit, with every step since."""

from __future__ import annotations

from datetime import datetime
from typing import Any, ClassVar, Self

import pghistory
from django.conf import settings
from django.db import models
from django.db.models import F, OuterRef, Q, Subquery
from django.utils.translation import gettext_lazy as _

from alerts.models.append_only import append_only
from alerts.models.calls import Call
from alerts.models.choices import AlertState, Outcome, StepKind, Urgency
from homedialysis.accounts.models import User
from sessions.models import Patient
from sessions.models.querysets import Viewer


class AlertQuerySet(models.QuerySet["Alert"]):
    def visible_to(self, user: Viewer) -> Self:
        """All alerts for the unit's staff, none for others: they are the unit's work list."""
        staff = isinstance(user, User) and user.is_unit_staff
        return self if staff else self.none()

    def open(self) -> Self:
        return self.filter(state=AlertState.OPEN)

    def standing(self) -> Self:
        """Open, and the records still show it: what every count of open alerts counts, set aside or not."""
        return self.open().filter(cause_gone_at=None)

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


@pghistory.track()
class Alert(models.Model):
    """One thing about one patient that wants somebody of the unit. At most one is open for a patient, rule and cause.

    No words are kept: title, sentence and limit are made when somebody reads them, see `showing.alert_words`, from the
    rule and from what it saw. `evidence` lists that, oldest first; each entry as `rules.base.Evidence.as_json` writes
    it, and with "gone": true once a correction took it away, "handled": true where it was dealt with before the alert
    came back. `limit` is the limit of the newest, as `LimitInForce.as_json` writes it, {} where no single number is;
    `parts` is what the rule's sentence says besides, as in `rules.base.Seen`.
    `waits_since`: when it came back or grew urgent, else it waits since it was opened; `looked_at`: since then.
    """

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="alerts")
    rule = models.CharField(max_length=40)
    cause = models.CharField(max_length=60)
    urgency = models.PositiveSmallIntegerField(choices=Urgency)
    state = models.CharField(max_length=6, choices=AlertState, default=AlertState.OPEN)
    evidence = models.JSONField(default=list)
    limit = models.JSONField(default=dict, blank=True)
    parts = models.JSONField(default=dict, blank=True)
    first_night = models.DateField()
    last_night = models.DateField()
    opened_at = models.DateTimeField()
    last_seen_at = models.DateTimeField(_("newest evidence at"))
    cause_gone_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    outcome = models.CharField(max_length=20, choices=Outcome, blank=True)
    assigned_to = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    set_aside_until = models.DateTimeField(null=True, blank=True)
    waits_since = models.DateTimeField(_("waits to be looked at since"), null=True, blank=True)
    looked_at = models.DateTimeField(_("first looked at by a person"), null=True, blank=True)

    objects = AlertQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["urgency", "opened_at", "pk"]
        indexes: ClassVar = [
            models.Index(fields=["urgency", "opened_at"], name="alert_open", condition=Q(state=AlertState.OPEN)),
            models.Index(fields=["patient", "rule", "-last_night"], name="alert_of_patient"),
            models.Index(fields=["-closed_at"], name="alert_closed", condition=Q(state=AlertState.CLOSED)),
        ]
        constraints: ClassVar = [
            models.UniqueConstraint(
                name="alert_open_once",
                fields=["patient", "rule", "cause"],
                condition=Q(state=AlertState.OPEN),
                violation_error_message=_("An alert for this is open already."),
            ),
            models.CheckConstraint(
                name="alert_closed_by_somebody",
                condition=Q(state=AlertState.OPEN, closed_at=None, closed_by=None, outcome="")
                | (Q(state=AlertState.CLOSED, closed_at__isnull=False, closed_by__isnull=False) & ~Q(outcome="")),
            ),
            models.CheckConstraint(
                name="alert_set_aside_open", condition=Q(set_aside_until=None) | Q(state=AlertState.OPEN)
            ),
            models.CheckConstraint(name="alert_nights_in_order", condition=Q(last_night__gte=F("first_night"))),
        ]

    def __str__(self) -> str:
        return f"{self.rule} of {self.patient}"

    @property
    def is_open(self) -> bool:
        return self.state == AlertState.OPEN

    @property
    def stands(self) -> bool:
        """As `AlertQuerySet.standing` asks."""
        return self.is_open and self.cause_gone_at is None

    @property
    def tone(self) -> str:
        """The class that colours it."""
        return Urgency(self.urgency).tone

    @property
    def waiting_since(self) -> datetime:
        """Since when it waits to be looked at."""
        return self.waits_since or self.opened_at


class AlertStepQuerySet(models.QuerySet["AlertStep"]):
    def closings_that_hold(self, *, until: datetime | None = None) -> Self:
        """Without the closings after which a person opened the alert again, by `until` where that is given."""
        return self.filter(~Q(kind=StepKind.CLOSED) | ~Q(pk__in=_opened_again(until)))

    def spoken(self) -> Self:
        """Closings by which somebody said that the patient was spoken with: contacts, as a call is.

        Opened again later, with a reason, the patient was spoken with all the same; taken back at once, not.
        """
        said = self.filter(kind=StepKind.CLOSED, outcome=Outcome.SPOKEN)
        return said.exclude(pk__in=_opened_again(words=""))


def _opened_again(until: datetime | None = None, **how: str) -> models.QuerySet[AlertStep, dict[str, Any]]:
    """The closings whose alert a person opened again as the next that happened to it; how: of that step."""
    opened = AlertStep.objects.filter(kind__in=[StepKind.REOPENED, StepKind.BACK_AGAIN], alert=OuterRef("alert"))
    after = opened.filter(pk__gt=OuterRef("pk")).order_by("pk").values("pk")[:1]
    again = AlertStep.objects.filter(kind=StepKind.REOPENED, **how)
    if until is not None:
        again = again.filter(at__lte=until)
    closings = AlertStep.objects.filter(kind=StepKind.CLOSED).alias(opening=Subquery(after))
    return closings.filter(opening__in=again.values("pk")).values("pk")


class AlertStep(models.Model):
    """One step in the life of an alert. Rows are only ever added; `who` is empty where the program took the step.

    words: as somebody typed them; remark: what the program says, as `rules.base.Remark.as_json` writes it, {} where it
    says nothing beyond the kind of the step.
    """

    alert = models.ForeignKey(Alert, on_delete=models.PROTECT, related_name="steps")
    kind = models.CharField(max_length=12, choices=StepKind)
    who = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    words = models.TextField(blank=True)
    remark = models.JSONField(default=dict, blank=True)
    outcome = models.CharField(max_length=20, choices=Outcome, blank=True)
    to = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    until = models.DateField(null=True, blank=True)
    call = models.ForeignKey(Call, null=True, blank=True, on_delete=models.PROTECT, related_name="steps")

    objects = AlertStepQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["pk"]
        indexes: ClassVar = [models.Index(fields=["-at"], name="alert_step_newest")]
        triggers: ClassVar = [append_only("alert_step_append_only")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} at {self.at:%Y-%m-%d %H:%M}"
