"""When somebody is at the unit, on the unit's own clock: what may wait, and what the patient is told meanwhile."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from homedialysis.accounts.models import Unit
from homedialysis.accounts.services.dates import told_clock, told_day

DAY = timedelta(days=1)
WEEK_AND_A_DAY = 8


@dataclass(frozen=True, slots=True)
class OpenPeriod:
    """From when to when the unit is open, both aware."""

    opens: datetime
    closes: datetime

    @property
    def length(self) -> timedelta:
        return self.closes - self.opens


def is_open(unit: Unit, at: datetime) -> bool:
    """Whether somebody is at the unit at a moment; the closing minute no longer counts."""
    return any(period.opens <= at < period.closes for period in _open_periods(unit, at, days=1))


def opens_next(unit: Unit, at: datetime) -> datetime | None:
    """The next opening after a moment, also while the unit is open; None where no hours are set."""
    periods = _open_periods(unit, at, days=_long_enough(unit))
    return next((period.opens for period in periods if period.opens > at), None)


def closes_next(unit: Unit, at: datetime) -> datetime | None:
    """When the unit that is open at a moment closes; None where it is closed."""
    return next(
        (period.closes for period in _open_periods(unit, at, days=1) if period.opens <= at < period.closes), None
    )


def closed_last(unit: Unit, at: datetime) -> datetime | None:
    """The latest closing up to a moment; None where no hours are set."""
    days = _long_enough(unit)
    periods = _open_periods(unit, at - days * DAY, days=days)
    return max((period.closes for period in periods if period.closes <= at), default=None)


def _long_enough(unit: Unit) -> int:
    """Days in which a unit that has hours is open once, whatever days it is closed in a row."""
    return WEEK_AND_A_DAY + len(unit.days_closed)


def open_time_between(unit: Unit, start: datetime, end: datetime) -> timedelta:
    """How much of the time from start to end the unit was open, in real time also where clocks change."""
    if end <= start:
        return timedelta()
    periods = _open_periods(unit, start, days=(end - start).days + 2)
    parts = (min(period.closes, end) - max(period.opens, start) for period in periods)
    return sum((part for part in parts if part > timedelta()), timedelta())


def looked_at_next(unit: Unit | None, at: datetime, *, zone: ZoneInfo | None = None) -> str:
    """What the patient is told: who looks at what comes in and when, and whom to call otherwise.

    Times are written on the clock of `zone` (where the patient lives), else the unit's.
    """
    if unit is None:
        return _("This is a record, not an alarm: call your unit if you need help.")
    call = _("If you need help now, call the unit on call: {on_call}. In an emergency call {emergency}.").format(
        on_call=unit.on_call_number, emergency=unit.emergency_number
    )
    return f"{_who_looks(unit, at, zone or ZoneInfo(unit.time_zone))} {call}"


def _who_looks(unit: Unit, at: datetime, zone: ZoneInfo) -> str:
    closes = closes_next(unit, at)
    if closes is not None:
        return _("The unit is open until {time}. This is no alarm: nobody watches it all the time.").format(
            time=_moment(closes, at, zone)
        )
    opens = opens_next(unit, at)
    if opens is None:
        return _("Nobody is sure to look at this: the unit has set no opening hours.")
    return _("The unit is closed: nobody looks at this until {time}.").format(time=_moment(opens, at, zone))


def _moment(when: datetime, at: datetime, zone: ZoneInfo) -> str:
    """The time alone on the same day, else with the day."""
    local = when.astimezone(zone)
    clock = told_clock(local)
    if local.date() == at.astimezone(zone).date():
        return clock
    # Translators: a weekday, day and month in Django's letters, such as "l, j \d\e F" in Spanish.
    letters = pgettext("weekday, day, month", "l j F")
    return _("{day} at {time}").format(day=told_day(local, letters), time=clock)


def _open_periods(unit: Unit, start: datetime, *, days: int) -> Iterator[OpenPeriod]:
    """The opening hours of so many days from the day of `start` on, in order, on the unit's clock."""
    zone = ZoneInfo(unit.time_zone)
    first = start.astimezone(zone).date()
    hours = {row.weekday: row for row in unit.opening_hours.all()}
    for count in range(days + 1):
        day = first + count * DAY
        row = None if day in unit.days_closed else hours.get(day.weekday())
        if row is not None:
            period = OpenPeriod(
                _at(datetime.combine(day, row.opens), zone), _at(datetime.combine(day, row.closes), zone)
            )
            if period.length > timedelta():
                yield period


def _at(wall: datetime, zone: ZoneInfo) -> datetime:
    """A moment on a wall clock, as UTC. One that the clocks jump over is the moment of the jump or just after."""
    return wall.replace(tzinfo=zone).astimezone(ZoneInfo("UTC"))
