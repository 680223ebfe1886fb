"""A field is added by its declaration and one migration: a made-up one is then found wherever fields are listed."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from typing import Any

import pytest
from django.conf import settings

from tests.upgrade import databases

READING, ORDER = "glucose_mmol_l", "dialysate_mg_mmol_l"
PLACES: dict[str, Any] = {
    "migration": [
        f"Add field {ORDER} to prescription",
        f"Add field {ORDER} to prescriptionevent",
        f"Add field {READING} to reading",
    ],
    "column": 15.4,
    "API, out": 15.4,
    "refusal": ["Blood glucose must be between 1 and 40 mmol/L; 99 was given."],
    "a word is no number": ["Blood glucose: a number is needed, in mmol/L."],
    "unusual": [f"readings[0].{READING}"],
    "schema": ["ReadingPart"],
    "schema, prescription": ["PrescriptionShape"],
    "examples": 6.2,
    "kit, limits": {
        "label": "Blood glucose", "short": "Glucose", "unit": "mmol/L", "hard": [1, 40], "usual": [3, 12], "step": 0.1,
        "decimals": 1,
    },
    "kit, last reading": 15.4,
    "kit, prescription's lines": [{"label": "Dialysate magnesium", "number": "0.5", "unit": "mmol/L", "was": ""}],
    "flow sheet, printed": [True, True, True],
    "flow sheet, blank": True,
    "night's table": ["Glucose, mmol/L", ">15.4</td>"],
    "night's page, unusual": True,
    "versions": True,
    "take-out": [True, True],
    "take-out, prescriptions": True,
    "rules' rows": [True, 15.4],
    "evidence of an alert": ["Blood glucose", "mmol/L", 15.4],
    "what changes": ["Dialysate magnesium, mmol/L: 0.5 → 0.75"],
    "form": ["Dialysate magnesium, mmol/L", True, False],
    "form, its group": ["Blood and dialysate"],
    "order, refusal": ["Dialysate magnesium must be between 0 and 2 mmol/L; 3 was given."],
    "review": [["Dialysate magnesium", "0.5 mmol/L"]],
    "prescriptions of the API": 0.5,
    "page": [2, True],
}  # fmt: skip
"""Where a field has to be, and what the script reports of it there."""


@pytest.fixture(scope="module")
def database() -> Iterator[str]:
    """A database of its own: a column cannot be added to a table that an open transaction of this run has read."""
    with databases.scratch(f"made_up_field_{os.environ.get('PYTEST_XDIST_WORKER', 'one')}") as address:
        databases.manage(address, "migrate", "--verbosity", "0")
        yield address


@pytest.fixture(scope="module")
def found(database: str) -> Any:
    """What a process says in which the two fields are declared: it leaves nothing in the database."""
    environment = os.environ | {
        "DATABASE_URL": database,
        "DJANGO_SETTINGS_MODULE": "homedialysis.settings",
        "PYTHONPATH": str(settings.BASE_DIR),
    }
    done = subprocess.run(
        [sys.executable, "-P", "tests/sessions/made_up_field.py"],
        cwd=settings.BASE_DIR, env=environment, capture_output=True, text=True, check=False, timeout=300,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-4000:]
    return json.loads(done.stdout)


@pytest.mark.parametrize("place", PLACES)
def test_it_is_found(found: Any, place: str) -> None:
    assert found[place] == PLACES[place]


def test_the_phone_asks_for_it_on_its_screen_and_on_its_paper_page(found: Any) -> None:
    screen, paper = found["kit, reading screen"], found["kit, paper page"]
    assert screen[screen.index(READING) - 1 : screen.index(READING) + 2] == ["pulse", READING, "conductivity_ms_cm"]
    assert READING in paper


def test_the_printed_sheet_has_a_column_for_it(found: Any) -> None:
    assert "Glucose, mmol/L" in found["flow sheet"]


def test_fhir_tells_it_under_a_code_of_the_installations_own(found: Any) -> None:
    (part,) = found["FHIR"]
    coding = part["code"]["coding"][0]
    assert (coding["code"], coding["display"]) == (READING, "Blood glucose")
    assert coding["system"].endswith("/fhir/field")
    assert (part["valueQuantity"]["value"], part["valueQuantity"]["code"]) == (15.4, "mmol/L")


def test_the_demo_makes_it_up(found: Any) -> None:
    assert found["demo"]
    assert set(found["demo"]) <= {6.2, None}
    assert 6.2 in found["demo"]


def test_nothing_of_it_stays(found: Any, database: str) -> None:
    columns = {name for table, name, *_ in databases.shape_of(database)[0] if table == "treatment_reading"}
    assert "pulse" in columns
    assert READING not in columns


def test_every_place_that_is_looked_at_is_judged(found: Any) -> None:
    judged = {"kit, reading screen", "kit, paper page", "flow sheet", "FHIR", "demo"}
    assert set(found) == set(PLACES) | judged
