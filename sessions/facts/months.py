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
