"""What to do about it: alerts with their steps, limits, and the list of what waits to be evaluated."""

from __future__ import annotations

from typing import ClassVar

import pghistory
from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from alerts.models.choices import AlertState, Outcome, StepKind, Urgency
from alerts.models.mutes_and_replays import Mute, Replay, ReplayChunk  # noqa: F401  (so that Django finds them)
from alerts.models.querysets import AlertQuerySet, PendingQuerySet
from alerts.models.rota_and_messages import Call
from alerts.models.rota_and_messages import append_only as _append_only
from sessions.models import Patient, TreatmentRecord
from sessions.models.querysets import OfPatientQuerySet


@pghistory.track()
class Alert(models.Model):
    """One thing about one patient that wants somebody of the unit. At most one is open for a patient, rule and cause.

    No words are kept: title, sentence and limit are made when somebody reads them, see `showing.telling`, from the
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
    def tone(self) -> str:
        """The class that colours it."""
        return Urgency(self.urgency).tone


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

    class Meta:
        ordering: ClassVar = ["pk"]
        indexes: ClassVar = [models.Index(fields=["-at"], name="alert_step_newest")]
        triggers: ClassVar = [_append_only("alert_step_append_only")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} at {self.at:%Y-%m-%d %H:%M}"


class Limit(models.Model):
    """A limit set for the unit (no patient) or for one patient. Rows are only ever added: the newest in force holds.

    A row without a value says that the wider limit holds again from then on.
    """

    name = models.CharField(max_length=40)
    patient = models.ForeignKey(Patient, null=True, blank=True, on_delete=models.CASCADE, related_name="limits")
    value = models.FloatField(null=True, blank=True)
    why = models.TextField()
    since = models.DateTimeField()
    until = models.DateTimeField(null=True, blank=True)
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    objects = OfPatientQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-since", "-pk"]
        indexes: ClassVar = [models.Index(fields=["patient", "-since"], name="limit_of_patient")]
        constraints: ClassVar = [
            models.CheckConstraint(name="limit_until_after_since", condition=Q(until=None) | Q(until__gt=F("since"))),
        ]
        triggers: ClassVar = [_append_only("limit_append_only")]

    def __str__(self) -> str:
        return f"{self.name} from {self.since:%Y-%m-%d}"


class PendingEvaluation(models.Model):
    """News that wants evaluating: written with the news, gone in the transaction that evaluates it.

    Without a record the patient is looked at as a whole. attempts: how often it failed by itself; a row that keeps
    failing is put aside for people to see. loans: how often a worker has claimed it since and was not heard of.
    """

    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="+")
    record = models.ForeignKey(TreatmentRecord, null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    why = models.CharField(max_length=60)
    created_at = models.DateTimeField()
    due_at = models.DateTimeField()
    attempts = models.PositiveSmallIntegerField(default=0)
    loans = models.PositiveSmallIntegerField(default=0)
    last_error = models.CharField(max_length=300, blank=True)
    put_aside_at = models.DateTimeField(null=True, blank=True)

    objects = PendingQuerySet.as_manager()

    class Meta:
        indexes: ClassVar = [
            models.Index(fields=["due_at", "id"], name="pending_due", condition=Q(put_aside_at=None)),
        ]

    def __str__(self) -> str:
        return f"{self.why} of {self.patient_id}"


class RecordJudgement(models.Model):
    """What the rules saw in a record, what they could not judge and why, and the revision that was looked at.

    found: each thing seen, as `rules.base.Evidence.as_json` writes it, with its rule; not_judged: why not, as
    `rules.base.Remark.as_json` writes it, with the rule that could not. rules: the version of the rules.
    """

    record = models.OneToOneField(TreatmentRecord, primary_key=True, on_delete=models.CASCADE, related_name="judgement")
    revision = models.PositiveIntegerField()
    judged_at = models.DateTimeField()
    not_judged = models.JSONField(default=list, help_text='List of {"rule", "code", "parts"}.')
    found = models.JSONField(default=list, help_text='List of {"rule", "kind", "at", "value", "limit", …}.')
    rules = models.CharField(max_length=20, blank=True)

    def __str__(self) -> str:
        return f"Judgement of {self.record_id}"


class Heartbeat(models.Model):
    """When a part of the machinery was last known to work."""

    part = models.CharField(max_length=10, primary_key=True)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.part} at {self.at:%Y-%m-%d %H:%M:%S}"
