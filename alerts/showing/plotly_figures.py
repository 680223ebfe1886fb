"""Plotly figures of a patient's charts, as plain data. Colours are names of the page's own properties."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone

from alerts.showing.patient_charts import (
    FIRST,
    FOURTH,
    OUTSIDE,
    SECOND,
    THIRD,
    ChartLevel,
    ChartPoint,
    ChartSeries,
    PatientChart,
)
from dosing.services.numbers.axes import far_enough
from homedialysis.accounts.services.dates import on_charts, told_day
from sessions.models.local_time import on_wall

Figure = dict[str, Any]

INK, SOFT, LINE_1, LINE_2, LIMIT = "--ink", "--ink-soft", "--chart-1", "--chart-2", "--chart-limit"
LOOKS: dict[str, tuple[str, str, str]] = {
    FIRST: (LINE_1, "solid", "circle"),
    SECOND: (LINE_2, "solid", "square"),
    THIRD: (SOFT, "dot", "triangle-down"),
    FOURTH: (LINE_2, "dot", "square-open"),
}
"""Colour, dash and mark: not told apart by colour alone."""
DASHES = ("dash", "longdash", "dashdot")
AROUND = timedelta(days=3, hours=12)
USUAL, TALL = 280, 340
"""[px] Of a chart, and of one with a lane below."""
LANE = 0.24
"""The share of the height that a lane below takes."""


def days_axis(walls: Sequence[str], *, within: tuple[datetime, datetime]) -> Figure:
    """An axis of days, as the unit writes them, for moments of `on_wall`: a week around one that stands alone.

    within: the time that is drawn where there is no moment at all.
    """
    told = on_charts()
    axis: Figure = {"type": "date", "tickformat": told.day, "hoverformat": told.moment, "nticks": 8}
    if len(set(walls)) == 1:
        only = datetime.fromisoformat(walls[0])
        axis |= {"range": [(only + days).isoformat(timespec="minutes") for days in (-AROUND, AROUND)]}
    elif not walls:
        axis |= {"range": [on_wall(end) for end in within]}
    return axis


def figure_of_chart(chart: PatientChart, *, within: tuple[datetime, datetime]) -> Figure:
    """Lines, levels, and a mark on whatever is outside; the pointer reads words made here, with unit and local day."""
    lane = next((each.below for each in chart.series if each.below), "")
    data = [_line(each) for each in chart.series] + [
        _level(level, dash) for level, dash in zip(chart.levels, DASHES, strict=False)
    ]
    walls = [on_wall(point.at) for each in chart.series for point in each.points]
    layout = {
        "margin": {"l": 56, "r": 12, "t": 8, "b": 40},
        "height": TALL if lane else USUAL,
        "hovermode": "closest",
        "showlegend": True,
        "legend": {"orientation": "h", "y": -0.2},
        "xaxis": days_axis(walls, within=within) | ({"anchor": "y2"} if lane else {}),
        "yaxis": {"title": {"text": chart.unit}, "zeroline": False, "domain": [LANE + 0.08 if lane else 0, 1]},
    }
    if lane:
        layout["yaxis2"] = {"title": {"text": lane}, "zeroline": False, "domain": [0, LANE], "nticks": 3}
    return far_enough({"data": [*data, *_outside(chart)], "layout": layout})


def _line(series: ChartSeries) -> Figure:
    colour, dash, symbol = LOOKS[series.look]
    return {
        "type": "scatter",
        "name": series.name,
        "x": [on_wall(point.at) for point in series.points],
        "y": [point.value for point in series.points],
        "mode": "lines+markers",
        "line": {"color": colour, "width": 2, "dash": dash},
        "marker": {"color": colour, "size": 6, "symbol": symbol},
        "connectgaps": False,
        "text": [_read(point, series.name) for point in series.points],
        "hovertemplate": "%{text}<extra></extra>",
        **({"yaxis": "y2"} if series.below else {}),
    }


def _level(level: ChartLevel, dash: str) -> Figure:
    """A step holds until the next treatment."""
    return {
        "type": "scatter",
        "name": level.name,
        "x": [on_wall(point.at) for point in level.points],
        "y": [point.value for point in level.points],
        "mode": "lines",
        "line": {"color": LIMIT, "width": 1.5, "dash": dash, "shape": "hv"},
        "marker": {"color": LIMIT},
        "connectgaps": False,
        "hoverinfo": "skip",
    }


def _outside(chart: PatientChart) -> Iterator[Figure]:
    """A mark around whatever is outside, told once in the legend."""
    told = True
    for below in (False, True):
        points = [point for each in chart.series if bool(each.below) == below for point in each.points if point.outside]
        if points:
            yield {
                "type": "scatter",
                "name": str(OUTSIDE),
                "x": [on_wall(point.at) for point in points],
                "y": [point.value for point in points],
                "mode": "markers",
                "marker": {"color": LIMIT, "size": 12, "symbol": "diamond-open", "line": {"width": 2}},
                "hoverinfo": "skip",
                "showlegend": told,
                **({"yaxis": "y2"} if below else {}),
            }
            told = False


def _read(point: ChartPoint, name: str) -> str:
    """What the pointer shows: day, figure with its unit, and by which limit it is outside."""
    day = told_day(timezone.localtime(point.at), "D j M Y, H:i")
    return "<br>".join(_lines(point, f"{name}: {point.words}", day))


def _lines(point: ChartPoint, figure: str, day: str) -> Iterator[str]:
    yield day
    yield figure
    if point.outside:
        yield point.outside
