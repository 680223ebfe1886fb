"""How a stored number came about, in the field's notation."""

from __future__ import annotations

from typing import Any

from django.utils.formats import get_format
from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from dosing.models import RecordNumbers
from dosing.services.night.treatments import ComputedNight

WORDS = {
    "pre": _("C before: urea before [mmol/L]"),
    "post": _("C after: urea after [mmol/L]"),
    "hours": _("t: length [h]"),
    "minutes": _("t: length [min]"),
    "uf_l": _("UF: fluid removed [L]"),
    "net_uf_l": _("UF: net fluid removed, without what was given back, drunk and infused [L]"),
    "fluid_by": _("How the fluid is known"),
    "not_counted": _("Broken off since the last treatment and not counted [min]"),
    "done": _("Treatments done in the last four weeks"),
    "days_in_treatment": _("Days in treatment in the last four weeks"),
    "post_weight_kg": _("W after: weight after [kg]"),
    "pre_weight_kg": _("W before: weight before [kg]"),
    "last_post_weight_kg": _("W after last time [kg]"),
    "target_weight_kg": _("W target: target weight [kg]"),
    "rinse_back_l": _("Rinse-back [L]"),
    "intake_l": _("Drinks during treatment [L]"),
    "days_since_last": _("PIDI: days since the last treatment that counts, start to start; GFAC = 0.0174 / PIDI"),
    "post_sample": _("How the sample after was drawn"),
    "per_week": _("N: treatments a week, as really done lately"),
    "delivered_minutes": _("t delivered [min]"),
    "prescribed_minutes": _("t prescribed [min]"),
    "systolic": _("S: systolic pressure [mmHg]"),
    "diastolic": _("D: diastolic pressure [mmHg]"),
    "pressures_mmhg": _("Systolic pressures before, during and after [mmHg]"),
    "values": _("What was read"),
    "flows_ml_min": _("Qb: blood flow of the readings [mL/min]"),
    "minutes_at": _("Minutes from the start to each reading"),
    "end_minute": _("Minutes to the end"),
    "machine_l": _("The machine's total [L]"),
    "sex": _("Sex"),
    "age_years": _("Age [years]"),
    "height_cm": _("Height [cm]"),
    "weight_kg": _("Weight [kg]"),
    "method": _("Method"),
    "value": _("As noted"),
    "clearance_ml_min": _("Kru: urea clearance of plasma by the kidneys [mL/min]"),
    "kidney_clearance_ml_min": _("Kru: kidney clearance of plasma water [mL/min], 0 without a collection"),
}

VALUES = {
    "total": _("the machine's total"),
    "weights": _("from the weights"),
    "readings": _("a reading near the end"),
    "female": _("female"),
    "male": _("male"),
    "late": _("late"),
    "unprotected": _("unprotected"),
    "slow_flow": _("slow flow"),
    "stop_dialysate": _("stop dialysate"),
    "tattersall_arterial": _("tattersall arterial"),
    "tattersall_venous": _("tattersall venous"),
}
"""Inputs that are codes."""


def shown_input(value: Any) -> str:
    """What went into a number, as people read it."""
    if value is None:
        return gettext("not known")
    if isinstance(value, list):
        return "; ".join(shown_input(each) for each in value) or gettext("none")
    if isinstance(value, float):
        return f"{value:.4g}".replace("-", "−").replace(".", get_format("DECIMAL_SEPARATOR"))
    return gettext(VALUES[value]) if value in VALUES else str(value)


def derivation(night: ComputedNight, key: str) -> dict[str, Any]:
    """figure, lines [(what, value)], and what was kept beside the number: science version and moment."""
    figure = night.figure(key)
    lines = [(gettext(WORDS.get(name, name)), shown_input(value)) for name, value in figure.inputs.items()]
    kept: RecordNumbers | None = getattr(night.record, "computed", None)
    return {
        "figure": figure,
        "lines": lines,
        "kept": kept,
        "function": figure.function,
    }
