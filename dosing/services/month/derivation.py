"""How a number of a month came about, in the words of its inputs."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from dosing.services.night.derivation import WORDS as OF_NIGHT
from dosing.services.night.derivation import shown_input
from dosing.services.numbers.kept import KeptNumber
from sessions.facts.choices_surroundings import WaterKind

WORDS = OF_NIGHT | {
    "value": _("Value"),
    "values": _("Of each treatment that has it"),
    "delivered": _("Treatments done"),
    "prescribed": _("Treatments prescribed"),
    "days": _("Days in treatment"),
    "treatment": _("Night of the treatment"),
    "single_pool": _("s: single-pool Kt/V of the last treatment with bloods"),
    "minutes": _("t: mean length of the treatments [min]"),
    "per_week": _("N: treatments a week"),
    "weekly_uf_l": _("UFw: fluid removed a week [L]"),
    "volume_l": _("V: urea distribution volume after a treatment [L]"),
    "kidney_clearance_ml_min": _("Kru: kidney clearance of plasma water [mL/min]"),
    "generation_mmol_min": _("G: urea generation [mmol/min]"),
    "nights_over": _("Treatments over the limit"),
    "nights_judged": _("Treatments judged"),
    "nights_fast_and_short": _("Treatments at 13 mL/kg/h or more and under 240 min"),
    "nights_low": _("Treatments with a low pressure"),
    "clearance_ml_min": _("Kru: urea clearance by the kidneys [mL/min]"),
    "urine_ml": _("Urine collected [mL]"),
    "standard": _("Weekly standard Kt/V measured, with the kidney"),
    "surface_m2": _("S: body surface by Du Bois [m²]"),
    "target": _("Weekly standard Kt/V aimed at"),
    "calcium_mmol_l": _("Ca: total calcium [mmol/L]"),
    "albumin_g_l": _("Albumin [g/L]"),
    "serum_mmol_l": _("K before [mmol/L]"),
    "dialysate_mmol_l": _("K of the dialysate [mmol/L]"),
    "nights": _("Treatments that have it"),
    "times": _("Weeks from the first of them"),
    "test": _("Water test"),
    "unit": _("Unit"),
}
"""What each input is called, by its name in the stored numbers."""


def input_lines(figure: KeptNumber) -> list[tuple[str, str]]:
    """(what, value) of everything that went into a number of a month."""
    return [(gettext(WORDS.get(name, name)), _shown(name, value)) for name, value in figure.inputs.items()]


def _shown(name: str, value: Any) -> str:
    return str(WaterKind(value).label) if name == "test" else shown_input(value)
