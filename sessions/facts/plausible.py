"""What a number can be: the one place for limits that API, forms, bulk upload and the phone share.

Two limits for each number. Outside `hard` it is physically impossible or a slip of the finger and is refused,
saying the limit and what was given. Outside `usual` it is kept, marked, and asked about once more.
All ranges are common practice, no source: they judge typing, never a patient. Limits that call a nurse
live in `alerts`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Any

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from sessions.facts.field_words import field_words
from sessions.facts.local_number import plain


@dataclass(frozen=True, slots=True)
class Range:
    """label for people, in English; unit as shown; hard and usual (low, high), inclusive; step of the entry field."""

    label: str
    unit: str
    hard: tuple[float, float]
    usual: tuple[float, float]
    step: float = 1

    def refusal(self, given: float) -> str:
        """Why a number is refused, or "" when it is possible."""
        low, high = self.hard
        if low <= given <= high:
            return ""
        words = gettext("%(label)s must be between %(low)s and %(high)s %(unit)s; %(given)s was given.")
        parts = {"low": plain(low), "high": plain(high), "unit": unit_words(self.unit), "given": plain(given)}
        return (words % (parts | {"label": gettext(self.label)})).replace(" ;", ";")

    @property
    def needed(self) -> str:
        """Why something that is no number is refused."""
        words = gettext("%(label)s: a number is needed, in %(unit)s.")
        return words % {"label": gettext(self.label), "unit": unit_words(self.unit) or gettext("plain units")}

    def oddity(self, given: float) -> str:
        """What is unusual about a number, or "". In English: it is kept with the record, and the unit reads it."""
        low, high = self.usual
        return "" if low <= given <= high else f"usually between {low:g} and {high:g} {self.unit}".rstrip()

    @property
    def usual_words(self) -> str:
        """The same in the language of the reader."""
        low, high = (plain(end) for end in self.usual)
        words = gettext("usually between %(low)s and %(high)s %(unit)s")
        return (words % {"low": low, "high": high, "unit": unit_words(self.unit)}).rstrip()


def unit_words(unit: str) -> str:
    """A unit as people read it: most are signs, some are words."""
    return gettext(unit) if unit else ""


UNITS_IN_WORDS = (_("units"), _("units/h"), _("days"), _("weeks"), _("months"), _("treatments"), _("1/wk"))


WEIGHT = Range(_("Weight"), "kg", (20, 300), (40, 160), 0.1)
SYSTOLIC = Range(_("Systolic pressure"), "mmHg", (40, 300), (85, 190))
DIASTOLIC = Range(_("Diastolic pressure"), "mmHg", (20, 200), (40, 110))
PULSE = Range(_("Pulse"), "/min", (20, 250), (45, 120))
BODY_TEMPERATURE = Range(_("Temperature"), "°C", (30, 43), (35.5, 37.8), 0.1)


def _labelled(limits: Range, label: str) -> Range:
    return Range(**(asdict(limits) | {"label": label}))


BEFORE = {
    "weight_kg": _labelled(WEIGHT, _("Weight before")),
    "systolic": _labelled(SYSTOLIC, _("Systolic pressure before, sitting")),
    "diastolic": _labelled(DIASTOLIC, _("Diastolic pressure before, sitting")),
    "standing_systolic": _labelled(SYSTOLIC, _("Systolic pressure before, standing")),
    "standing_diastolic": _labelled(DIASTOLIC, _("Diastolic pressure before, standing")),
    "pulse": _labelled(PULSE, _("Pulse before")),
    "temperature_c": _labelled(BODY_TEMPERATURE, _("Temperature before")),
}
AFTER = {
    "weight_kg": _labelled(WEIGHT, _("Weight after")),
    "systolic": _labelled(SYSTOLIC, _("Systolic pressure after, sitting")),
    "diastolic": _labelled(DIASTOLIC, _("Diastolic pressure after, sitting")),
    "standing_systolic": _labelled(SYSTOLIC, _("Systolic pressure after, standing")),
    "standing_diastolic": _labelled(DIASTOLIC, _("Diastolic pressure after, standing")),
    "pulse": _labelled(PULSE, _("Pulse after")),
    "temperature_c": _labelled(BODY_TEMPERATURE, _("Temperature after")),
}

TREATMENT: dict[str, Range] = {
    **{f"pre_{name}": limits for name, limits in BEFORE.items()},
    **{f"post_{name}": limits for name, limits in AFTER.items()},
    "rinse_back_l": Range(_("Rinse-back"), "L", (0, 2), (0.1, 0.6), 0.05),
    "intake_l": Range(_("Drinks during treatment"), "L", (0, 5), (0, 1.5), 0.05),
    "uf_removed_l": Range(_("Fluid removed (UF)"), "L", (0, 10), (0, 4.5), 0.05),
    "blood_processed_l": Range(_("Blood processed"), "L", (0, 300), (15, 140), 0.1),
    "planned_minutes": Range(_("Planned length"), "min", (1, 1440), (60, 660), 5),
    "planned_uf_l": Range(_("Planned fluid removal (UF)"), "L", (0, 10), (0, 4.5), 0.05),
    "planned_intake_l": Range(_("Planned drinks"), "L", (0, 5), (0, 1.5), 0.05),
    "planned_rinse_back_l": Range(_("Planned rinse-back"), "L", (0, 2), (0.1, 0.6), 0.05),
    "machine_ktv": Range(_("Kt/V as the machine shows it"), "", (0, 10), (0.3, 3), 0.01),
}

READING: dict[str, Range] = {
    "qb_ml_min": Range(_("Blood flow rate (Qb)"), "mL/min", (0, 700), (100, 450), 10),
    "qd_ml_min": Range(_("Dialysate flow rate (Qd)"), "mL/min", (0, 1000), (50, 800), 10),
    "arterial_mmhg": Range(_("Arterial pressure (pre-pump)"), "mmHg", (-500, 200), (-250, 20), 5),
    "venous_mmhg": Range(_("Venous pressure"), "mmHg", (-100, 500), (20, 250), 5),
    "tmp_mmhg": Range(_("Transmembrane pressure (TMP)"), "mmHg", (-200, 600), (-50, 300), 5),
    "uf_rate_ml_h": Range(_("UF rate"), "mL/h", (0, 4000), (0, 1200), 10),
    "uf_volume_l": Range(_("UF so far"), "L", (0, 10), (0, 4.5), 0.05),
    "systolic": SYSTOLIC,
    "diastolic": DIASTOLIC,
    "pulse": PULSE,
    "conductivity_ms_cm": Range(_("Conductivity"), "mS/cm", (5, 20), (13, 15), 0.1),
    "dialysate_temperature_c": Range(_("Dialysate temperature"), "°C", (20, 45), (34.5, 38), 0.1),
}

CHECK: dict[str, Range] = {"value": Range(_("Measured value"), "", (0, 10000), (0, 10000), 0.01)}
MEDICINE: dict[str, Range] = {"amount": Range(_("Amount"), "", (0, 100000), (0, 20000))}
SITE: dict[str, Range] = {
    "attempts": Range(_("Attempts"), "", (1, 20), (1, 3)),
    "bleeding_minutes": Range(_("Bleeding after needle removal"), "min", (0, 240), (0, 20)),
    "gauge": Range(_("Needle gauge"), "G", (13, 18), (14, 17)),
    "length_mm": Range(_("Needle length"), "mm", (5, 60), (15, 38)),
    "pain": Range(_("Pain at the needle, 0 to 10"), "", (0, 10), (0, 6)),
}
WHOLE = frozenset({"sites.attempts", "sites.gauge", "sites.pain"})
"""Numbers that are counted, not measured: a fraction of one is refused."""
EVENT: dict[str, Range] = {
    "systolic": SYSTOLIC,
    "diastolic": DIASTOLIC,
    "saline_l": Range(_("Saline given"), "L", (0, 3), (0.05, 0.5), 0.05),
}

LISTS: dict[str, dict[str, Range]] = {
    "readings": READING,
    "checks": CHECK,
    "events": EVENT,
    "medicines": MEDICINE,
    "sites": SITE,
}

MINUTES_OF_TREATMENT = Range(_("Length of treatment"), "min", (1, 1440), (60, 660))
MINUTES_OF_COLLECTION = Range(_("Length of the collection"), "min", (720, 10080), (1200, 5760), 15)
URINE: dict[str, Range] = {
    "volume_ml": Range(_("Volume of the urine"), "mL", (1, 20000), (50, 4000), 10),
    "urea_mmol_l": Range(_("Urea in the urine"), "mmol/L", (1, 1000), (20, 500), 1),
    "creatinine_mmol_l": Range(_("Creatinine in the urine"), "mmol/L", (0.1, 60), (1, 20), 0.1),
}
MINUTES_BETWEEN_FUTURE_AND_NOW = 24 * 60
"""How far ahead of the server a phone's clock may be before its times are refused."""
EARLIEST = datetime(1960, 1, 1, tzinfo=UTC)
"""Before this nobody dialysed at home: a time before it is a slip of the finger."""

