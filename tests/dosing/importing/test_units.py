"""What a code and a unit mean together, by the table of the science, and what a value could mean otherwise."""

from __future__ import annotations

import pytest

from dosing.science.bloods import ANALYTES
from dosing.services.importing.units import Meant, NotMeant, meant, other_units
from sessions.facts.choices import Analyte

HAEMOGLOBIN = Meant(Analyte.HAEMOGLOBIN, "haemoglobin", "g/L")
UREA = Meant(Analyte.UREA, "urea", "mmol/L", "pre")


@pytest.mark.parametrize(
    ("code", "unit", "found"),
    [
        ("22664-7", "mmol/L", Meant(Analyte.UREA, "urea", "mmol/L")),
        ("3094-0", " MG/DL ", Meant(Analyte.UREA, "urea", "mg/dL urea nitrogen")),
        ("3091-6", "mg/dL", Meant(Analyte.UREA, "urea", "mg/dL urea")),
        ("11065-0", "mg/dL", Meant(Analyte.UREA, "urea", "mg/dL urea nitrogen", "pre")),
        ("11064-3", "mg/dL", Meant(Analyte.UREA, "urea", "mg/dL urea nitrogen", "post")),
        ("14682-9", "umol/L", Meant(Analyte.CREATININE, "creatinine", "umol/L")),
        ("14682-9", "µmol/L", Meant(Analyte.CREATININE, "creatinine", "umol/L")),
        ("14682-9", "\N{GREEK SMALL LETTER MU}mol/L", Meant(Analyte.CREATININE, "creatinine", "umol/L")),
        ("718-7", "g/L", HAEMOGLOBIN),
        ("718-7", "g/dL", Meant(Analyte.HAEMOGLOBIN, "haemoglobin", "g/dL")),
        ("2028-9", "mmol/L", Meant(Analyte.BICARBONATE, "bicarbonate", "mmol/L")),
        ("2028-9", "meq/L", Meant(Analyte.BICARBONATE, "bicarbonate", "mEq/L")),
        ("2823-3", "meq/L", Meant(Analyte.POTASSIUM, "potassium", "mEq/L")),
    ],
)
def test_a_code_and_a_unit_together(code: str, unit: str, found: Meant) -> None:
    assert meant(code, unit) == found


@pytest.mark.parametrize(
    ("code", "unit", "words"),
    [
        ("22664-8", "mmol/L", "The code “22664-8” is no LOINC code: its last digit does not fit the others."),
        ("8480-6", "mmHg", "The code “8480-6” is none that this record knows."),
        ("22664", "mmol/L", "The code “22664” is none that this record knows."),
        ("x" * 41, "mmol/L", f"The code “{'x' * 40}” is none that this record knows."),
        ("14798-3", "umol/L", "The code 14798-3 stands for what is not kept in this record."),
        ("22664-7", " ", "The unit is missing; with the code 22664-7 it can be mmol/L."),
        ("718-7", "", "The unit is missing; with the code 718-7 it can be g/L / g/dL."),
        ("22664-7", "furlong", "The code 22664-7 goes with mmol/L; “furlong” was given."),
        (
            "22664-7",
            "mg/dL",
            "The code 22664-7 goes with mmol/L; “mg/dL” was given. "
            "With mg/dL it could be mg/dL urea nitrogen / mg/dL urea, each with a code of its own.",
        ),
    ],
)
def test_what_means_nothing_together_says_why(code: str, unit: str, words: str) -> None:
    with pytest.raises(NotMeant) as problem:
        meant(code, unit)
    assert str(problem.value) == words


def test_in_the_unit_that_is_kept() -> None:
    """70 mg/dL of urea nitrogen are 25 mmol/L (molar mass of its two nitrogen atoms 28.01); ten decilitres a litre."""
    assert meant("3094-0", "mg/dL").canonical(70) == pytest.approx(24.99, abs=0.01)
    assert meant("718-7", "g/dL").canonical(11.2) == pytest.approx(112)


@pytest.mark.parametrize(
    ("given", "number", "units"),
    [
        (HAEMOGLOBIN, 11.2, ["g/dL"]),
        (HAEMOGLOBIN, 7.0, ["g/dL", "mmol/L"]),
        (HAEMOGLOBIN, 6.9, ["mmol/L"]),
        (HAEMOGLOBIN, 112, []),
        (UREA, 70, ["mg/dL urea nitrogen", "mg/dL urea"]),
        (Meant(Analyte.POTASSIUM, "potassium", "mmol/L"), 5.1, []),
    ],
)
def test_other_units_in_which_it_would_be_usual(given: Meant, number: float, units: list[str]) -> None:
    """The same unit by another name is none; before or after stays as it was."""
    found = other_units(given, number)
    assert [each.unit for each in found] == units
    assert {(each.analyte, each.name, each.timing) for each in found} <= {(given.analyte, given.name, given.timing)}


@pytest.mark.parametrize(
    ("analyte", "value", "unit", "other", "becomes", "within"),
    [
        ("urea", 1, "mmol/L", "mg/dL urea nitrogen", 2.801, 0.0005),  # labunits 0.2.1 prints 0.357 for the way back
        ("urea", 1, "mmol/L", "mg/dL urea", 6.006, 0.0005),  # conversion tables
        ("creatinine", 1, "mg/dL", "umol/L", 88.4, 0.05),  # labunits 0.2.1
        ("calcium", 9.5, "mg/dL", "mmol/L", 2.370, 0.0005),  # this and the next three: a program of its own
        ("phosphate", 5.5, "mg/dL", "mmol/L", 1.776, 0.0005),
        ("parathyroid_hormone", 300, "pg/mL", "pmol/L", 31.8, 0.05),
        ("haemoglobin", 100, "g/L", "mmol/L", 6.206, 0.0005),
        ("iron", 1, "ug/dL", "umol/L", 0.1791, 5e-5),  # this and the next two: conversion tables, from memory
        ("magnesium", 1, "mg/dL", "mmol/L", 0.4114, 5e-5),
        ("glucose", 5.55, "mmol/L", "mg/dL", 100, 0.05),
    ],
)
def test_factors_of_units(analyte: str, value: float, unit: str, other: str, becomes: float, within: float) -> None:
    units = ANALYTES[analyte].units
    assert value / units[unit].factor * units[other].factor == pytest.approx(becomes, abs=within)
