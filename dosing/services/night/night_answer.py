"""The plain answer to a night that was handed over: the numbers, beside the plan and beside the last ten nights.

Whether the unit looks at a night is known above this package; whoever knows it says so in `look_of`.
"""

from __future__ import annotations

import statistics
from collections.abc import Callable
from enum import StrEnum
from typing import Any

from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.night.low_pressure import WITHOUT_FIGURE
from dosing.services.night.treatments import ComputedNight, as_night
from dosing.services.numbers.number import Number, ShownIn
from sessions.models import RecordState, TreatmentRecord

NIGHTS_BEFORE = 10
NOTED = ("events", "blood_return", "blood_lost_ml", "early_reason")
"""Keys of the record's document that say what went otherwise than planned: told before any number."""
NEVER_LIKE_BEFORE = WITHOUT_FIGURE
"""The doubt with which a number is held against no night before: that would reassure."""


class UnitView(StrEnum):
    """What the unit makes of a night. `unknown` where nobody has said so."""

    UNKNOWN = "unknown"
    NOT_JUDGED = "not_judged"
    ON_THE_LIST = "on_the_list"
    SEEN = "seen"
    NOTHING = "nothing"


look_of: list[Callable[[TreatmentRecord], UnitView]] = []
"""Filled in by whoever judges nights; the last one added answers."""


def answer_of(record: TreatmentRecord) -> dict[str, Any]:
    """What is known of a night now, as plain JSON. `ready` is false until the numbers are of this revision."""
    night = as_night(record)
    before = _nights_before(record)
    return {
        "record": str(record.pk),
        "night": record.night.isoformat(),
        "revision": record.revision,
        "ready": not night.stale,
        "look": look_of[-1](record) if look_of else UnitView.UNKNOWN,
        "noted": {name: record.document.get(name) for name in NOTED},
        "lines": [_line(number, night, before) for number in NIGHT_NUMBERS.at(ShownIn.ANSWER)],
    }


def _nights_before(record: TreatmentRecord) -> list[ComputedNight]:
    """The last ten nights that were handed over before this one: one query."""
    finished = TreatmentRecord.objects.filter(patient=record.patient_id, state=RecordState.FINISHED)
    earlier = finished.filter(started_at__lt=record.started_at).newest_first().select_related("computed")
    return [as_night(each) for each in earlier.defer("document")[:NIGHTS_BEFORE]]


def _line(number: Number[Any], night: ComputedNight, before: list[ComputedNight]) -> dict[str, Any]:
    key = number.key
    return {
        "key": key,
        "label": number.label,
        "unit": number.unit,
        "decimals": number.decimals,
        "value": night.value(key),
        "why": night.why(key),
        "standing": night.figure(key).standing,
        "because": night.figure(key).because,
        "planned": _planned(key, night.record),
        "before": None
        if any(each.code == NEVER_LIKE_BEFORE for each in night.figure(key).doubts)
        else _spread([value for each in before if (value := each.value(key)) is not None]),
    }


def _planned(key: str, record: TreatmentRecord) -> float | None:
    """What the plan of the evening said, else the prescription; for a rate, its limit."""
    ordered = record.prescription
    wanted: dict[str, float | None] = {
        "uf_volume": record.document.get("planned_uf_l"),
        "minutes": record.document.get("planned_minutes") or (ordered.minutes if ordered else None),
        **dict.fromkeys(("uf_rate", "uf_rate_fastest"), ordered.uf_rate_limit_ml_kg_h if ordered else None),
        "off_target": 0.0 if ordered else None,
    }
    return wanted.get(key)


def _spread(values: list[float]) -> dict[str, Any] | None:
    """Lowest, middle and highest of what is known, or None where nothing is."""
    if not values:
        return None
    return {
        "nights": len(values),
        "low": min(values),
        "middle": statistics.median(values),
        "high": max(values),
    }