PRESCRIPTION: dict[str, Range] = {
    "days_per_week": Range(_("Days a week"), "", (0.5, 7), (2, 7), 0.5),
    "minutes": Range(_("Minutes"), "min", (30, 900), (90, 600), 5),
    "max_minutes": Range(_("Longest allowed"), "min", (30, 900), (90, 660), 5),
    "qb_ml_min": Range(_("Blood flow rate (Qb)"), "mL/min", (50, 600), (150, 450), 10),
    "qd_ml_min": Range(_("Dialysate flow rate (Qd)"), "mL/min", (50, 1000), (80, 800), 10),
    "dialysate_k_mmol_l": Range(_("Dialysate potassium"), "mmol/L", (0, 5), (1, 4), 0.5),
    "dialysate_ca_mmol_l": Range(_("Dialysate calcium"), "mmol/L", (0, 3), (1.25, 1.75), 0.05),
    "dialysate_buffer_mmol_l": Range(_("Dialysate buffer"), "mmol/L", (10, 60), (24, 45), 1),
    "dialysate_na_mmol_l": Range(_("Dialysate sodium"), "mmol/L", (100, 170), (130, 145), 1),
    "dialysate_temperature_c": Range(_("Dialysate temperature"), "°C", (30, 40), (35, 37.5), 0.1),
    "target_weight_kg": _labelled(WEIGHT, _("Target weight")),
    "uf_rate_limit_ml_kg_h": Range(_("UF rate limit"), "mL/kg/h", (1, 30), (5, 13), 0.5),
    "bolus_units": Range(_("Heparin bolus"), "units", (0, 20000), (0, 6000), 100),
    "rate_units_h": Range(_("Heparin rate"), "units/h", (0, 5000), (0, 2000), 50),
    "stop_minutes_before_end": Range(_("Stop before the end"), "min", (0, 480), (0, 120), 5),
    "needle_gauge": Range(_("Needle gauge"), "G", (13, 18), (14, 17)),
    "reading_interval_minutes": Range(_("Readings every"), "min", (5, 480), (15, 240), 5),
    "dialyser_koa_ml_min": Range(_("KoA"), "mL/min", (100, 3000), (400, 1600), 10),
    "height_cm": Range(_("Height"), "cm", (60, 250), (140, 210)),
}

