"""Whether the pressure fell in a night, where it was noted that it did and nobody wrote how far."""

from __future__ import annotations

from dosing.services.numbers.kept import Stored

WITHOUT_FIGURE = "drop_without_figure"
"""The doubt about the lowest pressure of such a night."""


def noted_without_figure(numbers: Stored) -> bool:
    """Whether a low pressure was noted that no figure near it tells: it counts as low wherever low nights are counted.

    numbers: of the night, as they are kept.
    """
    doubts = numbers.get("lowest_systolic", {}).get("doubts", [])
    return any(doubt["code"] == WITHOUT_FIGURE for doubt in doubts)
