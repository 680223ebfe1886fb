"""What was computed of the nights that lie on the phone, and what is known of the water at home."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

from dosing.models import RecordNumbers
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.numbers.kept import Stored, kept_number
from dosing.services.numbers.number import ShownIn
from dosing.services.numbers.standing import Standing
from dosing.services.results.water import mark_of, standard_in_use
from homedialysis.accounts.services.units import SI, speaking
from sessions.facts import plausible
from sessions.services.kit import KitRequest
from sessions.services.water_held import Held


def computed(asked: KitRequest) -> Mapping[uuid.UUID, dict[str, Any]]:
    """{record id: {key of the catalogue: value, or None where unknown, and "doubtful": the keys of those that are}}
    for every night of the history: one query.
    """
    kept = RecordNumbers.objects.filter(record__in=asked.nights)
    keys = [number.key for number in NIGHT_NUMBERS.at(ShownIn.PHONE)]
    found: dict[uuid.UUID, dict[str, Any]] = {
        night.pk: dict.fromkeys(keys) | {"doubtful": []} for night in asked.nights
    }
    return found | {row.record_id: _of_night(row.numbers, keys) for row in kept}


def _of_night(numbers: Stored, keys: list[str]) -> dict[str, Any]:
    figures = {key: kept_number(NIGHT_NUMBERS[key], numbers) for key in keys}
    doubtful = [key for key, figure in figures.items() if figure.standing == Standing.DOUBTFUL]
    return {key: figure.value for key, figure in figures.items()} | {"doubtful": doubtful}


def water_held(asked: KitRequest) -> dict[str, Any]:
    """{"water": what is held back, of each kind and place the test over its limit}: one query.

    The phone tells of it before a treatment begins, so that nobody connects to water that the unit knows to be bad, or
    has not released since.
    """
    if not asked.facts.held:
        return {"water": []}
    standard = standard_in_use()
    return {"water": [_water_row(held, mark_of(held.test, standard).limit) for held in asked.facts.held]}


def _water_row(held: Held, limit: str) -> dict[str, Any]:
    test, again = held.test, held.again
    return {
        "label": test.get_kind_display(),
        "value": test.value,
        "unit": test.unit,
        "place": test.get_place_display(),
        "at": test.sampled_at.isoformat(),
        "limit": limit,
        "again": again and {"value": again.value, "at": again.sampled_at.isoformat()},
    }


def names() -> dict[str, dict[str, Any]]:
    """What the numbers that a phone shows are called, in the language of the reader."""
    shown = {number.key: number for place in (ShownIn.ANSWER, ShownIn.PHONE) for number in NIGHT_NUMBERS.at(place)}
    with speaking(SI):
        units = {key: each.unit_shown for key, each in shown.items()}
    return {
        key: {"label": each.label, "short": each.short, "unit": units[key], "decimals": each.decimals}
        | plausible.told_beside(each.told)
        for key, each in shown.items()
    }
