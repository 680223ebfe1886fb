"""A computed number as programs are told of it: value, interval, unit, standing, what went in, steps, source."""

from __future__ import annotations

from typing import Any

from dosing.science.reasons import Reason
from dosing.services.numbers.kept import KeptNumber
from dosing.services.numbers.number import Number
from dosing.services.numbers.reasons import reason_words
from dosing.services.numbers.working import Worked, WorkedLine


def told(worked: Worked) -> dict[str, Any]:
    """One number, with everything that its page shows."""
    figure, number = worked.figure, worked.figure.number
    return {
        "key": number.key,
        "name": number.label,
        "short": number.short,
        "value": None if figure.value is None else number.as_read(figure.value),
        "unit": number.unit_shown,
        "ucum": number.ucum,
        "decimals": number.decimals,
        "shown": figure.shown,
        "at": figure.at or None,
        "interval": _interval(figure, number),
        "standing": figure.standing.value,
        "why": _reason(figure.reason),
        "doubts": [_reason(each) for each in figure.doubts],
        "equation": worked.written.replace("_", ""),
        "inputs": [_line(line) for line in worked.given] + _rows(worked),
        "steps": [_line(line) | {"equation": line.written.replace("_", "")} for line in worked.steps],
        "source": number.source,
    }


def _interval(figure: KeptNumber, number: Number[Any]) -> dict[str, float] | None:
    found = figure.interval
    if found is None:
        return None
    return {"low": number.as_read(found.low), "high": number.as_read(found.high), "level": found.level}


def _reason(reason: Reason | None) -> dict[str, Any] | None:
    return {"code": reason.code, "words": reason_words(reason)} if reason else None


def _line(line: WorkedLine) -> dict[str, Any]:
    quantity = line.quantity
    return {
        "symbol": quantity.plain,
        "name": quantity.label,
        "value": line.kept if isinstance(line.kept, int | float) else line.value,
        "unit": quantity.unit_shown,
        "from": line.origin,
    }


def _rows(worked: Worked) -> list[dict[str, Any]]:
    """Each column of what went in together as one input with a list of values."""
    if worked.table is None:
        return []
    return [
        {
            "symbol": head.plain,
            "name": head.label,
            "value": worked.table.columns[at],
            "unit": head.unit_shown,
            "from": "",
        }
        for at, head in enumerate(worked.table.heads)
    ]
