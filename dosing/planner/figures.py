"""The planner's figures, as plain data for Plotly: urea through the week, and the map of nights and hours."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from dosing.planner.candidates import Candidate, Map, curves
from dosing.planner.forms import nights_words
from dosing.planner.urea_model import UreaModel

Figure = dict[str, Any]
COLOURS = ("--chart-1", "--chart-2", "--chart-limit", "--ink-soft")
DASHES = ("solid", "dash", "dot", "dashdot")


def _numbers(values: Any) -> list[Any]:
    """Rounded for the page; what is not known is null."""
    return [_numbers(each) if np.ndim(each) else (None if np.isnan(each) else round(float(each), 3)) for each in values]


def week(names: Sequence[str], candidates: Sequence[Candidate], model: UreaModel) -> Figure:
    """Urea in plasma through the steady week, a line for each schedule, told apart by colour and dash."""
    hours, values = curves(candidates, model)
    lines = [
        {
            "type": "scatter",
            "mode": "lines",
            "name": name,
            "x": _numbers(hours / 24),
            "y": _numbers(row),
            "line": {"color": colour, "dash": dash, "width": 2},
        }
        for name, row, colour, dash in zip(names, values, COLOURS, DASHES, strict=False)
    ]
    layout = {
        "margin": {"l": 56, "r": 12, "t": 8, "b": 48},
        "height": 280,
        "legend": {"orientation": "h", "y": -0.25},
        "xaxis": {"title": {"text": "day of the week"}, "dtick": 1, "range": [0, 7]},
        "yaxis": {"title": {"text": "urea, mmol/L"}, "rangemode": "tozero"},
    }
    return {"data": lines, "layout": layout}


def heat_map(found: Map, chosen: Candidate) -> Figure:
    """Dose by nights and hours. Where dose or UF rate is not as wanted a cross lies on it: not colour alone."""
    words = [nights_words(nights) for nights in found.nights]
    dose = {
        "type": "heatmap",
        "x": _numbers(found.hours),
        "y": words,
        "z": _numbers(found.dose),
        "customdata": _numbers(found.uf_rate),
        "colorscale": [[0, "--map-low"], [1, "--map-high"]],
        "colorbar": {"title": {"text": "dose"}, "thickness": 12},
        "hovertemplate": "%{y}, %{x:.2f} h: dose %{z:.2f}, UF rate %{customdata:.1f}<extra></extra>",
    }
    every = max(1, round(0.5 / float(found.hours[1] - found.hours[0])))
    bad = [
        (hours, words[row])
        for row in range(len(words))
        for hours, good in list(zip(found.hours, found.good[row], strict=True))[::every]
        if not good
    ]
    crosses = {
        "type": "scatter",
        "mode": "markers",
        "name": "dose or UF rate not as wanted",
        "x": _numbers([hours for hours, _ in bad]),
        "y": [name for _, name in bad],
        "marker": {"symbol": "x-thin-open", "size": 7, "color": "--ink"},
        "hoverinfo": "skip",
    }
    here = {
        "type": "scatter",
        "mode": "markers",
        "name": "this schedule",
        "x": [chosen.minutes / 60],
        "y": [nights_words(chosen.pattern.per_week)],
        "marker": {"symbol": "circle-open", "size": 16, "color": "--ink", "line": {"width": 3}},
        "hoverinfo": "skip",
    }
    layout = {
        "margin": {"l": 120, "r": 12, "t": 8, "b": 48},
        "height": 320,
        "legend": {"orientation": "h", "y": -0.25},
        "xaxis": {"title": {"text": "hours each"}, "zeroline": False},
        "yaxis": {"type": "category", "automargin": True},
    }
    return {"data": [dose, crosses, here], "layout": layout}
