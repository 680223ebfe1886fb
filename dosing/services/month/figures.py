"""Six months of each number as small figures against its range, for Plotly."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from django.utils.translation import gettext as _

from dosing.models import PatientMonth
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.ranges import RangeBook, range_words
from dosing.services.numbers.axes import far_enough
from dosing.services.numbers.number import Number, UsualRange
from homedialysis.accounts.services.dates import told_day

COLOURS = ("--chart-1", "--chart-2")
SYMBOLS = ("circle", "square")


def of_review(months: Sequence[date], rows: dict[date, PatientMonth], ranges: RangeBook) -> list[dict[str, Any]]:
    """[{"id", "caption", "range", "figure"}] of the numbers that were known at least once.

    The ranges are those by which the last of the months is judged.
    """
    found, last = [], rows.get(months[-1]) if months else None
    schedule = last.schedule if last else ""
    for numbers in MONTH_NUMBERS.charts():
        if any(value_shown(rows.get(month), number) is not None for number in numbers for month in months):
            first = numbers[0]
            usual = ranges.held_for(first.key, schedule)
            found.append(
                {
                    "id": f"figure-{first.key.replace('_', '-')}",
                    "caption": "; ".join(number.label for number in numbers),
                    "range": range_words(first, usual),
                    "figure": _figure(months, rows, numbers, usual),
                }
            )
    return found


def value_shown(row: PatientMonth | None, number: Number[Any]) -> float | None:
    """A number of a month as charts show it, a share as per cent."""
    value: float | None = row.numbers.get(number.key, {}).get("value") if row else None
    return None if value is None else number.as_drawn(value)


def _figure(
    months: Sequence[date], rows: dict[date, PatientMonth], numbers: list[Number[Any]], usual: UsualRange | None
) -> dict[str, Any]:
    names = [told_day(month, "M") for month in months]
    data = [
        {
            "type": "scatter",
            "mode": "lines+markers",
            "name": number.short if len(numbers) > 1 else number.label,
            "x": names,
            "y": [value_shown(rows.get(month), number) for month in months],
            "line": {"color": colour, "width": 2},
            "marker": {"color": colour, "symbol": symbol, "size": 8},
        }
        for number, colour, symbol in zip(numbers, COLOURS, SYMBOLS, strict=False)
    ]
    first = numbers[0]
    data += [_end(name, names, first.as_drawn(end), dash) for name, end, dash in _lines_of(usual)]
    layout = {
        "margin": {"l": 56, "r": 8, "t": 8, "b": 56 if len(numbers) > 1 else 28},
        "height": 214 if len(numbers) > 1 else 190,
        "showlegend": len(numbers) > 1,
        "legend": {"orientation": "h", "y": -0.25},
        "xaxis": {"type": "category", "tickangle": 0},
        "yaxis": {"title": {"text": first.unit_shown, "standoff": 8}, "automargin": True},
    }
    return far_enough({"data": data, "layout": layout})


def _lines_of(usual: UsualRange | None) -> list[tuple[str, float, str]]:
    """Name, place and dash of each end and each aim that a range has."""
    if usual is None:
        return []
    ends = ((_("lower end"), usual.low, "dash"), (_("upper end"), usual.high, "dash"))
    aims = ((_("aimed at, from"), usual.aim_low, "dot"), (_("aimed at, up to"), usual.aim_high, "dot"))
    return [(name, at, dash) for name, at, dash in (*ends, *aims) if at is not None]


def _end(name: str, names: list[str], at: float, dash: str) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "x": names,
        "y": [at] * len(names),
        "line": {"color": "--chart-limit", "dash": dash, "width": 1},
        "showlegend": False,
    }
