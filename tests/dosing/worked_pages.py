"""Pages of computed numbers that do not come to what they show."""

from __future__ import annotations

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
    """A half may go to either side: in binary numbers it lies a hair beside it."""
    shown = number(page.result)
    try:
        found = page.recomputed()
    except (ValueError, AssertionError) as problem:
        return str(problem), shown
    return shown if abs(found - shown) <= 0.5 * 10**-places + 1e-9 else round(found, places), shown
