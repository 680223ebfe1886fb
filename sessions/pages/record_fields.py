"""The fields of the record page, group by group, with their limits and the last value to compare with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sessions import checklist, plausible
from sessions.choices import EventKind

FIRST_OF_ALL = (
    EventKind.NEEDLE_DISLODGED,
    EventKind.BLEEDING,
    EventKind.AIR,
    EventKind.CHEST_PAIN,
    EventKind.BREATHLESS,
    EventKind.FAINTED,
)
"""Events that come first on the page: those in which a telephone matters more than a record."""


@dataclass(frozen=True, slots=True)
class Field:
    """id of the element; label and unit as shown; last: the value to compare with, or None.

    signed: often below zero, so it gets a key for the sign, which number pads lack.
    """

    id: str
    label: str
    unit: str
    last: Any = None
    signed: bool = False

    @property
    def name(self) -> str:
        """The field of the document; the id may have a word and a hyphen before it."""
        return self.id.rpartition("-")[2]


def sections(last: dict[str, Any]) -> dict[str, Any]:
    """All groups of fields for the template; `last` as phone_data.last_values gives it."""
    facts = last["facts"]
    return {
        "before": _around("pre", "before", facts),
        "after": _around("post", "after", facts),
        "totals": [_field(name, facts) for name in ("uf_removed_l", "blood_processed_l", "rinse_back_l", "intake_l")],
        "reading_first": [_of_reading(name) for name in READING_FIRST],
        "reading_more": [_of_reading(name) for name in plausible.READING if name not in READING_FIRST],
        "checks": checklist.DEFAULT,
        "events": [*FIRST_OF_ALL, *(kind for kind in EventKind if kind not in FIRST_OF_ALL)],
        "plan": [
            Field("plan-rinseBack", "Rinse-back, expected", "L", facts.get("rinse_back_l")),
            Field("plan-drinks", "Drinks, expected", "L", facts.get("intake_l")),
        ],
    }


READING_FIRST = (
    "systolic",
    "diastolic",
    "pulse",
    "arterial_mmhg",
    "venous_mmhg",
    "qb_ml_min",
    "uf_rate_ml_h",
    "uf_volume_l",
)
SHORT = {
    "systolic": "Systolic",
    "diastolic": "Diastolic",
    "pulse": "Pulse",
    "temperature_c": "Temperature",
    "arterial_mmhg": "Arterial",
    "venous_mmhg": "Venous",
    "qb_ml_min": "Blood flow",
}


def _field(name: str, facts: dict[str, Any], label: str = "") -> Field:
    limits = plausible.TREATMENT[name]
    return Field(name, label or limits.label, limits.unit, facts.get(name))


def _around(when: str, words: str, facts: dict[str, Any]) -> dict[str, Any]:
    def pair(prefix: str) -> list[Field]:
        return [_field(f"{prefix}_{name}", facts, SHORT[name]) for name in ("systolic", "diastolic")]

    return {
        "weight": _field(f"{when}_weight_kg", facts, f"Weight {words}"),
        "sitting": pair(when),
        "standing": pair(f"{when}_standing"),
        "other": [_field(f"{when}_{name}", facts, SHORT[name]) for name in ("pulse", "temperature_c")],
    }


def _of_reading(name: str) -> Field:
    limits = plausible.READING[name]
    signed = limits.usual[0] < 0
    return Field(f"reading-{name}", SHORT.get(name, limits.label), limits.unit, signed=signed)
