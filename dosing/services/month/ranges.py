"""The ranges of the monthly review: published ones, or the unit's own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.utils.timezone import localtime
from django.utils.translation import gettext

from dosing.models import ReviewRange
from dosing.science.guidance import GuidedSchedule
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.numbers.number import GRADE, GRADES, Number, UsualRange
from dosing.services.numbers.standing import NumberInterval
from homedialysis.accounts.models import User
from homedialysis.accounts.services.dates import short_day

BELOW, WITHIN, ABOVE = -1, 0, 1


@dataclass(frozen=True, slots=True)
class RangeBook:
    """The ranges in force, by the key of the number. schedule: of `guidance.schedule_of`, where it is asked for."""

    own: dict[str, ReviewRange]
    _ends: dict[str, tuple[tuple[float | None, float | None], ...]] = field(default_factory=dict, compare=False)

    def of(self, key: str) -> UsualRange | None:
        """The range of a number, whomever it is for. A range of the unit's own has no aims."""
        row, published = self.own.get(key), MONTH_NUMBERS[key].usual
        if row is None or row.default:
            return published
        words = gettext("set for the unit by %(person)s on %(day)s: %(why)s")
        said = words % {"person": row.set_by, "day": short_day(localtime(row.set_at)), "why": row.why}
        return UsualRange(row.low, row.high, said, schedule=published.schedule if published else GuidedSchedule.ANY)

    def held_for(self, key: str, schedule: str) -> UsualRange | None:
        """The range by which a patient of a schedule is judged, None where it is for others."""
        usual = self.of(key)
        return usual if usual and usual.holds_for(schedule) else None

    def place(self, key: str, value: float | None, schedule: str) -> int:
        """-1 below the range, 0 within it or where there is none, 1 above; judged as the number is shown."""
        return self._beyond(key, value, schedule)[0]

    def short(self, key: str, value: float | None, schedule: str) -> int:
        """-1 or 1 where a value lies within its range and below or above what is aimed at, else 0."""
        outside, short = self._beyond(key, value, schedule)
        return 0 if outside else short

    def reaches_in(self, key: str, interval: NumberInterval | None, schedule: str) -> bool:
        """Whether the interval of a number that lies outside its range reaches into it: then it may be within."""
        if interval is None:
            return False
        low, high = (self.place(key, end, schedule) for end in (interval.low, interval.high))
        return not low == high != WITHIN

    def _beyond(self, key: str, value: float | None, schedule: str) -> tuple[int, ...]:
        usual = self.of(key)
        if value is None or usual is None or not usual.holds_for(schedule):
            return WITHIN, WITHIN
        pairs = self._ends.get(key) or self._ends.setdefault(key, _shown_ends(key, usual))
        shown = MONTH_NUMBERS[key].rounded(value)
        return tuple(_place(shown, low, high) for low, high in pairs)


def _shown_ends(key: str, usual: UsualRange) -> tuple[tuple[float | None, float | None], ...]:
    """Ends and aims as they are written; kept, because a board asks ten thousand times."""
    number = MONTH_NUMBERS[key]
    low, high, aim_low, aim_high = (
        None if end is None else number.rounded(end) for end in (usual.low, usual.high, usual.aim_low, usual.aim_high)
    )
    return (low, high), (aim_low, aim_high)


def _place(shown: float, low: float | None, high: float | None) -> int:
    if low is not None and shown < low:
        return BELOW
    return ABOVE if high is not None and shown > high else WITHIN


def range_words(number: Number[Any], usual: UsualRange | None) -> str:
    """The range in words, in the unit of the number, and what is aimed at."""
    if usual is None or (usual.low is None and usual.high is None):
        return gettext("no range")
    if number.unit == GRADE and usual.high is not None:
        worst = min(max(usual.high, min(GRADES)), max(GRADES))
        best = worst == min(GRADES)
        return number.text(worst) if best else gettext("no worse than “%(grade)s”") % {"grade": number.text(worst)}
    words = _between(number, usual.low, usual.high)
    if usual.aim_low is None and usual.aim_high is None:
        return words
    aim = _between(number, usual.aim_low, usual.aim_high)
    return gettext("%(range)s; aimed at: %(aim)s") % {"range": words, "aim": aim}


def _between(number: Number[Any], least: float | None, most: float | None) -> str:
    unit = number.unit_shown
    low, high = (None if end is None else number.text(end) for end in (least, most))
    if low is None:
        return (gettext("at most %(high)s %(unit)s") % {"high": high, "unit": unit}).strip()
    if high is None:
        return (gettext("at least %(low)s %(unit)s") % {"low": low, "unit": unit}).strip()
    return (gettext("%(low)s to %(high)s %(unit)s") % {"low": low, "high": high, "unit": unit}).strip()


def ends(usual: UsualRange | None) -> list[float | None] | None:
    """The two ends of a range and the two of its aim, as they are stored; None without one."""
    return [usual.low, usual.high, usual.aim_low, usual.aim_high] if usual else None


def range_of(stored: Sequence[float | None] | None) -> UsualRange | None:
    """The range of stored ends; who said so is not kept with them. What was stored before ranges had aims has two."""
    if not stored:
        return None
    low, high, aim_low, aim_high = [*stored, None, None][:4]
    return UsualRange(low, high, "", aim_low, aim_high)


def book() -> RangeBook:
    """The ranges in force: one query."""
    newest: dict[str, ReviewRange] = {}
    for row in ReviewRange.objects.select_related("set_by"):
        newest.setdefault(row.number, row)
    return RangeBook(newest)


def set_range(
    *, number: str, low: float | None, high: float | None, default: bool, why: str, by: User, at: datetime
) -> ReviewRange:
    """Set a range for the unit, or go back to the published one. Raises KeyError for an unknown number."""
    row = ReviewRange(
        number=MONTH_NUMBERS[number].key, low=low, high=high, default=default, why=why.strip(), set_by=by, set_at=at
    )
    row.full_clean()
    row.save()
    return row


def choices() -> list[tuple[str, str]]:
    """The numbers that can be given a range, for a form."""
    return [
        (key, f"{each.label} ({each.unit_shown})" if each.unit_shown else each.label)
        for key, each in MONTH_NUMBERS.items()
    ]
