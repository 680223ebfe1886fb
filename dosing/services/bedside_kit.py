"""What was computed of the nights that lie on the phone."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

from dosing.models import RecordNumbers
from sessions.services.kit import Asked

KEYS = {
    "gain_kg": "gain",
    "uf_rate": "uf_rate",
    "venous_mmhg": "venous",
    "arterial_mmhg": "arterial",
    "weekly_ktv": "standard_ktv",
}
"""As the phone calls them → keys of the catalogue."""


def computed(asked: Asked) -> Mapping[uuid.UUID, dict[str, Any]]:
    """{record id: {name: value, or None where unknown}} for the nights that have numbers: one query."""
    kept = RecordNumbers.objects.filter(record__in=asked.nights)
    return {row.record_id: {name: row.numbers.get(key, {}).get("value") for name, key in KEYS.items()} for row in kept}
