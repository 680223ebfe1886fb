"""Arterial and venous pressure beyond their limits at treatment flow: a part of the access family."""

from __future__ import annotations

from collections.abc import Iterator

from alerts.models.choices import Family, Urgency
from alerts.rules.base import Night, Rule
from alerts.rules.rule_kinds import Look, Read, of_readings, outside


def _at_flow_or_unknown(column: str, label: str) -> Read:
    """At treatment flow. A reading without its flow still counts against a limit that slow flow cannot break."""

    def read(night: Night) -> Iterator[Look]:
        at_flow = {reading.pk for reading in night.at_flow}
        for reading in night.readings:
            value = getattr(reading, column)
            if value is not None and (reading.pk in at_flow or reading.qb_ml_min is None):
                yield Look(reading.at, label, value, "mmHg")

    return read


def _pressure(key: str, title: str, about: str, read: Read, what: str, *, over: bool, margin: float) -> Rule:
    return outside(
        key,
        title=title,
        about=about,
        family=Family.ACCESS,
        urgency=Urgency.THIS_WEEK,
        read=read,
        limits=(key,),
        over=over,
        margin=margin,
        what=what,
        missing=f"no {what.lower()} at treatment flow was noted",
        reads="readings",
    )


ARTERIAL_LOW = _pressure(
    "arterial_low",
    "Arterial pressure beyond its limit",
    "arterial pressure",
    _at_flow_or_unknown("arterial_mmhg", "Arterial pressure"),
    "Arterial pressure",
    over=False,
    margin=10,
)
VENOUS_HIGH = _pressure(
    "venous_high",
    "Venous pressure over its limit",
    "venous pressure",
    _at_flow_or_unknown("venous_mmhg", "Venous pressure"),
    "Venous pressure",
    over=True,
    margin=10,
)
VENOUS_LOW = _pressure(
    "venous_low",
    "Venous pressure very low at treatment flow",
    "low venous pressure",
    of_readings("venous_mmhg", "Venous pressure", "mmHg", at_flow=True),
    "Venous pressure",
    over=False,
    margin=5,
)

RULES = (ARTERIAL_LOW, VENOUS_HIGH, VENOUS_LOW)
