"""Arterial and venous pressure beyond their limits while the pump runs at treatment flow."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from alerts.choices import Urgency
from alerts.limits import LimitInForce
from alerts.rules.base import Evidence, History, Night, NotJudged, Rule, Seen, of_reading
from alerts.rules.wording import beyond
from sessions.models import Reading


@dataclass(frozen=True, slots=True)
class Pressure:
    """A column of the readings with one limit. below: whether values under the limit are beyond it."""

    column: str
    label: str
    limit: str
    below: bool

    def beyond(self, value: float, limit: float) -> bool:
        return value < limit if self.below else value > limit


ARTERIAL = Pressure("arterial_mmhg", "Arterial pressure", "arterial_low", below=True)
VENOUS_HIGH = Pressure("venous_mmhg", "Venous pressure", "venous_high", below=False)
VENOUS_LOW = Pressure("venous_mmhg", "Venous pressure", "venous_low", below=True)


def _judged(night: Night, pressure: Pressure) -> list[Reading]:
    """At treatment flow. A reading without its flow still counts against a limit that slow flow cannot break."""
    if pressure is VENOUS_LOW:
        return night.at_flow
    at_flow = {reading.pk for reading in night.at_flow}
    return [reading for reading in night.readings if reading.pk in at_flow or reading.qb_ml_min is None]


def _see(pressure: Pressure) -> Callable[[History, datetime], Iterator[Seen]]:
    def see(history: History, at: datetime) -> Iterator[Seen]:
        evidence: list[Evidence] = []
        newest: LimitInForce | None = None
        for night in history.nights:
            limit = history.limit(pressure.limit, night)
            read = ((reading, getattr(reading, pressure.column)) for reading in _judged(night, pressure))
            beyond_limit = [
                of_reading(night, reading, label=pressure.label, value=value, limit=limit.value)
                for reading, value in read
                if value is not None and pressure.beyond(value, limit.value)
            ]
            evidence += beyond_limit
            newest = limit if beyond_limit else newest
        if evidence:
            yield Seen(pressure.limit, tuple(evidence), newest)

    return see


def _not_read(pressure: Pressure) -> Callable[[History], Iterable[NotJudged]]:
    def nights(history: History) -> Iterator[NotJudged]:
        for night in history.finished:
            read = [getattr(reading, pressure.column) for reading in _judged(night, pressure)]
            if not any(value is not None for value in read):
                yield NotJudged(night, f"no {pressure.label.lower()} at treatment flow was noted")

    return nights


ARTERIAL_LOW = Rule(
    key="arterial_low",
    title="Arterial pressure beyond its limit",
    about="arterial pressure",
    urgency=Urgency.THIS_WEEK,
    see=_see(ARTERIAL),
    say=lambda seen: beyond(seen, what="Arterial pressure", worst=min),
    not_judged=_not_read(ARTERIAL),
)
VENOUS_OVER = Rule(
    key="venous_high",
    title="Venous pressure over its limit",
    about="venous pressure",
    urgency=Urgency.THIS_WEEK,
    see=_see(VENOUS_HIGH),
    say=lambda seen: beyond(seen, what="Venous pressure", worst=max),
    not_judged=_not_read(VENOUS_HIGH),
)
VENOUS_UNDER = Rule(
    key="venous_low",
    title="Venous pressure very low at treatment flow",
    about="low venous pressure",
    urgency=Urgency.THIS_WEEK,
    see=_see(VENOUS_LOW),
    say=lambda seen: beyond(seen, what="Venous pressure", worst=min),
)

RULES = (ARTERIAL_LOW, VENOUS_OVER, VENOUS_UNDER)
