"""What is wrong in a patient's month and goes on being so: since when, whether it grows; and what is on the way."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from dosing.models import PatientMonth
from dosing.services.month.ranges import RangeBook
from dosing.services.numbers.kept import kept_number
from dosing.services.numbers.number import Number
from homedialysis.accounts.services.dates import told_day
from sessions.facts.months import months_between

GROWS_OVER = 3
"""Known months in a row, each further out than the one before, from which something grows (common practice, no
source)."""
WORDS = {-1: ("below", "▼"), 1: ("above", "▲")}


@dataclass(frozen=True, slots=True)
class Persisting:
    """A number that is outside its range in the month that is judged.

    since: the first of the known months in a row that lie on this side; months: how many calendar months that is;
    grows: each of the last known ones lies further out than the one before; unknown_before: nothing is known of the
    months before these.
    """

    number: Number[Any]
    value: float
    side: int
    since: date
    months: int
    grows: bool
    unknown_before: bool

    @property
    def words(self) -> str:
        """One line: what, how much, since when."""
        parts = {
            "number": self.number.short,
            "sign": WORDS[self.side][1],
            "value": self.number.text(self.value),
            "unit": self.number.unit_shown,
            "since": told_day(self.since, "M Y"),
        }
        head = (_("%(sign)s %(number)s %(value)s %(unit)s") % parts).strip()
        parts |= {"what": head, "times": ngettext("%(count)d month", "%(count)d months", self.months)}
        parts["times"] %= {"count": self.months}
        if self.months == 1:
            first = _("%(what)s: not known before") if self.unknown_before else _("%(what)s: new this month")
            return first % parts
        if self.grows:
            return _("%(what)s: since %(since)s, %(times)s, and growing") % parts
        return _("%(what)s: since %(since)s, %(times)s") % parts


@dataclass(frozen=True, slots=True)
class OnTheWay:
    """A number within its range that has moved towards the same end month after month, and would soon be past it."""

    number: Number[Any]
    values: tuple[float, ...]
    side: int

    @property
    def words(self) -> str:
        """One line: what, from where to where."""
        parts = {
            "number": self.number.short,
            "values": " → ".join(self.number.text(value) for value in self.values),
            "unit": self.number.unit_shown,
        }
        if self.side < 0:
            return (_("%(number)s is falling: %(values)s %(unit)s") % parts).strip()
        return (_("%(number)s is rising: %(values)s %(unit)s") % parts).strip()


Known = Sequence[tuple[date, float, int]]
"""The known months of a number, oldest first: month, value, place to the range."""


def known_months(
    number: Number[Any],
    rows: Mapping[date, PatientMonth],
    ranges: RangeBook,
    own: tuple[date, float | None, int],
) -> list[tuple[date, float, int]]:
    """own: the month that is judged, as it is or as it was signed; others by the ranges of now."""
    month, value, place = own
    found = []
    for each in sorted(rows):
        earlier = kept_number(number, rows[each].numbers).value if each < month else None
        if earlier is not None:
            found.append((each, earlier, ranges.place(number.key, earlier, rows[each].schedule)))
    return found if value is None else [*found, (month, value, place)]


def persisting(number: Number[Any], known: Known, month: date) -> Persisting | None:
    """None where the month is not known or within its range."""
    if not known or known[-1][0] != month or known[-1][2] == 0:
        return None
    side = known[-1][2]
    run = []
    for each in reversed(known):
        if each[2] != side:
            break
        run.append(each)
    run.reverse()
    last = run[-GROWS_OVER:]
    grows = len(last) == GROWS_OVER and all(side * (after[1] - before[1]) > 0 for before, after in pairwise(last))
    months = len(months_between(run[0][0], month))
    return Persisting(number, known[-1][1], side, run[0][0], months, grows, len(run) == len(known))


def on_the_way(number: Number[Any], known: Known, month: date, ranges: RangeBook, schedule: str) -> OnTheWay | None:
    """Four known months that moved one way, the next such step of which would leave the range."""
    last = known[-GROWS_OVER - 1 :]
    if len(last) <= GROWS_OVER or last[-1][0] != month or any(place for _month, _value, place in last):
        return None
    values = [number.rounded(value) for _month, value, _place in last]
    steps = [after - before for before, after in pairwise(values)]
    side = 1 if min(steps) > 0 else -1 if max(steps) < 0 else 0
    pace = (values[-1] - values[0]) / len(steps)
    if not side or ranges.place(number.key, values[-1] + pace, schedule) != side:
        return None
    return OnTheWay(number, tuple(values), side)
