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


@dataclass(frozen=True, slots=True)
class Range:
    """label for people; unit as shown; hard and usual (low, high), both inclusive; step of the entry field."""

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
        return f"{self.label} must be between {low:g} and {high:g} {self.unit}; {given:g} was given.".replace(" ;", ";")

    def oddity(self, given: float) -> str:
        """What is unusual about a number, or ""."""
        low, high = self.usual
        return "" if low <= given <= high else f"usually between {low:g} and {high:g} {self.unit}".rstrip()


WEIGHT = Range("Weight", "kg", (20, 300), (40, 160), 0.1)
SYSTOLIC = Range("Systolic pressure", "mmHg", (40, 300), (85, 190))
DIASTOLIC = Range("Diastolic pressure", "mmHg", (20, 200), (40, 110))
PULSE = Range("Pulse", "/min", (20, 250), (45, 120))
BODY_TEMPERATURE = Range("Temperature", "°C", (30, 43), (35.5, 37.8), 0.1)


def _labelled(limits: Range, label: str) -> Range:
    return Range(**(asdict(limits) | {"label": label}))


def _around_treatment(when: str, words: str) -> dict[str, Range]:
    return {
        f"{when}_weight_kg": _labelled(WEIGHT, f"Weight {words}"),
        f"{when}_systolic": _labelled(SYSTOLIC, f"Systolic pressure {words}, sitting"),
        f"{when}_diastolic": _labelled(DIASTOLIC, f"Diastolic pressure {words}, sitting"),
        f"{when}_standing_systolic": _labelled(SYSTOLIC, f"Systolic pressure {words}, standing"),
        f"{when}_standing_diastolic": _labelled(DIASTOLIC, f"Diastolic pressure {words}, standing"),
        f"{when}_pulse": _labelled(PULSE, f"Pulse {words}"),
        f"{when}_temperature_c": _labelled(BODY_TEMPERATURE, f"Temperature {words}"),
    }


TREATMENT: dict[str, Range] = {
    **_around_treatment("pre", "before"),
    **_around_treatment("post", "after"),
    "rinse_back_l": Range("Rinse-back", "L", (0, 2), (0.1, 0.6), 0.05),
    "intake_l": Range("Drinks during treatment", "L", (0, 5), (0, 1.5), 0.05),
    "uf_removed_l": Range("Fluid removed (UF)", "L", (0, 10), (0, 4.5), 0.05),
    "blood_processed_l": Range("Blood processed", "L", (0, 300), (15, 140), 0.1),
}

READING: dict[str, Range] = {
    "qb_ml_min": Range("Blood flow rate (Qb)", "mL/min", (0, 700), (100, 450), 10),
    "qd_ml_min": Range("Dialysate flow rate (Qd)", "mL/min", (0, 1000), (50, 800), 10),
    "arterial_mmhg": Range("Arterial pressure (pre-pump)", "mmHg", (-500, 200), (-250, 20), 5),
    "venous_mmhg": Range("Venous pressure", "mmHg", (-100, 500), (20, 250), 5),
    "tmp_mmhg": Range("Transmembrane pressure (TMP)", "mmHg", (-200, 600), (-50, 300), 5),
    "uf_rate_ml_h": Range("UF rate", "mL/h", (0, 4000), (0, 1200), 10),
    "uf_volume_l": Range("UF so far", "L", (0, 10), (0, 4.5), 0.05),
    "systolic": SYSTOLIC,
    "diastolic": DIASTOLIC,
    "pulse": PULSE,
    "conductivity_ms_cm": Range("Conductivity", "mS/cm", (5, 20), (13, 15), 0.1),
    "dialysate_temperature_c": Range("Dialysate temperature", "°C", (20, 45), (34.5, 38), 0.1),
}

CHECK: dict[str, Range] = {"value": Range("Measured value", "", (0, 10000), (0, 10000), 0.01)}
MEDICINE: dict[str, Range] = {"amount": Range("Amount", "", (0, 100000), (0, 20000))}
SITE: dict[str, Range] = {
    "attempts": Range("Attempts", "", (1, 20), (1, 3)),
    "bleeding_minutes": Range("Bleeding after needle removal", "min", (0, 240), (0, 20)),
}

LISTS: dict[str, dict[str, Range]] = {
    "readings": READING,
    "checks": CHECK,
    "medicines": MEDICINE,
    "sites": SITE,
}

