"""The schedules among the published groups: what the model says at unchanged intake, and what came."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from dosing.science.solutes import PUBLISHED_GROUPS, as_in_groups
from dosing.services.planner.solutes_of_schedule import ScheduleSolutes

FROM, TO = 0.3, 0.8
COLOURS = ("--chart-1", "--chart-2")
GROUPS_IN_WORDS = {
    "fhn_daily": gettext_lazy("FHN Daily, n 245, six short treatments a week"),
    "fhn_nocturnal": gettext_lazy("FHN Nocturnal, n 87, six nights a week"),
    "walsh_2010": gettext_lazy("Walsh 2010, n 51, five to six nights a week"),
    "short_daily": gettext_lazy("short daily in a centre, n 21, before and after"),
    "three_nights_hdf": gettext_lazy("three nights of eight hours, HDF, n 14, before and after"),
    "three_nights": gettext_lazy("three nights of eight hours, n 16, before and after"),
}


def among_groups(names: Sequence[str], found: Sequence[ScheduleSolutes]) -> dict[str, Any]:
    """A dot a group, the band that they make, and a mark for each schedule."""
    ratios = np.linspace(FROM, TO, 26)
    bands = [band for each in ratios if (band := as_in_groups(float(each))) is not None]
    data = [
        _line(ratios.tolist(), [band.low for band in bands], _("as in the groups, eight in ten"), "dot", shown=True),
        _line(ratios.tolist(), [band.high for band in bands], "", "dot"),
        _line(ratios.tolist(), [band.middle for band in bands], _("as in the groups, the middle"), "solid", shown=True),
        _line([FROM, 1.2], [FROM, 1.2], _("as much absorbed as now"), "dash", shown=True),
        {
            "type": "scatter",
            "mode": "markers",
            "name": _("published groups"),
            "x": [each.model for each in PUBLISHED_GROUPS],
            "y": [each.observed for each in PUBLISHED_GROUPS],
            "text": [str(GROUPS_IN_WORDS[each.key]) for each in PUBLISHED_GROUPS],
            "marker": {"color": "--ink-soft", "size": 9, "symbol": "circle-open"},
        },
    ]
    data += [_schedule(name, each, at) for at, (name, each) in enumerate(zip(names, found, strict=True))]
    return {"data": data, "layout": _layout()}


def _line(x: list[float], y: list[float], name: str, dash: str, *, shown: bool = False) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "x": x,
        "y": y,
        "line": {"color": "--chart-limit", "dash": dash, "width": 1},
        "hoverinfo": "skip",
        "showlegend": shown,
    }


def _schedule(name: str, found: ScheduleSolutes, at: int) -> dict[str, Any]:
    ends = [found.phosphate.middle] + ([found.in_groups.middle] if found.in_groups else [])
    return {
        "type": "scatter",
        "mode": "lines+markers",
        "name": name,
        "x": [found.phosphate.middle] * len(ends),
        "y": ends,
        "marker": {"color": COLOURS[at % 2], "size": 11, "symbol": ("square", "diamond", "x", "cross")[at % 4]},
        "line": {"color": COLOURS[at % 2], "width": 1},
    }


def _layout() -> dict[str, Any]:
    return {
        "margin": {"l": 64, "r": 12, "t": 8, "b": 56},
        "height": 340,
        "showlegend": True,
        "legend": {"orientation": "h", "y": -0.28},
        "xaxis": {"title": {"text": _("phosphate of now, by the model at unchanged intake")}, "range": [FROM, 1.2]},
        "yaxis": {"title": {"text": _("phosphate of now, as it came")}, "rangemode": "tozero"},
    }
