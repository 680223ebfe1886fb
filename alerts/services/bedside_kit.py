"""What the patient's phone may say of alerts: only whether the unit will look at a night, or has.

The alerts themselves are the unit's work list and stay there.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

from alerts.limits.book import HIGH_BEFORE, book_of
from alerts.models import Alert
from alerts.services.who_has_looked import was_looked_at
from sessions.services.kit import KitRequest

WAITING, SEEN = "waiting", "seen"


def looked_at(asked: KitRequest) -> Mapping[uuid.UUID, dict[str, str]]:
    """{record id: {"alerts": …}} for nights that an alert rests on: two queries.

    "waiting" while somebody of the unit has yet to look at one of them, "seen" when all were looked at.
    """
    if not asked.nights:
        return {}
    oldest = min(night.night for night in asked.nights)
    found = Alert.objects.filter(patient=asked.patient, last_night__gte=oldest).prefetch_related("steps")
    told = {str(night.pk): night.pk for night in asked.nights}
    states: dict[uuid.UUID, dict[str, str]] = {}
    for alert in found:
        state = SEEN if was_looked_at(alert) else WAITING
        for entry in alert.evidence:
            record_id = told.get(entry.get("record") or "")
            if record_id and not entry.get("gone") and states.get(record_id) != {"alerts": WAITING}:
                states[record_id] = {"alerts": state}
    return states


def low_pressure(asked: KitRequest) -> dict[str, Any]:
    """{"low_pressure": …}: below which systolic pressure [mmHg] the phone offers what to do now: one query.

    The same limits call a nurse. after_high holds where the pressure before the treatment was at least high_before.
    """
    names = {"usual": "systolic_low", "after_high": "systolic_low_after_high"}
    book = book_of(asked.patient)
    limits = {key: book.at(name, asked.now).value for key, name in names.items()}
    return {"low_pressure": limits | {"high_before": HIGH_BEFORE}}
