"""An alert that comes back: closed and seen again within the unit's time, or set aside until its day or until it grows.

The story goes on in the same alert, so that whoever reads it finds what was done the last time.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from alerts.models import Alert, AlertStep
from alerts.models.choices import AlertState, StepKind, Urgency
from alerts.models.rota_and_messages import Routine
from alerts.rules.base import Evidence, Remark, Seen
from sessions.models import Patient

Item = dict[str, Any]


def split(alert: Alert) -> tuple[list[Item], list[Item]]:
    """The evidence that was dealt with before the alert came back, and the rest."""
    before = [item for item in alert.evidence if item.get("handled")]
    return before, [item for item in alert.evidence if not item.get("handled")]


def dealt_with(alert: Alert) -> set[tuple[str, ...]]:
    """The keys of the evidence that must not count again, although the alert is open."""
    before, _ = split(alert)
    return {Evidence.from_json(item).key for item in before if not item.get("gone")}


def go_on(patient: Patient, *, rule: str, seen: Seen, facts: dict[str, Any], at: datetime) -> Alert | None:
    """Open the alert of this cause again, if it was closed lately; None where there is none. The patient is locked.

    facts: the columns that follow from the new evidence.
    """
    since = at - timedelta(days=Routine.objects.current().reopen_days)
    closed = Alert.objects.closed().filter(patient=patient, rule=rule, cause=seen.cause, closed_at__gt=since)
    alert: Alert | None = closed.order_by("-closed_at", "-pk").select_for_update(of=("self",), no_key=True).first()
    if alert is None:
        return None
    before = [item | {"handled": True} for item in alert.evidence]
    opened = {
        "state": AlertState.OPEN,
        "closed_at": None,
        "closed_by": None,
        "outcome": "",
        "cause_gone_at": None,
        "last_seen_at": at,
        "evidence": before + [item.as_json() for item in seen.evidence],
        "waits_since": at,
        "looked_at": None,
    }
    for name, value in (facts | opened).items():
        setattr(alert, name, value)
    alert.save()
    AlertStep.objects.create(alert=alert, kind=StepKind.BACK_AGAIN, at=at, remark=seen.as_remark().as_json())
    return alert


def note_news(alert: Alert, *, worse: bool, added: bool, at: datetime) -> None:
    """What new evidence does to an open alert beside joining it; the caller saves.

    One that grew more urgent wants to be looked at anew, and one that is urgent is not left aside.
    """
    urgent = alert.urgency == Urgency.CALL_TODAY
    if worse:
        alert.waits_since, alert.looked_at = at, None
    if alert.set_aside_until is not None and (worse or (added and urgent)):
        _return(alert, at, "more_seen")


def bring_back_due(*, at: datetime) -> int:
    """Put back on the table what was set aside until now; how many."""
    done = 0
    with transaction.atomic():
        for alert in Alert.objects.open().filter(set_aside_until__lte=at).locked():
            _return(alert, at, "day_come")
            alert.save(update_fields=["set_aside_until", "waits_since", "looked_at"])
            done += 1
    return done


def _return(alert: Alert, at: datetime, code: str) -> None:
    alert.set_aside_until, alert.waits_since, alert.looked_at = None, at, None
    AlertStep.objects.create(alert=alert, kind=StepKind.RETURNED, at=at, remark=Remark(code).as_json())
