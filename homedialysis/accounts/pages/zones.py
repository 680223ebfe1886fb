"""Time zones from a list, by part of the world: nobody has to know how one is written."""

from __future__ import annotations

from functools import lru_cache
from itertools import groupby
from typing import Any
from zoneinfo import available_timezones

from django import forms

PARTS = ("Africa", "America", "Antarctica", "Arctic", "Asia", "Atlantic", "Australia", "Europe", "Indian", "Pacific")


@lru_cache(maxsize=1)
def zones_by_part() -> list[tuple[str, list[tuple[str, str]]]]:
    """[(part of the world, [(zone, its town)])], and UTC."""
    named = sorted(zone for zone in available_timezones() if zone.partition("/")[0] in PARTS and "/" in zone)
    parts = groupby(named, key=lambda zone: zone.partition("/")[0])
    towns = [
        (part, [(zone, zone.partition("/")[2].replace("_", " ").replace("/", ", ")) for zone in zones])
        for part, zones in parts
    ]
    return [*towns, ("UTC", [("UTC", "UTC")])]


class ZoneField(forms.ChoiceField):
    """A zone of the list. unset: what the first, empty choice says."""

    def __init__(self, *, unset: Any, held: str = "", **kwargs: Any) -> None:
        known: list[Any] = [("", unset), *zones_by_part()]
        if held and not any(held == zone for _part, zones in zones_by_part() for zone, _town in zones):
            known.append((held, held))
        super().__init__(choices=known, **kwargs)