BLOOD: dict[str, Range] = {
    "22664-7": Range(_("Urea"), "mmol/L", (0.1, 120), (2, 50), 0.1),
    "14682-9": Range(_("Creatinine"), "µmol/L", (5, 5000), (50, 1600), 1),
    "2823-3": Range(_("Potassium"), "mmol/L", (1, 12), (3, 7), 0.1),
    "2951-2": Range(_("Sodium"), "mmol/L", (90, 200), (125, 150), 1),
    "1963-8": Range(_("Bicarbonate"), "mmol/L", (3, 60), (15, 32), 0.1),
    "2000-8": Range(_("Calcium"), "mmol/L", (0.5, 5), (1.8, 3), 0.01),
    "14879-1": Range(_("Phosphate"), "mmol/L", (0.1, 6), (0.5, 3), 0.01),
    "1751-7": Range(_("Albumin"), "g/L", (5, 80), (25, 55), 1),
    "718-7": Range(_("Haemoglobin"), "g/L", (20, 250), (70, 150), 1),
    "2276-4": Range(_("Ferritin"), "µg/L", (1, 20000), (20, 1500), 1),
    "2502-3": Range(_("Transferrin saturation"), "%", (1, 100), (10, 60), 1),
    "14866-8": Range(_("Parathyroid hormone"), "pmol/L", (0.1, 600), (2, 120), 0.1),
}


