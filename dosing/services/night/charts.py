"""Plotly figures of a patient's nights, as plain data. Colours are names of the page's own properties."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _

from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.night.treatments import ComputedNight
from sessions.facts.fields import WEIGHT
from sessions.models.local_time import on_wall

Figure = dict[str, Any]
Value = Callable[[ComputedNight], float | None]

INK, SOFT, FIRST, SECOND, LIMIT = "--ink", "--ink-soft", "--chart-1", "--chart-2", "--chart-limit"
AROUND = timedelta(days=3, hours=12)


def _line(
    name: str, nights: list[ComputedNight], value: Value, colour: str, *, marks: bool = True, **more: Any
) -> Figure:
    return {
        "type": "scatter",
        "name": name,
        "x": [on_wall(night.record.started_at) for night in nights],
        "y": [value(night) for night in nights],
        "mode": "lines+markers" if marks else "lines",
        "line": {"color": colour, "width": 2, **more.pop("line", {})},
        "marker": {"color": colour, "size": 6, **more.pop("marker", {})},
        "connectgaps": False,
        **more,
    }


def _limit(name: str, nights: list[ComputedNight], value: Value) -> Figure:
    return _line(name, nights, value, LIMIT, marks=False, line={"dash": "dash", "shape": "hv"})


def days_axis(walls: Sequence[str]) -> Figure:
    """An axis of days for moments as `on_wall` writes them: day before month, a week around one that stands alone."""
    axis: Figure = {"type": "date", "tickformat": "%-d %b %Y", "hoverformat": "%-d %b %Y, %H:%M", "nticks": 8}
    if len(set(walls)) == 1:
        only = datetime.fromisoformat(walls[0])
        axis |= {"range": [(only + days).isoformat(timespec="minutes") for days in (-AROUND, AROUND)]}
    return axis


def _layout(unit: str, nights: list[ComputedNight]) -> Figure:
    return {
        "margin": {"l": 56, "r": 12, "t": 8, "b": 40},
        "height": 280,
        "hovermode": "x unified",
        "showlegend": True,
        "legend": {"orientation": "h", "y": -0.2},
        "xaxis": days_axis([on_wall(night.record.started_at) for night in nights]),
        "yaxis": {"title": {"text": unit}, "zeroline": False},
    }


def _prescribed(name: str) -> Value:
    return lambda night: getattr(night.prescription, name) if night.prescription else None


def _noted(name: str) -> Value:
    return lambda night: getattr(night.record, name)


def _of(key: str, nights: list[ComputedNight], colour: str, **more: Any) -> Figure:
    """A computed number under its own name."""
    return _line(NIGHT_NUMBERS[key].short, nights, lambda night: night.value(key), colour, **more)


def _told_weight(value: Value) -> Value:
    """A weight in the unit of the reader."""

    def told(night: ComputedNight) -> float | None:
        kept = value(night)
        return None if kept is None else WEIGHT.told.of(kept)

    return told


def weight(nights: list[ComputedNight]) -> Figure:
    return {
        "data": [
            _line("before", nights, _told_weight(_noted("pre_weight_kg")), FIRST),
            _line("after", nights, _told_weight(_noted("post_weight_kg")), SECOND, marker={"symbol": "square"}),
            _limit("target", nights, _told_weight(_prescribed("target_weight_kg"))),
        ],
        "layout": _layout(WEIGHT.unit_told, nights),
    }


def blood_pressure(nights: list[ComputedNight]) -> Figure:
    return {
        "data": [
            _line(_("systolic before"), nights, _noted("pre_systolic"), FIRST),
            _line(_("diastolic before"), nights, _noted("pre_diastolic"), FIRST, line={"dash": "dot"}),
            _line(_("systolic after"), nights, _noted("post_systolic"), SECOND, marker={"symbol": "square"}),
            _of("lowest_systolic", nights, SOFT, marker={"symbol": "triangle-down"}),
        ],
        "layout": _layout("mmHg", nights),
    }


def line_pressures(nights: list[ComputedNight]) -> Figure:
    return {
        "data": [
            _of("venous_median", nights, FIRST),
            _of("arterial_median", nights, SECOND, marker={"symbol": "square"}),
            _of("blood_flow_median", nights, SOFT, marks=False, yaxis="y2"),
        ],
        "layout": _layout("mmHg", nights)
        | {
            "margin": {"l": 56, "r": 56, "t": 8, "b": 40},
            "yaxis2": {
                "title": {"text": "mL/min"},
                "overlaying": "y",
                "side": "right",
                "range": [0, 600],
                "dtick": 200,
                "showgrid": False,
            },
        },
    }


def uf_rate(nights: list[ComputedNight]) -> Figure:
    return {
        "data": [
            _of("uf_rate", nights, FIRST),
            _limit(_("limit of the prescription"), nights, _prescribed("uf_rate_limit_ml_kg_h")),
            _of("uf_rate_by_weight", nights, SOFT, marks=False, line={"dash": "dot"}),
        ],
        "layout": _layout("mL/kg/h", nights),
    }


def _hours(value: Value) -> Value:
    """Minutes as hours."""

    def told(night: ComputedNight) -> float | None:
        minutes = value(night)
        return None if minutes is None else minutes / 60

    return told


def length(nights: list[ComputedNight]) -> Figure:
    return {
        "data": [
            _line(_("done"), nights, _hours(_noted("minutes")), FIRST),
            _limit(_("prescribed"), nights, _hours(_prescribed("minutes"))),
        ],
        "layout": _layout("h", nights),
    }


def all_of(nights: list[ComputedNight]) -> list[tuple[str, str, Figure]]:
    """(id, caption, figure) of every chart on a patient's page."""
    return [
        ("figure-weight", _("Weight before and after, and the target"), weight(nights)),
        ("figure-blood-pressure", _("Blood pressure before, after and lowest"), blood_pressure(nights)),
        (
            "figure-line-pressures",
            _("Venous and arterial pressure at treatment flow (middle of the readings)"),
            line_pressures(nights),
        ),
        ("figure-uf-rate", _("UF rate on weight after, and its limit"), uf_rate(nights)),
        ("figure-length", _("Length of the treatments, and what is prescribed"), length(nights)),
    ]
