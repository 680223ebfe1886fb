"""Laboratory values: units at the edge, codes, and what two of them say together.

Inside the app every analyte has one unit, the first of its `units`. "mg/dL" of urea means two things, urea or
urea nitrogen, so the two have names of their own here.
"""

from __future__ import annotations

from dataclasses import dataclass

from numpy.typing import ArrayLike

from dosing.science import sources as k
from dosing.science.checks import quiet, within
from dosing.science.results import Measure, as_float, measure
from dosing.science.sources import Status

_SEEN, _MEMORY = Status.SEEN, Status.MEMORY


@dataclass(frozen=True, slots=True)
class LabUnit:
    """factor: how many of this unit make one of the analyte's own; ucum and loinc: for exchange."""

    factor: float
    ucum: str
    loinc: str
    status: Status = _SEEN


@dataclass(frozen=True, slots=True)
class LabAnalyte:
    """What a laboratory measures. units: by the name on screens, the app's own first."""

    words: str
    units: dict[str, LabUnit]

    @property
    def unit(self) -> str:
        return next(iter(self.units))


def _per_litre_to_per_decilitre(molar_mass: str) -> float:
    """mg/dL that make 1 mmol/L."""
    return k.MOLAR_MASS[molar_mass] / 10


def _same(name: str, ucum: str, loinc: str, us_name: str, us_ucum: str) -> dict[str, LabUnit]:
    return {name: LabUnit(1, ucum, loinc), us_name: LabUnit(1, us_ucum, loinc)}


ANALYTES: dict[str, LabAnalyte] = {
    "urea": LabAnalyte(
        "urea",
        {
            "mmol/L": LabUnit(1, "mmol/L", "22664-7"),
            "mg/dL urea nitrogen": LabUnit(_per_litre_to_per_decilitre("urea_nitrogen"), "mg/dL", "3094-0"),
            "mg/dL urea": LabUnit(_per_litre_to_per_decilitre("urea"), "mg/dL", "3091-6"),
        },
    ),
    "creatinine": LabAnalyte(
        "creatinine",
        {
            "umol/L": LabUnit(1, "umol/L", "14682-9"),
            "mg/dL": LabUnit(k.MOLAR_MASS["creatinine"] / 10_000, "mg/dL", "2160-0"),
        },
    ),
    "potassium": LabAnalyte(
        "potassium",
        _same("mmol/L", "mmol/L", "2823-3", "mEq/L", "meq/L"),
    ),
    "sodium": LabAnalyte("sodium", _same("mmol/L", "mmol/L", "2951-2", "mEq/L", "meq/L")),
    "bicarbonate": LabAnalyte(
        "bicarbonate",
        _same("mmol/L", "mmol/L", "1963-8", "mEq/L", "meq/L"),
    ),
    "calcium": LabAnalyte(
        "total calcium",
        {
            "mmol/L": LabUnit(1, "mmol/L", "2000-8"),
            "mg/dL": LabUnit(_per_litre_to_per_decilitre("calcium"), "mg/dL", "17861-6"),
        },
    ),
    "phosphate": LabAnalyte(
        "phosphate",
        {
            "mmol/L": LabUnit(1, "mmol/L", "14879-1"),
            "mg/dL": LabUnit(_per_litre_to_per_decilitre("phosphorus"), "mg/dL", "2777-1"),
        },
    ),
    "magnesium": LabAnalyte(
        "magnesium",
        {
            "mmol/L": LabUnit(1, "mmol/L", "2601-3", _MEMORY),
            "mg/dL": LabUnit(_per_litre_to_per_decilitre("magnesium"), "mg/dL", "19123-9", _MEMORY),
        },
    ),
    "parathyroid_hormone": LabAnalyte(
        "parathyroid hormone",
        {
            "pmol/L": LabUnit(1, "pmol/L", "14866-8"),
            "pg/mL": LabUnit(k.MOLAR_MASS["parathyroid_hormone"] / 1000, "pg/mL", "2731-8"),
        },
    ),
    "haemoglobin": LabAnalyte(
        "haemoglobin",
        {
            "g/L": LabUnit(1, "g/L", "718-7"),
            "g/dL": LabUnit(0.1, "g/dL", "718-7"),
            "mmol/L": LabUnit(1000 / k.MOLAR_MASS["haemoglobin_subunit"], "mmol/L", "59260-0"),
        },
    ),
    "ferritin": LabAnalyte(
        "ferritin",
        _same("ug/L", "ug/L", "2276-4", "ng/mL", "ng/mL"),
    ),
    "transferrin_saturation": LabAnalyte(
        "transferrin saturation",
        {"%": LabUnit(1, "%", "2502-3")},
    ),
    "iron": LabAnalyte(
        "iron",
        {
            "umol/L": LabUnit(1, "umol/L", "14798-3", _MEMORY),
            "ug/dL": LabUnit(k.MOLAR_MASS["iron"] / 10, "ug/dL", "2498-4", _MEMORY),
        },
    ),
    "albumin": LabAnalyte(
        "albumin",
        {"g/L": LabUnit(1, "g/L", "1751-7"), "g/dL": LabUnit(0.1, "g/dL", "1751-7")},
    ),
    "glucose": LabAnalyte(
        "glucose",
        {
            "mmol/L": LabUnit(1, "mmol/L", "14749-6", _MEMORY),
            "mg/dL": LabUnit(_per_litre_to_per_decilitre("glucose"), "mg/dL", "2345-7", _MEMORY),
        },
    ),
    "c_reactive_protein": LabAnalyte(
        "C-reactive protein",
        {"mg/L": LabUnit(1, "mg/L", "1988-5", _MEMORY), "mg/dL": LabUnit(0.1, "mg/dL", "1988-5", _MEMORY)},
    ),
    "haemoglobin_a1c": LabAnalyte("haemoglobin A1c", {"mmol/mol": LabUnit(1, "mmol/mol", "59261-8", _MEMORY)}),
    "beta_2_microglobulin": LabAnalyte("beta-2-microglobulin", {"mg/L": LabUnit(1, "mg/L", "1952-1", _MEMORY)}),
}

