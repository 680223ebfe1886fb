"""Plain sentences out of evidence."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import date

from alerts.rules.base import Evidence, Seen

Pick = Callable[[Iterable[float]], float]


def day(value: date) -> str:
    return f"{value.day} {value:%b}"


def days_of(evidence: Sequence[Evidence]) -> list[date]:
    return sorted({item.day for item in evidence})


def when(evidence: Sequence[Evidence]) -> str:
    """ "on 12 May", or "in 3 treatments from 2 May to 12 May"."""
    days = days_of(evidence)
    if len(days) == 1:
        return f"on {day(days[0])}"
    return f"in {len(days)} treatments from {day(days[0])} to {day(days[-1])}"


def beyond(seen: Seen, *, what: str, worst: Pick, form: str = ".0f") -> str:
    """ "UF rate 14.2 mL/kg/h on 12 May, over the limit of 10 mL/kg/h." and the like for several nights."""
    values = [item.value for item in seen.evidence if item.value is not None]
    unit, side = seen.evidence[-1].unit, "under" if worst is min else "over"
    figure = f"{worst(values):{form}} {unit}".strip()
    limit = f", {side} the limit of {seen.limit.words}" if seen.limit else ""
    if len(days_of(seen.evidence)) == 1:
        return f"{what} {figure} {when(seen.evidence)}{limit}."
    return f"{what} {figure} at worst, {when(seen.evidence)}{limit}."