WATER: dict[str, Range] = {
    "total_chlorine": Range(_("Total chlorine"), "mg/L", (0, 10), (0, 0.5), 0.01),
    "bacteria": Range(_("Bacterial culture"), "CFU/mL", (0, 1_000_000), (0, 1000), 1),
    "endotoxin": Range(_("Endotoxin"), "EU/mL", (0, 1000), (0, 5), 0.001),
    "conductivity": Range(_("Conductivity of product water"), "µS/cm", (0, 3000), (0, 200), 1),
    "hardness": Range(_("Hardness"), "mg/L", (0, 1000), (0, 100), 1),
}
"""Results of a water test by its kind."""
AROUND: dict[str, Range] = {
    "count": Range(_("Count"), "", (0, 100_000), (0, 2000)),
    "per_treatment": Range(_("Used at a treatment"), "", (0, 100), (0, 10), 0.1),
    "cover_days": Range(_("Days of cover wanted"), "days", (0, 365), (7, 90)),
    "pack_size": Range(_("Pieces in a pack"), "", (1, 10_000), (1, 500)),
    "every_days": Range(_("Every so many days"), "days", (1, 3660), (1, 800)),
    "every_treatments": Range(_("Every so many treatments"), "treatments", (1, 2000), (1, 500)),
    "every_weeks": Range(_("Every so many weeks"), "weeks", (1, 208), (1, 53)),
    "months": Range(_("Good for so many months"), "months", (1, 120), (3, 36)),
}
"""Supplies, due days and training."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A kept but unusual number: field as a path, what was given, what is usual, whether it was confirmed."""

    field: str
    given: float
    limit: str
    confirmed: bool


def numbers_of(document: dict[str, Any]) -> Iterator[tuple[str, float, Range]]:
    """Each number of a treatment document with its path and its limits."""
    for name, limits in TREATMENT.items():
        if document.get(name) is not None:
            yield name, document[name], limits
    for listed, fields in LISTS.items():
        for index, row in enumerate(document.get(listed) or []):
            for name, limits in fields.items():
                if row.get(name) is not None:
                    yield f"{listed}[{index}].{name}", row[name], limits


def unusual(document: dict[str, Any]) -> list[Mark]:
    """The numbers of a treatment document that are possible but unusual."""
    confirmed = set(document.get("confirmed") or [])
    return [
        Mark(field=path, given=given, limit=limits.oddity(given), confirmed=path in confirmed)
        for path, given, limits in numbers_of(document)
        if limits.oddity(given)
    ]


def moved_paths(paths: list[str], listed: str, moves: Mapping[int, int]) -> list[str]:
    """The paths with the indices of one list's rows as they are after the rows have moved (before → after)."""

    def moved(found: re.Match[str]) -> str:
        return f"{listed}[{moves.get(int(found[1]), int(found[1]))}]"

    return [re.sub(rf"^{listed}\[([0-9]{{1,6}})\]", moved, path) for path in paths]


def for_scripts() -> dict[str, dict[str, Any]]:
    """The limits as the phone and the API's readers get them: field path without index → its range."""
    flat = dict(TREATMENT)
    for listed, fields in LISTS.items():
        flat |= {f"{listed}.{name}": limits for name, limits in fields.items()}
    flat |= {f"water.{kind}": limits for kind, limits in WATER.items()}
    flat["supplies.count"] = AROUND["count"]
    return {
        name: asdict(limits) | {"label": gettext(limits.label), "unit": unit_words(limits.unit)}
        for name, limits in flat.items()
    }


def limits_of(path: str) -> Range | None:
    """The limits of a number by the path of its field: "readings[2].venous_mmhg"."""
    listed, _bracket, rest = path.partition("[")
    return LISTS.get(listed, {}).get(rest.partition("].")[2]) if rest else TREATMENT.get(path)


def words_for(path: str) -> str:
    """A field's path as people read it: "readings[2].venous_mmhg" is "Venous pressure (reading 3)"."""
    listed, _bracket, rest = path.partition("[")
    index, _dot, name = rest.partition("].")
    known = limits_of(path)
    words = gettext(known.label) if known else field_words(name if rest else path)
    if not rest:
        return words
    return f"{words} ({field_words(listed.removesuffix('s'))} {int(index.rstrip(']')) + 1})".strip()