FAR_OUT_K = (3.5, 6.0)
FAR_OUT: dict[str, tuple[float | None, float | None]] = {
    "potassium": FAR_OUT_K,
    "sodium": (125, 155),
    "bicarbonate": (15, 35),
    "calcium": (1.9, 2.9),
    "phosphate": (0.5, 3.0),
    "haemoglobin": (80, None),
    "magnesium": (0.4, 2.0),
    "glucose": (3.5, 25),
}
"""From where a result before a treatment is far out, in the analyte's own unit: it weighs more than one that is only
outside its range (common practice, no source). The limits that call a nurse are set by the unit; for potassium they
begin here."""

ALSO_LOINC = {"2028-9": ("bicarbonate", ("mmol/L", "mEq/L"))}
"""Other codes under which laboratories send the same: total carbon dioxide is what most American ones report for
bicarbonate, and reads about 1 mmol/L higher (code and difference from memory)."""

BEFORE_AFTER_LOINC = {
    ("urea", "mg/dL urea nitrogen", "before"): "11065-0",
    ("urea", "mg/dL urea nitrogen", "after"): "11064-3",
    ("creatinine", "mg/dL", "before"): "11042-9",
    ("creatinine", "mg/dL", "after"): "11041-1",
}
"""Codes that say before or after dialysis (seen in a US quality-measure value set). Those of urea in mmol/L
exist but their numbers were not seen: send 22664-7 with a note of the time."""

BEDSIDE_CODES: dict[str, tuple[str, str, Status]] = {
    "single_pool_ktv": ("70965-9", "1", _SEEN),
    "minutes_when_urea_was_drawn": ("70956-8", "min", _SEEN),
    "treatments_a_week": ("68448-0", "/wk", _SEEN),
}
"""LOINC, UCUM and how far seen, of what is computed or counted. Endotoxin is {EU}/mL: [EU] is another
unit in UCUM."""


