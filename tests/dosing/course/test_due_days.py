"""Days on which a treatment was due: fixed weekdays and counted ones, moved ones, and after an absence."""

from __future__ import annotations

from datetime import date, timedelta

from dosing.science.due_days import DueBy, days_without

MONDAY = date(2026, 3, 2)
WEEKS = [MONDAY + timedelta(days=count) for count in range(14)]


def missing(by: DueBy | None, treated: list[int], absent: list[int] | None = None) -> list[int]:
    """Numbers of the days, 0 the first Monday."""
    found = days_without(
        days=WEEKS,
        ordered=dict.fromkeys(WEEKS, by),
        treated=[WEEKS[count] for count in treated],
        absent=[WEEKS[count] for count in absent or []],
    )
    return sorted((each - MONDAY).days for each in found)


FIXED, COUNTED = DueBy(3, (0, 2, 4)), DueBy(5)


def test_fixed_weekdays() -> None:
    assert missing(FIXED, [0, 2, 4, 7, 9, 11]) == []
    assert missing(FIXED, [0, 2, 4, 7, 11]) == [9]
    assert missing(FIXED, [0, 3, 4, 7, 9, 11]) == [], "moved by a day to a free one"


def test_counted_days() -> None:
    assert missing(COUNTED, [0, 1, 2, 3, 4, 7, 8, 9, 10, 11]) == [], "two free days may lie together"
    assert missing(COUNTED, [0, 1, 2, 3, 4, 8, 9, 10, 11]) == [7]


def test_nothing_is_missing_where_nobody_expects_it() -> None:
    assert missing(FIXED, [0, 11], absent=[1, 2, 3, 4, 5, 6, 7, 8, 9]) == []
    assert missing(COUNTED, [0, 12], absent=[1, 2, 3, 4, 5, 6, 7, 8, 9]) == []
    assert missing(None, []) == []
