"""What changed since a time, patient by patient: for whoever takes over."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from datetime import UTC, datetime

from django.utils.translation import gettext

from alerts.models import Alert, AlertStep, Call, Mute
from alerts.models.choices import StepKind
from alerts.showing.alert_words import title_of_rule
from homedialysis.accounts.models import User
from sessions.models import Patient

MOST_STEPS = 3000
NOTHING_OPEN = 9
"""After every urgency: of whom nothing is open any more."""
NEW = (StepKind.OPENED, StepKind.BACK_AGAIN, StepKind.REOPENED)
ASIDE = (StepKind.SET_ASIDE, StepKind.RETURNED)


@dataclass(slots=True)
class Changes:
    """Of one patient, oldest first. mutes: with the rule's title; open_now: the alerts open at the end of it
    that stand; over_now: those whose cause is gone, which wait to be closed.
    """

    patient: Patient
    new: list[AlertStep] = field(default_factory=list)
    closed: list[AlertStep] = field(default_factory=list)
    aside: list[AlertStep] = field(default_factory=list)
    others: list[AlertStep] = field(default_factory=list)
    calls: list[Call] = field(default_factory=list)
    mutes: list[tuple[str, Mute]] = field(default_factory=list)
    open_now: list[Alert] = field(default_factory=list)
    over_now: list[Alert] = field(default_factory=list)

    @property
    def order(self) -> tuple[int, bool, datetime, str]:
        """As the worklist: by urgency, then what nobody has looked at, then by age."""
        most = min((alert.urgency for alert in self.open_now), default=NOTHING_OPEN)
        those = [alert for alert in self.open_now if alert.urgency == most]
        looked = all(alert.looked_at for alert in those)
        since = min((alert.waiting_since for alert in those), default=datetime.max.replace(tzinfo=UTC))
        return (most, looked, since, self.patient.name)


@dataclass(frozen=True, slots=True)
class HandOver:
    """Everything that changed, most urgent patient first. cut: whether there was more than is shown."""

    patients: list[Changes]
    cut: bool

    def count(self, name: str) -> int:
        return sum(len(getattr(one, name)) for one in self.patients)

    @property
    def counts(self) -> list[tuple[str, int]]:
        names = (
            (gettext("new alerts"), "new"),
            (gettext("closed"), "closed"),
            (gettext("calls"), "calls"),
            (gettext("set aside or back"), "aside"),
            (gettext("mutes"), "mutes"),
        )
        return [(words, self.count(name)) for words, name in names]


def changes_since(since: datetime, *, until: datetime, reader: User) -> HandOver:
    """Steps, calls and mutes after `since` up to `until`: four queries."""
    steps = AlertStep.objects.filter(at__gt=since, at__lte=until).exclude(kind__in=[StepKind.SEEN, StepKind.CALL])
    steps = steps.filter(alert__in=Alert.objects.visible_to(reader)).closings_that_hold(until=until)
    rows = list(steps.select_related("alert__patient", "who", "to", "call").order_by("pk")[: MOST_STEPS + 1])
    calls = Call.objects.visible_to(reader).filter(at__gt=since, at__lte=until).select_related("patient", "by")
    found: dict[uuid.UUID, Changes] = {}
    for step in rows[:MOST_STEPS]:
        patient = step.alert.patient
        _place(found.setdefault(patient.pk, Changes(patient)), step)
    for call in calls.order_by("at", "pk"):
        found.setdefault(call.patient_id, Changes(call.patient)).calls.append(call)
    mutes = (
        Mute.objects.visible_to(reader).filter(since__gt=since, since__lte=until).select_related("patient", "set_by")
    )
    for mute in mutes.order_by("since", "pk"):
        changes = found.setdefault(mute.patient_id, Changes(mute.patient))
        changes.mutes.append((title_of_rule(mute.rule), mute))
    for alert in Alert.objects.open().filter(patient__in=found).select_related("assigned_to"):
        changes = found[alert.patient_id]
        (changes.open_now if alert.stands else changes.over_now).append(alert)
    for changes in found.values():
        changes.new.sort(key=lambda step: (step.alert.urgency, step.pk))
        changes.open_now.sort(key=lambda alert: (alert.urgency, alert.opened_at))
    return HandOver(sorted(found.values(), key=lambda one: one.order), cut=len(rows) > MOST_STEPS)


def _place(changes: Changes, step: AlertStep) -> None:
    if step.kind in NEW:
        changes.new.append(step)
    elif step.kind == StepKind.CLOSED:
        changes.closed.append(step)
    elif step.kind in ASIDE:
        changes.aside.append(step)
    else:
        changes.others.append(step)
