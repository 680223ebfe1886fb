"""How far an axis of values reaches at the least: what is no more than the error of a measurement is no mountain."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

MOST_STEPS = 4
LEAST_STEP = 0.025
"""Of the greatest value: closer steps would draw the error of a measurement as a mountain (common practice, no source).
The phone draws by the same share (`sessions/static/bedside/js/trend_pictures.js`)."""


def least_span(values: Sequence[float]) -> float:
    """The shortest an axis of these values is, in their unit; 0 of none, or of nothing but noughts."""
    return MOST_STEPS * LEAST_STEP * max((abs(value) for value in values), default=0.0)


def far_enough(figure: dict[str, Any]) -> dict[str, Any]:
    """A Plotly figure whose first axis of values is not shorter than that; a wider one is left to Plotly."""
    lines = [line for line in figure["data"] if "yaxis" not in line]
    known = [value for line in lines for value in line["y"] if value is not None]
    least = least_span(known)
    if not known or max(known) - min(known) >= least:
        return figure
    middle = (min(known) + max(known)) / 2
    axis = figure["layout"]["yaxis"] | {"range": [middle - least / 2, middle + least / 2]}
    return figure | {"layout": figure["layout"] | {"yaxis": axis}}
