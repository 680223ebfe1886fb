"""The dialysis fluid as the machine shows it: conductivity and temperature."""

from __future__ import annotations

from alerts.models.choices import Family, Urgency
from alerts.rules.base import Rule
from alerts.rules.rule_kinds import Read, of_readings, outside


def _fluid(key: str, title: str, read: Read, label: str, *, over: bool, margin: float) -> Rule:
    return outside(
        key,
        title=title,
        about=f"{label.lower()}, too {'high' if over else 'low'}",
        family=Family.COMPOSITION,
        urgency=Urgency.THIS_WEEK,
        read=read,
        limits=(key,),
        over=over,
        margin=margin,
        form=".1f",
        what=label,
        missing=f"no {label.lower()} was noted",
        reads="readings",
        optional=True,
    )


_CONDUCTIVITY = (of_readings("conductivity_ms_cm", "Conductivity", "mS/cm"), "Conductivity")
_WARMTH = "Temperature of the dialysis fluid"
_TEMPERATURE = (of_readings("dialysate_temperature_c", _WARMTH, "°C"), _WARMTH)

RULES = (
    _fluid("conductivity_low", "Conductivity low", *_CONDUCTIVITY, over=False, margin=0.1),
    _fluid("conductivity_high", "Conductivity high", *_CONDUCTIVITY, over=True, margin=0.1),
    _fluid("fluid_temperature_low", "Dialysis fluid cold", *_TEMPERATURE, over=False, margin=0.2),
    _fluid("fluid_temperature_high", "Dialysis fluid warm", *_TEMPERATURE, over=True, margin=0.2),
)
