"""What changed between two versions, in words."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sessions import plausible
from sessions.models import Prescription

COMPARED = (
    "days_per_week", "weekdays", "minutes", "max_minutes", "qb_ml_min", "qd_ml_min", "dialyser", "dialysate_k_mmol_l",
    "dialysate_ca_mmol_l", "dialysate_buffer", "dialysate_buffer_mmol_l", "dialysate_na_mmol_l",
    "dialysate_temperature_c", "target_weight_kg", "uf_rate_limit_ml_kg_h", "anticoagulant", "bolus_units",
    "rate_units_h", "stop_minutes_before_end", "needle_gauge", "reading_interval_minutes", "note",
)  # fmt: skip
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def _in_words(prescription: Prescription, name: str) -> str:
    value = getattr(prescription, name)
    if name == "weekdays":
        return ", ".join(WEEKDAYS[day] for day in value) or "free"
    display = getattr(prescription, f"get_{name}_display", None)
    if display:
        return str(display())
    if value in (None, ""):
        return "none"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _label(name: str) -> str:
    words = getattr(Prescription._meta.get_field(name), "verbose_name", name)
    return str(words).capitalize()


def lines_between(before: Prescription | None, after: Prescription) -> list[str]:
    """One line for each thing the later prescription changes; empty for the first."""
    if before is None:
        return []
    pairs = [(name, _in_words(before, name), _in_words(after, name)) for name in COMPARED]
    return [f"{_label(name)}: {old} → {new}" for name, old, new in pairs if old != new]


def changed_fields(before: dict[str, Any], after: dict[str, Any]) -> list[dict[str, str]]:
    """Field by field, what a record's document held before and holds after."""
    old, new = dict(_flat(before)), dict(_flat(after))
    names = [name for name in {**old, **new} if old.get(name, "") != new.get(name, "")]
    return [
        {"field": plausible.words_for(name), "before": old.get(name, ""), "after": new.get(name, "")} for name in names
    ]


def _flat(value: Any, path: str = "") -> Iterator[tuple[str, str]]:
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from _flat(inner, f"{path}.{name}" if path else name)
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _flat(inner, f"{path}[{index}]")
    elif value not in (None, "", []):
        yield path, f"{value:g}" if isinstance(value, float) else str(value)
