"""What was computed of the nights that lie on the phone."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

from dosing.models import RecordNumbers
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.numbers.number import ShownIn
from sessions.services.kit import KitRequest


def computed(asked: KitRequest) -> Mapping[uuid.UUID, dict[str, Any]]:
    """{record id: {key of the catalogue: value, or None where unknown}} for every night of the history: one query."""
    kept = RecordNumbers.objects.filter(record__in=asked.nights)
    keys = [number.key for number in NIGHT_NUMBERS.at(ShownIn.PHONE)]
    found = {night.pk: dict.fromkeys(keys) for night in asked.nights}
    return found | {row.record_id: {key: row.numbers.get(key, {}).get("value") for key in keys} for row in kept}


def names() -> dict[str, dict[str, Any]]:
    """What the numbers that a phone shows are called, in the language of the reader."""
    shown = {number.key: number for place in (ShownIn.ANSWER, ShownIn.PHONE) for number in NIGHT_NUMBERS.at(place)}
    return {
        key: {"label": each.label, "short": each.short, "unit": each.unit_shown, "decimals": each.decimals}
        for key, each in shown.items()
    }
