"""Days on which a prescription has a treatment due, and those of them on which none is there."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class DueBy:
    """How a prescription says when: so many treatments a week, on these weekdays (0: Monday) where they are fixed."""

    per_week: float
    weekdays: tuple[int, ...] = ()


Ordered = Mapping[date, DueBy | None]
"""What was prescribed on each day; None where nothing was."""


def longest_gap(per_week: float) -> int:
    """Days from one treatment to the next at most, where weekdays are not fixed.

    From four a week on the free days may lie together (5 a week: 3 days, as over a weekend); fewer are spread out
    (every other day: 2, three a week: 3). Common practice, no source.

    >>> [longest_gap(count) for count in (2, 3, 3.5, 5, 7)]
    [4, 3, 2, 3, 1]
    """
    return math.ceil(8 - per_week) if per_week >= 4 else math.ceil(7 / per_week)


def usual_gap(day: date, ordered: DueBy) -> float:
    """Days since the treatment before one on this day, as prescribed.

    By fixed weekdays the days since the last of them; otherwise the mean interval. A day that is no due day counts
    from the last due day too.

    >>> usual_gap(date(2026, 11, 23), DueBy(3, (0, 2, 4)))  # a Monday after a Friday
    3.0
    >>> usual_gap(date(2026, 11, 23), DueBy(3.5))
    2.0
    """
    if not ordered.weekdays:
        return 7 / ordered.per_week
    return float(min((day.weekday() - each) % 7 or 7 for each in ordered.weekdays))


def days_not_entered(
    *,
    span: tuple[date, date],
    begins: date | None,
    ordered_on: Callable[[date], DueBy | None],
    treated: Collection[date],
    absent: Callable[[date], bool],
) -> list[date]:
    """The days of `span` on which a treatment was due and none is there: what a month counts and an alert names.

    span: first and last day; the last is not judged, it is there so that a treatment moved to it counts for the day
    before; begins: when treatments at home began, by the first prescription or by joining, whichever came later; they
    are due from the day after it on, and never where it is None; treated, absent: as in `days_without`.
    """
    if begins is None:
        return []
    first, last = max(span[0], begins + DAY), span[1]
    days = [first + count * DAY for count in range((last - first).days + 1)]
    ordered = {day: ordered_on(day) for day in days}
    away = {day for day in days if absent(day)}
    return sorted(days_without(days=days, ordered=ordered, treated=treated, absent=away) - {last})


def days_without(
    *, days: Sequence[date], ordered: Ordered, treated: Collection[date], absent: Collection[date] = ()
) -> set[date]:
    """The days on which a treatment was due and none is there.

    days: one after another without a gap; treated: those that a treatment serves; absent: those on which
    nobody expects one. A treatment moved by a day to a free day counts for the due one. Where weekdays are not fixed a
    day is missing on which the longest gap since the last treatment was over; the count begins with the day before the
    first of `days`, on which a treatment is taken as done, and again after an absence.
    """
    nights, away = set(treated), set(absent)
    fixed = [each for each in days if (by := ordered.get(each)) and each.weekday() in by.weekdays]
    missing = _unmet(fixed, nights) | _after_long_gaps(days, ordered, nights, away)
    return missing - away


def _unmet(due: Sequence[date], nights: set[date]) -> set[date]:
    """Due days without a treatment on that day; one moved by a day to a free day counts for it."""
    moved = nights - set(due)
    unmet = set()
    for when in due:
        if when in nights:
            continue
        instead = next((other for other in (when + DAY, when - DAY) if other in moved), None)
        if instead:
            moved.remove(instead)
        else:
            unmet.add(when)
    return unmet


def _after_long_gaps(days: Sequence[date], ordered: Ordered, nights: set[date], absent: set[date]) -> set[date]:
    missing: set[date] = set()
    if not days:
        return missing
    previous = days[0] - DAY
    for when in days:
        by = ordered.get(when)
        if when in nights or when in absent or by is None or by.weekdays:
            previous = when
        elif (when - previous).days >= longest_gap(by.per_week):
            missing.add(when)
            previous = when
    return missing
