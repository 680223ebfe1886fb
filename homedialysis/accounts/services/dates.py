"""How days and times of day are written: the order and the clock of the unit, the words of the reader's language.

Whatever writes a day or a time of day for people asks here; what programs read is ISO 8601 and never does. Letters are
Django's, day before month, as a sentence or a page has them: they say which parts are wanted, and how a language joins
them where the day stands first.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any

from django.utils.formats import date_format, time_format

from homedialysis.accounts.choices import DayOrder, FirstWeekday, HourClock
from homedialysis.accounts.services.units import spoken

DAYS_OF_WEEK = 7
_JOINS = r"(?:\\\w|[^\w\\])*"
_DAY = re.compile(rf"(?:(?P<weekday>[Dl]){_JOINS})?j{_JOINS}(?P<month>[MF])(?P<year>{_JOINS}Y)?")
"""A day before its month in Django's letters, with whatever a language writes between them (`j \\d\\e F`)."""


def told_day(when: date | datetime | None, letters: str) -> str:
    """A day, or a moment on its own clock, with the parts that these letters name; "" where there is none.

    >>> told_day(date(2026, 11, 20), "D j M Y")
    'Fri 20 Nov 2026'
    """
    return date_format(when, letters_told(letters), use_l10n=False) if when else ""


def told_clock(when: datetime | time) -> str:
    """A time of day: "22:05", or "10:05 PM"."""
    letters = letters_told("H:i")
    return time_format(when, letters, use_l10n=False)


def short_day(when: date | None) -> str:
    """A day in a sentence, the name of its month in short: "20 Nov 2026"."""
    return told_day(when, "j M Y")


def short_moment(when: datetime) -> str:
    """A day and a time of day in a sentence, on the clock of the moment itself: "20 Nov 2026, 22:05"."""
    return told_day(when, "j M Y, H:i")


def letters_told(letters: str) -> str:
    """The letters of the same parts in the order and on the clock that the unit has chosen."""
    dates = spoken().dates
    ordered = _DAY.sub(ORDERS[dates.order], letters) if dates.order in ORDERS else letters
    return ordered.replace("H:i", "g:i A") if dates.clock == HourClock.H12 else ordered


def _month_first(found: re.Match[str]) -> str:
    weekday = f"{found['weekday']}, " if found["weekday"] else ""
    return f"{weekday}{found['month']} j{', Y' if found['year'] else ''}"


def _year_first(found: re.Match[str]) -> str:
    """Without a year the name of the month: two bare figures are a day and a month in any order."""
    if not found["year"]:
        return _month_first(found)
    return f"{found['weekday']} Y-m-d" if found["weekday"] else "Y-m-d"


ORDERS: dict[str, Callable[[re.Match[str]], str]] = {
    DayOrder.MONTH_FIRST: _month_first,
    DayOrder.YEAR_FIRST: _year_first,
}


@dataclass(frozen=True, slots=True)
class OnCharts:
    """What a chart's axis of days and its sign of a moment say, in d3's letters."""

    day: str
    moment: str


def on_charts() -> OnCharts:
    dates = spoken().dates
    day = {DayOrder.MONTH_FIRST: "%b %-d, %Y", DayOrder.YEAR_FIRST: "%Y-%m-%d"}.get(DayOrder(dates.order), "%-d %b %Y")
    return OnCharts(day, f"{day}, {'%-I:%M %p' if dates.clock == HourClock.H12 else '%H:%M'}")


def week() -> list[int]:
    """The days of a week, 0 for Monday, in the order in which the unit lays one out.

    >>> week()
    [0, 1, 2, 3, 4, 5, 6]
    """
    first = FirstWeekday(spoken().dates.week_begins)
    return [(first + day) % DAYS_OF_WEEK for day in range(DAYS_OF_WEEK)]


def place_in_week(weekday: int) -> int:
    """By which days sort as the unit lays out a week."""
    return week().index(weekday)


def laid_out(choices: Iterable[tuple[Any, Any]]) -> list[tuple[Any, Any]]:
    """Choices among the days of a week as the unit lays one out; what is no day stays before them."""
    return sorted(choices, key=lambda choice: place_in_week(choice[0]) if isinstance(choice[0], int) else -1)