@quiet
def corrected_calcium(*, calcium_mmol_l: ArrayLike, albumin_g_l: ArrayLike) -> Measure:
    """Total calcium as it would be at an albumin of 40 g/L: Ca + 0.02 (40 - albumin) [mmol/L].

    calcium_mmol_l: 0.5 to 5 mmol/L; albumin_g_l: 10 to 60 g/L. Ionised calcium is better (KDIGO).
    Source: Payne et al., Br Med J 4:643, 1973 (from memory).

    >>> round(corrected_calcium(calcium_mmol_l=2.05, albumin_g_l=30).number, 6)
    2.25
    """
    calcium, albumin = as_float(calcium_mmol_l, albumin_g_l)
    checks = within(0.5, 5, "mmol/L", calcium=calcium) + within(10, 60, "g/L", albumin=albumin)
    return measure(calcium + k.CALCIUM_PER_ALBUMIN * (k.USUAL_ALBUMIN - albumin), "mmol/L", checks)


@quiet
def potassium_gradient(*, serum_mmol_l: ArrayLike, dialysate_mmol_l: ArrayLike) -> Measure:
    """Serum before treatment minus dialysate potassium [mmol/L].

    serum_mmol_l: 1.5 to 10; dialysate_mmol_l: 0 to 5. Wide gradients go with more admissions (Nephrol Dial
    Transplant 33:1207, 2018, seen); 3 or 4 is a mark for review (common practice). No bath is set from it.

    >>> round(potassium_gradient(serum_mmol_l=5.8, dialysate_mmol_l=2.0).number, 6)
    3.8
    """
    serum, bath = as_float(serum_mmol_l, dialysate_mmol_l)
    checks = within(1.5, 10, "mmol/L", serum_potassium=serum)
    checks += within(0, 5, "mmol/L", dialysate_potassium=bath)
    return measure(serum - bath, "mmol/L", checks)


def loinc_check_digit(number: str) -> int:
    """Check digit of the part of a LOINC code before the hyphen: Luhn's rule, modulo 10.

    number: digits only, else ValueError. Source: LOINC users' guide, appendix on check digits (from memory;
    codes seen in public value sets agree).

    >>> loinc_check_digit("8460"), loinc_check_digit("22664")
    (8, 7)
    """
    if not (number.isascii() and number.isdigit()):
        raise ValueError(f"a LOINC number has digits only before the hyphen, not {number!r}")
    doubled = [int(digit) * (2 - place % 2) for place, digit in enumerate(reversed(number))]
    return -sum(value // 10 + value % 10 for value in doubled) % 10


def loinc_is_well_formed(code: str) -> bool:
    """Whether a code has the form of a LOINC code and its check digit fits; it may still not exist.

    >>> loinc_is_well_formed("8460-8"), loinc_is_well_formed("8460-3"), loinc_is_well_formed("urea")
    (True, False, False)
    """
    number, hyphen, digit = code.partition("-")
    shaped = hyphen == "-" and (number + digit).isascii() and number.isdigit() and digit.isdigit()
    return shaped and len(number) <= 7 and digit == str(loinc_check_digit(number))


def analyte_of_loinc(code: str) -> tuple[str, str] | None:
    """Analyte and name of its unit behind a LOINC code, or None; see `ANALYTES` and `BEFORE_AFTER_LOINC`.

    Where a code fixes a property but no unit (718-7: mass of haemoglobin) the first unit is given: read the
    UCUM unit of the message as well.

    >>> analyte_of_loinc("11065-0"), analyte_of_loinc("14682-9")
    (('urea', 'mg/dL urea nitrogen'), ('creatinine', 'umol/L'))
    """
    for (analyte, unit, _), known in BEFORE_AFTER_LOINC.items():
        if known == code:
            return analyte, unit
    for name, analyte_ in ANALYTES.items():
        for unit, details in analyte_.units.items():
            if details.loinc == code:
                return name, unit
    also = ALSO_LOINC.get(code)
    return (also[0], also[1][0]) if also else None
