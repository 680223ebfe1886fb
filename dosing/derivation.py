"""How a stored number came about, in the field's notation."""

from __future__ import annotations

from typing import Any

from dosing.history import Night
from dosing.models import RecordNumbers

WORDS = {
    "pre": "C before: urea before [mmol/L]",
    "post": "C after: urea after [mmol/L]",
    "hours": "t: length [h]",
    "minutes": "t: length [min]",
    "uf_l": "UF: fluid removed [L]",
    "post_weight_kg": "W after: weight after [kg]",
    "pre_weight_kg": "W before: weight before [kg]",
    "last_post_weight_kg": "W after last time [kg]",
    "target_weight_kg": "W target: target weight [kg]",
    "rinse_back_l": "Rinse-back [L]",
    "intake_l": "Drinks during treatment [L]",
    "days_since_last": "PIDI: days since the last treatment, start to start; GFAC = 0.0174 / PIDI",
    "post_sample": "How the sample after was drawn",
    "per_week": "N: treatments a week, as prescribed",
    "delivered_minutes": "t delivered [min]",
    "prescribed_minutes": "t prescribed [min]",
    "systolic": "S: systolic pressure [mmHg]",
    "diastolic": "D: diastolic pressure [mmHg]",
    "pressures_mmhg": "Systolic pressures before, during and after [mmHg]",
    "values": "What was read",
    "flows_ml_min": "Qb: blood flow of the readings [mL/min]",
    "minutes_at": "Minutes from the start to each reading",
    "end_minute": "Minutes to the end",
    "machine_l": "The machine's total [L]",
    "sex": "Sex",
    "age_years": "Age [years]",
    "height_cm": "Height [cm]",
    "weight_kg": "Weight [kg]",
    "method": "Method",
    "value": "As noted",
}


def _shown(value: Any) -> str:
    if value is None:
        return "not known"
    if isinstance(value, list):
        return "; ".join(_shown(each) for each in value) or "none"
    return f"{value:.4g}".replace("-", "−") if isinstance(value, float) else str(value).replace("_", " ")


def derivation(night: Night, key: str) -> dict[str, Any]:
    """figure, lines [(what, value)], and what was kept beside the number: science version and moment."""
    figure = night.figure(key)
    lines = [(WORDS.get(name, name.replace("_", " ")), _shown(value)) for name, value in figure.inputs.items()]
    kept: RecordNumbers | None = getattr(night.record, "computed", None)
    return {
        "figure": figure,
        "lines": lines,
        "kept": kept,
        "function": figure.function,
    }
