"""Alerts put together by hand, where it does not matter which rule found them."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from alerts.limits.book import LimitInForce
from alerts.limits.kinds import KINDS
from alerts.models import Alert, AlertStep
from alerts.models.choices import StepKind, Urgency
from alerts.rules.base import Evidence
from alerts.showing.alert_words import seen_of
from sessions.models import Patient
from tests.factories import A_NIGHT

MORNING = A_NIGHT + timedelta(hours=12)
"""Tuesday, 3 March 2026, 9:30 in Lisbon: the unit is open."""


def evidence(at: datetime = A_NIGHT, value: float = 12.9, limit: float = 10) -> dict[str, Any]:
    return Evidence(at=at, day=at.date(), kind="number.uf_rate", value=value, limit=limit).as_json()


def made_alert(patient: Patient, *, at: datetime = MORNING, **changes: Any) -> Alert:
    """An open alert that wants a call today."""
    usual = {
        "rule": "uf_rate",
        "cause": "uf_rate",
        "urgency": Urgency.CALL_TODAY,
        "limit": LimitInForce(KINDS["uf_rate"], 10.0).as_json(),
        "evidence": [evidence(at - timedelta(hours=12))],
        "first_night": (at - timedelta(hours=12)).date(),
        "last_night": (at - timedelta(hours=12)).date(),
        "opened_at": at,
        "last_seen_at": at,
    }
    alert: Alert = Alert.objects.create(patient=patient, **(usual | changes))
    remark = seen_of(alert).as_remark().as_json()
    AlertStep.objects.create(alert=alert, kind=StepKind.OPENED, at=at, remark=remark)
    return alert


def newest(*alerts: Alert) -> dict[int, int]:
    """What somebody who looks at them now has seen last."""
    found = {}
    for alert in alerts:
        step = alert.steps.last()
        assert step is not None
        found[alert.pk] = step.pk
    return found