MINUTES_OF_TREATMENT = Range("Length of treatment", "min", (1, 1440), (60, 660))
MINUTES_BETWEEN_FUTURE_AND_NOW = 24 * 60
"""How far ahead of the server a phone's clock may be before its times are refused."""
EARLIEST = datetime(1960, 1, 1, tzinfo=UTC)
"""Before this nobody dialysed at home: a time before it is a slip of the finger."""

PRESCRIPTION: dict[str, Range] = {
    "days_per_week": Range("Days a week", "", (0.5, 7), (2, 7), 0.5),
    "minutes": Range("Minutes", "min", (30, 900), (90, 600), 5),
    "max_minutes": Range("Longest allowed", "min", (30, 900), (90, 660), 5),
    "qb_ml_min": Range("Blood flow rate (Qb)", "mL/min", (50, 600), (150, 450), 10),
    "qd_ml_min": Range("Dialysate flow rate (Qd)", "mL/min", (50, 1000), (80, 800), 10),
    "dialysate_k_mmol_l": Range("Dialysate potassium", "mmol/L", (0, 5), (1, 4), 0.5),
    "dialysate_ca_mmol_l": Range("Dialysate calcium", "mmol/L", (0, 3), (1.25, 1.75), 0.05),
    "dialysate_buffer_mmol_l": Range("Dialysate buffer", "mmol/L", (10, 60), (24, 45), 1),
    "dialysate_na_mmol_l": Range("Dialysate sodium", "mmol/L", (100, 170), (130, 145), 1),
    "dialysate_temperature_c": Range("Dialysate temperature", "°C", (30, 40), (35, 37.5), 0.1),
    "target_weight_kg": _labelled(WEIGHT, "Target weight"),
    "uf_rate_limit_ml_kg_h": Range("UF rate limit", "mL/kg/h", (1, 30), (5, 13), 0.5),
    "bolus_units": Range("Heparin bolus", "units", (0, 20000), (0, 6000), 100),
    "rate_units_h": Range("Heparin rate", "units/h", (0, 5000), (0, 2000), 50),
    "stop_minutes_before_end": Range("Stop before the end", "min", (0, 480), (0, 120), 5),
    "needle_gauge": Range("Needle gauge", "G", (13, 18), (14, 17)),
    "reading_interval_minutes": Range("Readings every", "min", (5, 480), (15, 240), 5),
    "dialyser_koa_ml_min": Range("KoA", "mL/min", (100, 3000), (400, 1600), 10),
    "height_cm": Range("Height", "cm", (60, 250), (140, 210)),
}

BLOOD: dict[str, Range] = {
    "22664-7": Range("Urea", "mmol/L", (0.1, 120), (2, 50), 0.1),
    "14682-9": Range("Creatinine", "µmol/L", (5, 5000), (50, 1600), 1),
    "2823-3": Range("Potassium", "mmol/L", (1, 12), (3, 7), 0.1),
    "2951-2": Range("Sodium", "mmol/L", (90, 200), (125, 150), 1),
    "1963-8": Range("Bicarbonate", "mmol/L", (3, 60), (15, 32), 0.1),
    "2000-8": Range("Calcium", "mmol/L", (0.5, 5), (1.8, 3), 0.01),
    "14879-1": Range("Phosphate", "mmol/L", (0.1, 6), (0.5, 3), 0.01),
    "1751-7": Range("Albumin", "g/L", (5, 80), (25, 55), 1),
    "718-7": Range("Haemoglobin", "g/L", (20, 250), (70, 150), 1),
    "2276-4": Range("Ferritin", "µg/L", (1, 20000), (20, 1500), 1),
    "14866-8": Range("Parathyroid hormone", "pmol/L", (0.1, 600), (2, 120), 0.1),
}


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
    return {name: asdict(limits) for name, limits in flat.items()}


def words_for(path: str) -> str:
    """A field's path as people read it: "readings[2].venous_mmhg" is "Venous pressure (reading 3)"."""
    listed, _, rest = path.partition("[")
    if not rest:
        return TREATMENT[path].label if path in TREATMENT else path.replace("_", " ")
    index, _, name = rest.partition("].")
    known = LISTS.get(listed, {}).get(name)
    words = known.label if known else name.replace("_", " ")
    return f"{words} ({listed.removesuffix('s')} {int(index.rstrip(']')) + 1})".strip()
