"""A prescription as people read it: label, number and unit, line by line."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sessions.choices import Anticoagulant
from sessions.models import Prescription

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


@dataclass(frozen=True, slots=True)
class Line:
    """label; number as text; unit, "" when there is none."""

    label: str
    number: str
    unit: str = ""


def in_hours(minutes: int) -> str:
    """240 → "4 h"; 270 → "4 h 30 min"."""
    hours, rest = divmod(minutes, 60)
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def main_lines(prescription: Prescription) -> list[Line]:
    """What is set before each treatment, to be read from an arm's length."""
    return [
        Line("Target weight", f"{prescription.target_weight_kg:g}", "kg"),
        Line("Length", f"{prescription.minutes // 60}:{prescription.minutes % 60:02}", "h"),
        Line("Blood flow (Qb)", f"{prescription.qb_ml_min:g}", "mL/min"),
        Line("Dialysate flow (Qd)", f"{prescription.qd_ml_min:g}", "mL/min"),
        Line("UF rate, at most", f"{prescription.uf_rate_limit_ml_kg_h:g}", "mL/kg/h"),
    ]


def other_lines(prescription: Prescription) -> list[Line]:
    """The rest of the prescription."""
    gauge = [Line("Needles", f"{prescription.needle_gauge}", "G")] if prescription.needle_gauge else []
    return [
        Line("Days", days(prescription)),
        Line("Dialyser", prescription.dialyser.name),
        Line("Dialysate potassium", f"{prescription.dialysate_k_mmol_l:g}", "mmol/L"),
        Line("Dialysate calcium", f"{prescription.dialysate_ca_mmol_l:g}", "mmol/L"),
        Line(
            f"Dialysate {prescription.get_dialysate_buffer_display()}",
            f"{prescription.dialysate_buffer_mmol_l:g}",
            "mmol/L",
        ),
        Line("Dialysate sodium", f"{prescription.dialysate_na_mmol_l:g}", "mmol/L"),
        Line("Dialysate temperature", f"{prescription.dialysate_temperature_c:g}", "°C"),
        *anticoagulation(prescription),
        *gauge,
        Line("Readings every", f"{prescription.reading_interval_minutes}", "min"),
        Line("Longest allowed", in_hours(prescription.max_minutes)),
    ]


def all_lines(prescription: Prescription) -> list[Line]:
    """The whole prescription, what is set before each treatment first."""
    return [*main_lines(prescription), *other_lines(prescription)]


def anticoagulation(prescription: Prescription) -> list[Line]:
    """What is given against clotting, and how."""
    lines = [Line("Anticoagulation", prescription.get_anticoagulant_display())]
    if prescription.anticoagulant == Anticoagulant.NONE:
        return lines
    if prescription.bolus_units is not None:
        lines.append(Line("Bolus", f"{prescription.bolus_units:g}", "units"))
    if prescription.rate_units_h is not None:
        lines.append(Line("Rate", f"{prescription.rate_units_h:g}", "units/h"))
    if prescription.stop_minutes_before_end is not None:
        lines.append(Line("Stop before the end", f"{prescription.stop_minutes_before_end}", "min"))
    return lines


def days(prescription: Prescription) -> str:
    """ "Monday, Wednesday, Friday", or how many a week when no days are fixed."""
    if prescription.weekdays:
        return ", ".join(WEEKDAYS[day] for day in sorted(prescription.weekdays))
    return f"{prescription.days_per_week:g} a week"


def due_words(prescription: Prescription, today: date) -> str:
    """Whether today is one of the fixed days, in a sentence; "" when no days are fixed."""
    if not prescription.weekdays:
        return ""
    if today.weekday() in prescription.weekdays:
        return "Today is one of your treatment days."
    ahead = min((day - today.weekday()) % 7 for day in prescription.weekdays)
    return f"Your next treatment day is {WEEKDAYS[(today.weekday() + ahead) % 7]}."
