"""The planner's figures, as plain data for Plotly: urea through the week, and the map of nights and hours."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from django.utils.translation import gettext as _

from dosing.science.results import FloatArray
from dosing.services.numbers.blood_units import spoken_of
from dosing.services.planner.candidates import Candidate, RateMap, curves
from dosing.services.planner.patterns import nights_words
from dosing.services.planner.urea_model import UreaModel
from sessions.facts.choices import Analyte

Figure = dict[str, Any]
COLOURS = ("--chart-1", "--chart-2", "--chart-limit", "--ink-soft", "--chart-1")
HALF = 0.5
SHOWN = 3
"""Every so many lengths of the map stand in its figure: quarters of an hour."""
DASHES = ("solid", "dash", "dot", "dashdot", "longdash")


def _numbers(values: Any) -> list[Any]:
    """Rounded for the page; what is not known is null."""
    return [_numbers(each) if np.ndim(each) else (None if np.isnan(each) else round(float(each), 3)) for each in values]


def week(names: Sequence[str], candidates: Sequence[Candidate], model: UreaModel) -> Figure:
    """Urea in plasma through the steady week, a line for each schedule, told apart by colour and dash."""
    hours, values = curves(candidates, model)
    urea = spoken_of(Analyte.UREA)
    lines = [
        {
            "type": "scatter",
            "mode": "lines",
            "name": name,
            "x": _numbers(hours / 24),
            "y": _numbers(row * urea.factor),
            "line": {"color": colour, "dash": dash, "width": 2},
        }
        for name, row, colour, dash in zip(names, values, COLOURS, DASHES, strict=False)
    ]
    layout = {
        "margin": {"l": 56, "r": 12, "t": 8, "b": 48},
        "height": 280,
        "legend": {"orientation": "h", "y": -0.25},
        "xaxis": {"title": {"text": _("day of the week")}, "dtick": 1, "range": [0, 7]},
        "yaxis": {"title": {"text": _("urea, %(unit)s") % {"unit": urea.unit}}, "rangemode": "tozero"},
    }
    return {"data": lines, "layout": layout}


def _cells(found: RateMap, values: FloatArray) -> FloatArray:
    """The values of the cells that are shown, row after row."""
    return values.reshape(len(found.nights), -1)[:, ::SHOWN].ravel()


def _figure_words(value: float, *, good: bool) -> str:
    if np.isnan(value):
        return "–"
    return f"{value:.1f}" if good else f"{value:.1f} ×"


def _bars(found: RateMap, words: Sequence[str], values: FloatArray) -> Figure:
    """A piece of a bar for each cell, its colour by the value."""
    hours = found.hours[::SHOWN]
    step = float(hours[1] - hours[0])
    return {
        "type": "bar",
        "orientation": "h",
        "showlegend": False,
        "y": [name for name in words for _ in hours],
        "base": _numbers(np.tile(hours - step / 2, len(words))),
        "x": [round(step, 3)] * (len(words) * len(hours)),
        "width": 1,
        "customdata": _numbers(np.stack([_cells(found, of) for of in (found.dose, found.uf_rate)], axis=-1)),
        "text": [f"{each:.2f}" for _ in words for each in hours],
        "textposition": "none",
        "marker": {
            "color": _numbers(_cells(found, values)),
            "colorscale": [[0, "--map-low"], [1, "--map-high"]],
            "line": {"width": 0},
        },
        "hovertemplate": "%{y}, %{text} h: dose %{customdata[0]:.2f}, UF rate %{customdata[1]:.1f}<extra></extra>",
    }


def _marks(found: RateMap, words: Sequence[str], values: FloatArray, own: tuple[str, float]) -> tuple[Figure, Figure]:
    """The value in figures at full hours, and a cross at each half between them that is not as wanted.

    own: where the schedule itself stands, which brings its own figure: nothing of these is written over it.
    """
    hours = [round(float(each), 3) for each in found.hours]
    cells = [
        (row, column)
        for row in range(len(words))
        for column in range(len(hours))
        if words[row] != own[0] or abs(hours[column] - own[1]) > HALF
    ]
    full = [cell for cell in cells if hours[cell[1]].is_integer()]
    bad = [cell for cell in cells if hours[cell[1]] % 1 == HALF and not found.good[cell]]
    figures: Figure = {
        "mode": "text",
        "showlegend": False,
        "text": [_figure_words(float(values[cell]), good=bool(found.good[cell])) for cell in full],
        "textfont": {"size": 11, "color": "--ink"},
    }
    crosses: Figure = {
        "mode": "markers",
        "name": _("dose or fluid not as wanted"),
        "marker": {"symbol": "x-thin-open", "size": 7, "color": "--ink"},
    }
    for figure, where in ((figures, full), (crosses, bad)):
        figure |= {"type": "scatter", "hoverinfo": "skip"}
        figure |= {"x": [hours[column] for _, column in where], "y": [words[row] for row, _ in where]}
    return figures, crosses


def heat_map(found: RateMap, chosen: Candidate, values: FloatArray, own: float, *, good: bool) -> Figure:
    """`values`, the dose or the UF rate of `found`, by nights and hours.

    own: the value of the schedule itself; good: whether that is as wanted.

    Where dose or fluid is not as wanted a cross lies on it: not colour alone.

    Made of bars, because Plotly's own heat map is an image with a style attribute, which the pages' policy refuses.
    """
    words = [nights_words(nights) for nights in found.nights]
    place = (nights_words(chosen.pattern.per_week), chosen.minutes / 60)
    here = {
        "type": "scatter",
        "mode": "markers+text",
        "name": _("this schedule"),
        "x": [place[1]],
        "y": [place[0]],
        "text": [_figure_words(own, good=good)],
        "textfont": {"size": 11, "color": "--ink"},
        "marker": {"symbol": "square-open", "size": 42, "color": "--ink", "line": {"width": 3}},
        "hoverinfo": "skip",
    }
    layout = {
        "margin": {"l": 120, "r": 12, "t": 8, "b": 48},
        "height": 340,
        "barmode": "overlay",
        "bargap": 0,
        "legend": {"orientation": "h", "y": -0.25},
        "xaxis": {"title": {"text": _("hours each")}, "zeroline": False, "dtick": 1, "range": [1.7, 10.3]},
        "yaxis": {"type": "category", "automargin": True},
    }
    return {"data": [_bars(found, words, values), *_marks(found, words, values, place), here], "layout": layout}
