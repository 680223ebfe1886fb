"""A patient's bloods through time with the doses that move them, as Plotly figures."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from dosing.services.numbers.blood_units import spoken_of
from dosing.services.results.dose_lines import MOVED_BY, DoseLine, dose_lines, without_line
from homedialysis.accounts.services.dates import on_charts
from sessions.facts.choices import Analyte, SampleTiming
from sessions.models import BloodResult, Medication, Patient
from sessions.models.local_time import on_wall
from sessions.services.medications import taken_between

SHOWN_FOR = timedelta(days=365)
DRAWN = (
    Analyte.HAEMOGLOBIN,
    Analyte.FERRITIN,
    Analyte.TRANSFERRIN_SATURATION,
    Analyte.PHOSPHATE,
    Analyte.CALCIUM,
    Analyte.PTH,
    Analyte.POTASSIUM,
    Analyte.BICARBONATE,
    Analyte.ALBUMIN,
)
COLOURS = ("--chart-2", "--chart-limit", "--ink-soft")
DASHES = ("solid", "dot", "dash")
SPLIT = (0.42, 0.3)
"""Where the bloods begin and the doses end, of the height of a chart that has both."""
Figure = dict[str, Any]


@dataclass(frozen=True, slots=True)
class AnalyteChart:
    """One analyte: the id and caption of its figure, and the medicines without a dose a week, in words."""

    id: str
    caption: str
    figure: Figure
    beside: tuple[str, ...]


def blood_charts(patient: Patient) -> list[AnalyteChart]:
    """Of the last year, those analytes that were measured twice or more: two queries."""
    last = timezone.localdate()
    first = last - SHOWN_FOR
    rows = BloodResult.objects.filter(patient=patient, analyte__in=DRAWN, drawn_at__date__gte=first)
    bloods = list(rows.exclude(timing=SampleTiming.POST).order_by("drawn_at"))
    taken = taken_between(patient, first, last)
    charts = [chart_of(analyte, bloods, taken, (first, last)) for analyte in DRAWN]
    return [chart for chart in charts if chart]


def chart_of(
    analyte: str, bloods: Iterable[BloodResult], taken: Iterable[Medication], span: tuple[date, date]
) -> AnalyteChart | None:
    """The chart of one analyte, with the doses given to move it; None where it was not measured twice."""
    mine = [each for each in bloods if each.analyte == analyte]
    if len(mine) < 2:
        return None
    moving = [row for row in taken if row.kind in MOVED_BY.get(analyte, ())]
    lines, shown = dose_lines(moving, *span), spoken_of(analyte)
    caption = f"{shown.label}, {shown.unit}"
    if lines:
        caption = _("%(blood)s, and what is taken") % {"blood": caption}
    return AnalyteChart(
        id=f"figure-blood-{analyte}",
        caption=caption,
        figure={"data": [_blood_line(mine), *_dose_traces(lines)], "layout": _layout(shown.unit, lines, span)},
        beside=tuple(str(row) for row in without_line(moving)),
    )


def _blood_line(mine: Sequence[BloodResult]) -> Figure:
    shown = spoken_of(mine[0].analyte)
    return {
        "type": "scatter",
        "mode": "lines+markers",
        "name": shown.label,
        "x": [on_wall(each.drawn_at) for each in mine],
        "y": [shown.figure(each.value) for each in mine],
        "line": {"color": "--chart-1", "width": 2},
        "marker": {"color": "--chart-1", "size": 7},
    }


def _dose_traces(lines: Sequence[DoseLine]) -> list[Figure]:
    return [
        {
            "type": "scatter",
            "mode": "lines",
            "name": line.label,
            "x": [day.isoformat() for day, _dose in line.points],
            "y": [dose for _day, dose in line.points],
            "line": {
                "color": COLOURS[at % len(COLOURS)], "dash": DASHES[at // len(COLOURS) % 3], "width": 2, "shape": "hv"
            },
            "connectgaps": False,
            "yaxis": "y2",
        }
        for at, line in enumerate(lines)
    ]  # fmt: skip


def _layout(unit: str, lines: Sequence[DoseLine], span: tuple[date, date]) -> Figure:
    made: Figure = {
        "margin": {"l": 56, "r": 12, "t": 8, "b": 40},
        "height": 320 if lines else 220,
        "hovermode": "closest",
        "showlegend": bool(lines),
        "legend": {"orientation": "h", "y": -0.18},
        "xaxis": {
            "type": "date",
            "tickformat": "%b %Y",
            "hoverformat": on_charts().day,
            "nticks": 6,
            "range": [day.isoformat() for day in span],
            "anchor": "y2" if lines else "y",
        },
        "yaxis": {"title": {"text": unit}, "zeroline": False, "domain": [SPLIT[0] if lines else 0, 1]},
    }
    if lines:
        title = {"text": _("a week")}
        made["yaxis2"] = {"title": title, "rangemode": "tozero", "domain": [0, SPLIT[1]], "nticks": 4}
    return made
