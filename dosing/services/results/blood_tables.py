"""A patient's bloods side by side: a column a drawing, a row an analyte."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from dosing.services.numbers.blood_units import spoken_of
from sessions.facts.choices import Analyte
from sessions.models import BloodResult, Patient


@dataclass(frozen=True, slots=True)
class BloodDrawing:
    """All results of one moment, before or after a treatment or apart from one."""

    first: BloodResult
    results: dict[str, BloodResult]


def drawings_of(patient: Patient) -> list[BloodDrawing]:
    """Newest first: one query."""
    rows = BloodResult.with_bounds.filter(patient=patient).select_related("entered_by").order_by("-drawn_at", "timing")
    groups = groupby(rows, key=lambda result: (result.drawn_at, result.timing))
    each = (list(group) for _, group in groups)
    return [BloodDrawing(group[0], {result.analyte: result for result in group}) for group in each]


def drawings_table(drawings: list[BloodDrawing], flag_of: Callable[[BloodResult], Any]) -> list[dict[str, Any]]:
    """A row for each analyte that was measured: name, unit, and for each drawing {result, text, flag} or None."""
    rows = []
    for analyte in Analyte:
        found = [drawing.results.get(analyte) for drawing in drawings]
        if any(found):
            shown = spoken_of(analyte.value)
            cells = [
                result and {"result": result, "text": shown.text(result), "flag": flag_of(result)} for result in found
            ]
            rows.append({"name": shown.label, "unit": shown.unit, "cells": cells})
    return rows
