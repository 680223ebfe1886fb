"""Urgent and not looked at within the unit's time: the next on the rota gets a message, and then the next.

Only opening hours count. The messages are rows, written in one transaction with the step that says so; sending them
is another matter (`services.delivery`).
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Exists, OuterRef
from django.db.models.functions import Coalesce

from alerts.models import Alert, AlertMessage, AlertStep, PushAddress, Routine
from alerts.models.alert import AlertQuerySet
from alerts.models.choices import Channel, StepKind, Urgency
from alerts.rules.base import Remark
from alerts.services.rota import order_at
from homedialysis.accounts.models import Unit, User
from homedialysis.accounts.services.opening import is_open, open_time_between


def unseen_urgent() -> AlertQuerySet:
    """Alerts that want a call today, lie on the table, and nobody has looked at: the longest waiting first.

    Also one that has passed meanwhile, for it did happen; not one that a correction took away.
    """
    alerts = Alert.objects.on_the_table().filter(urgency=Urgency.CALL_TODAY, looked_at=None)
    corrected = AlertStep.objects.filter(alert=OuterRef("pk"), kind=StepKind.CAUSE_GONE, at=OuterRef("cause_gone_at"))
    return (
        alerts.exclude(Exists(corrected))
        .annotate(waiting=Coalesce("waits_since", "opened_at"))
        .order_by("waiting", "pk")
    )


def tell_next(*, at: datetime) -> int:
    """Tell somebody of each patient whose urgent alerts have waited too long; how many people were told."""
    unit = Unit.objects.current()
    if unit is None or not is_open(unit, at):
        return 0
    patients = list(dict.fromkeys(unseen_urgent().values_list("patient_id", flat=True)))
    return sum(_tell(patient_id, unit, at) for patient_id in patients)


def nobody_left(*, at: datetime) -> int:
    """Of how many patients everybody was told who can be, and still nobody has looked."""
    unit = Unit.objects.current()
    if unit is None:
        return 0
    able = {person.pk for person in order_at(unit, at)}
    told: defaultdict[uuid.UUID, set[int]] = defaultdict(set)
    waiting = {alert.pk: alert for alert in unseen_urgent()}
    for row in AlertMessage.objects.filter(alert__in=waiting, made_at__gte=at - timedelta(days=14)):
        alert = waiting[row.alert_id or 0]
        if row.waiting_since == alert.waiting_since:
            told[alert.patient_id].add(row.to_id)
    return sum(able <= people for people in told.values())


@transaction.atomic
def _tell(patient_id: uuid.UUID, unit: Unit, at: datetime) -> bool:
    """One patient's unseen alerts are one matter: it is told under the one that has waited longest."""
    waiting = list(unseen_urgent().filter(patient_id=patient_id).select_for_update(of=("self",), no_key=True))
    if not waiting:
        return False
    first = min(waiting, key=lambda alert: (alert.waiting_since, alert.pk))
    since = first.waiting_since
    rows = list(AlertMessage.objects.filter(alert=first, waiting_since=since))
    reached = [row.made_at for row in rows if row.failed_at is None]
    if open_time_between(unit, max([since, *reached]), at) < Routine.objects.current().seen_within:
        return False
    told = {row.to_id for row in rows}
    person = next((one for one in order_at(unit, at) if one.pk not in told), None)
    if person is None:
        return False
    _write_down(waiting, first, since, person, at)
    return True


def _write_down(waiting: Iterable[Alert], first: Alert, since: datetime, person: User, at: datetime) -> None:
    rows = deliveries_to(person, at=at)
    for row in rows:
        row.alert, row.waiting_since = first, since
    AlertMessage.objects.bulk_create(rows)
    AlertStep.objects.bulk_create(
        AlertStep(alert=alert, kind=StepKind.TOLD, at=at, to=person, remark=Remark("nobody_looked").as_json())
        for alert in waiting
    )


def deliveries_to(person: User, *, at: datetime) -> list[AlertMessage]:
    """One message over each channel on which a person can be told; e-mail always. Not saved."""
    made = [AlertMessage(to=person, channel=Channel.EMAIL, made_at=at, due_at=at)]
    for address in PushAddress.objects.filter(person=person):
        made.append(AlertMessage(to=person, channel=Channel.PUSH, push=address, made_at=at, due_at=at))
    return made


def send_test(person: User, *, at: datetime) -> list[AlertMessage]:
    """A test message to one person over every channel."""
    return AlertMessage.objects.bulk_create(deliveries_to(person, at=at))
