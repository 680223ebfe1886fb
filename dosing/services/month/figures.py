"""Six months of each number as small figures against its range, for Plotly."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from dosing.models import PatientMonth
from dosing.services.month.catalogue import BY_MONTH_KEY, MonthNumber
from dosing.services.month.ranges import RangeBook, range_words

SHOWN = (
    ("measured_week_kidney", "modelled_week_kidney"),
    ("uf_rate", "uf_rate_highest"),
    ("time", "nights"),
    ("pre_systolic",),
    ("off_target",),
    ("potassium",),
    ("phosphate",),
    ("bicarbonate",),
    ("calcium",),
    ("parathyroid_hormone",),
    ("albumin",),
    ("haemoglobin",),
)
NAMES = {"measured_week_kidney": "measured", "modelled_week_kidney": "modelled"}
"""Of lines whose short name would be the same."""
COLOURS = ("--chart-1", "--chart-2")
SYMBOLS = ("circle", "square")


def of_review(months: Sequence[date], rows: dict[date, PatientMonth], ranges: RangeBook) -> list[dict[str, Any]]:
    """[{"id", "caption", "range", "figure"}] of the numbers that were known at least once."""
    found = []
    for keys in SHOWN:
        numbers = [BY_MONTH_KEY[key] for key in keys]
        if any(value_shown(rows.get(month), number) is not None for number in numbers for month in months):
            first = numbers[0]
            found.append(
                {
                    "id": f"figure-{first.key.replace('_', '-')}",
                    "caption": "; ".join(number.label for number in numbers),
                    "range": range_words(first, ranges.of(first.key)),
                    "figure": _figure(months, rows, numbers, ranges),
                }
            )
    return found


def value_shown(row: PatientMonth | None, number: MonthNumber) -> float | None:
    """A number of a month as charts show it, a share as per cent."""
    value: float | None = row.numbers.get(number.key, {}).get("value") if row else None
    return 100 * value if value is not None and number.percent else value


def _figure(
    months: Sequence[date], rows: dict[date, PatientMonth], numbers: list[MonthNumber], ranges: RangeBook
) -> dict[str, Any]:
    names = [f"{month:%b}" for month in months]
    data = [
        {
            "type": "scatter",
            "mode": "lines+markers",
            "name": NAMES.get(number.key, number.short) if len(numbers) > 1 else number.label,
            "x": names,
            "y": [value_shown(rows.get(month), number) for month in months],
            "line": {"color": colour, "width": 2},
            "marker": {"color": colour, "symbol": symbol, "size": 8},
        }
        for number, colour, symbol in zip(numbers, COLOURS, SYMBOLS, strict=False)
    ]
    first = numbers[0]
    usual = ranges.of(first.key)
    for name, end in (("lower end", usual.low if usual else None), ("upper end", usual.high if usual else None)):
        if end is not None:
            at = 100 * end if first.percent else end
            data.append(_end(name, names, at))
    unit = "%" if first.percent else ("" if first.unit == "1" else first.unit)
    layout = {
        "margin": {"l": 56, "r": 8, "t": 8, "b": 56 if len(numbers) > 1 else 28},
        "height": 214 if len(numbers) > 1 else 190,
        "showlegend": len(numbers) > 1,
        "legend": {"orientation": "h", "y": -0.25},
        "xaxis": {"type": "category", "tickangle": 0},
        "yaxis": {"title": {"text": unit, "standoff": 8}, "automargin": True},
    }
    return {"data": data, "layout": layout}


def _end(name: str, names: list[str], at: float) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "x": names,
        "y": [at] * len(names),
        "line": {"color": "--chart-limit", "dash": "dash", "width": 1},
        "showlegend": False,
    }
