"""A prescription as people read it: label, number and unit, line by line."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from sessions.facts.choices import Anticoagulant
from sessions.facts.local_number import plain
from sessions.models import Prescription

WEEKDAYS = (
    gettext_lazy("Monday"),
    gettext_lazy("Tuesday"),
    gettext_lazy("Wednesday"),
    gettext_lazy("Thursday"),
    gettext_lazy("Friday"),
    gettext_lazy("Saturday"),
    gettext_lazy("Sunday"),
)


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
        Line(_("Target weight"), plain(prescription.target_weight_kg), "kg"),
        Line(_("Length"), f"{prescription.minutes // 60}:{prescription.minutes % 60:02}", "h"),
        Line(_("Blood flow (Qb)"), plain(prescription.qb_ml_min), "mL/min"),
        Line(_("Dialysate flow (Qd)"), plain(prescription.qd_ml_min), "mL/min"),
        Line(_("UF rate, at most"), plain(prescription.uf_rate_limit_ml_kg_h), "mL/kg/h"),
    ]


def other_lines(prescription: Prescription) -> list[Line]:
    """The rest of the prescription."""
    gauge = [Line(_("Needles"), f"{prescription.needle_gauge}", "G")] if prescription.needle_gauge else []
    return [
        Line(_("Days"), days(prescription)),
        Line(_("Dialyser"), prescription.dialyser.name),
        Line(_("Dialysate potassium"), plain(prescription.dialysate_k_mmol_l), "mmol/L"),
        Line(_("Dialysate calcium"), plain(prescription.dialysate_ca_mmol_l), "mmol/L"),
        Line(
            _("Dialysate %(buffer)s") % {"buffer": prescription.get_dialysate_buffer_display()},
            plain(prescription.dialysate_buffer_mmol_l),
            "mmol/L",
        ),
        Line(_("Dialysate sodium"), plain(prescription.dialysate_na_mmol_l), "mmol/L"),
        Line(_("Dialysate temperature"), plain(prescription.dialysate_temperature_c), "°C"),
        *anticoagulation(prescription),
        *gauge,
        Line(_("Readings every"), f"{prescription.reading_interval_minutes}", "min"),
        Line(_("Longest allowed"), in_hours(prescription.max_minutes)),
    ]


def all_lines(prescription: Prescription) -> list[Line]:
    """The whole prescription, what is set before each treatment first."""
    return [*main_lines(prescription), *other_lines(prescription)]


def anticoagulation(prescription: Prescription) -> list[Line]:
    """What is given against clotting, and how."""
    lines = [Line(_("Anticoagulation"), prescription.get_anticoagulant_display())]
    if prescription.anticoagulant == Anticoagulant.NONE:
        return lines
    if prescription.bolus_units is not None:
        lines.append(Line(_("Bolus"), plain(prescription.bolus_units), _("units")))
    if prescription.rate_units_h is not None:
        lines.append(Line(_("Rate"), plain(prescription.rate_units_h), _("units/h")))
    if prescription.stop_minutes_before_end is not None:
        lines.append(Line(_("Stop before the end"), f"{prescription.stop_minutes_before_end}", "min"))
    return lines


def days(prescription: Prescription) -> str:
    """ "Monday, Wednesday, Friday", or how many a week when no days are fixed."""
    if prescription.weekdays:
        return ", ".join(str(WEEKDAYS[day]) for day in sorted(prescription.weekdays))
    return _("%(count)s a week") % {"count": plain(prescription.days_per_week)}
