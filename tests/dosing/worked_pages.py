"""Pages of computed numbers that do not come to what they show."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from django.test import Client

from tests.dosing.by_hand import WorkedPage, number


def differing(client: Client, paths: dict[str, str], catalogue: Any) -> dict[str, Any]:
    """{key: (by hand, shown)} of the numbers that do not come out, by hand to as many decimals as are shown."""
    found = {}
    for key, path in paths.items():
        answer = client.get(path)
        assert answer.status_code == 200, path
        page = WorkedPage(answer.content.decode())
        places = 0 if catalogue[key].percent else catalogue[key].decimals
        found[key] = by_hand_and_shown(page, places) if page.result else ("unknown", "unknown")
    return {key: pair for key, pair in found.items() if pair[0] != pair[1] or pair[0] == "unknown"}


def by_hand_and_shown(page: WorkedPage, places: int) -> tuple[Any, Any]:
    shown = number(page.result)
    try:
        return rounded(page.recomputed(), places), shown
    except (ValueError, AssertionError) as problem:
        return str(problem), shown


def rounded(value: float, places: int) -> float:
    """As people round: a half goes away from nought."""
    exact = Decimal(repr(round(value, 9)))
    return float(exact.quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP)) + 0.0
