"""Calendar months, each named by its first day."""

from __future__ import annotations

from datetime import date, timedelta


def first_of(day: date) -> date:
    return day.replace(day=1)


def next_month(month: date) -> date:
    return date(month.year + month.month // 12, month.month % 12 + 1, 1)


def month_before(month: date) -> date:
    return first_of(month - timedelta(days=1))


def months_between(first: date, last: date) -> list[date]:
    """Every first of a month from one to the other, both included."""
    months = [first]
    while months[-1] < last:
        months.append(next_month(months[-1]))
    return months


def month_to_judge(today: date, began: date | None) -> date:
    """The month that ended last, or this one where whoever is judged began only in it.

    >>> [str(month_to_judge(date(2026, 11, 30), began)) for began in (date(2026, 11, 29), date(2026, 10, 31), None)]
    ['2026-11-01', '2026-10-01', '2026-11-01']
    """
    this = first_of(today)
    return month_before(this) if began and began < this else this
