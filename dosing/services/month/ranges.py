"""The ranges of the monthly review: published ones, or the unit's own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.utils.translation import gettext

from dosing.models import ReviewRange
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.numbers.number import GRADE, GRADES, Number, UsualRange
from homedialysis.accounts.models import User

BELOW, WITHIN, ABOVE = -1, 0, 1


@dataclass(frozen=True, slots=True)
class RangeBook:
    """The ranges in force, by the key of the number."""

    own: dict[str, ReviewRange]
    _ends: dict[str, tuple[float | None, float | None]] = field(default_factory=dict, compare=False)

    def of(self, key: str) -> UsualRange | None:
        row = self.own.get(key)
        if row is None or row.default:
            return MONTH_NUMBERS[key].usual
        return UsualRange(
            row.low,
            row.high,
            gettext("set for the unit by %(person)s on %(day)s: %(why)s")
            % {"person": row.set_by, "day": f"{row.set_at:%Y-%m-%d}", "why": row.why},
        )

    def place(self, key: str, value: float | None) -> int:
        """-1 below the range, 0 within it or where there is none, 1 above; judged as the number is shown."""
        if value is None:
            return WITHIN
        low, high = self._ends.get(key) or self._ends.setdefault(key, self._shown_ends(key))
        if low is None and high is None:
            return WITHIN
        shown = MONTH_NUMBERS[key].rounded(value)
        if low is not None and shown < low:
            return BELOW
        return ABOVE if high is not None and shown > high else WITHIN

    def _shown_ends(self, key: str) -> tuple[float | None, float | None]:
        """The ends as they are written; kept, because a board asks ten thousand times."""
        usual, number = self.of(key), MONTH_NUMBERS[key]
        ends = (usual.low, usual.high) if usual else (None, None)
        low, high = (None if end is None else number.rounded(end) for end in ends)
        return low, high


def range_words(number: Number[Any], usual: UsualRange | None) -> str:
    """The range in words, in the unit of the number."""
    if usual is None or (usual.low is None and usual.high is None):
        return gettext("no range")
    if number.unit == GRADE and usual.high is not None:
        worst = min(max(usual.high, min(GRADES)), max(GRADES))
        return gettext("at most “%(grade)s”") % {"grade": number.text(worst)}
    unit = number.unit_shown
    low, high = (None if end is None else number.text(end) for end in (usual.low, usual.high))
    if low is None:
        return (gettext("at most %(high)s %(unit)s") % {"high": high, "unit": unit}).strip()
    if high is None:
        return (gettext("at least %(low)s %(unit)s") % {"low": low, "unit": unit}).strip()
    return (gettext("%(low)s to %(high)s %(unit)s") % {"low": low, "high": high, "unit": unit}).strip()


def ends(usual: UsualRange | None) -> list[float | None] | None:
    """The two ends of a range, as they are stored; None without one."""
    return [usual.low, usual.high] if usual else None


def range_of(stored: Sequence[float | None] | None) -> UsualRange | None:
    """The range of stored ends; who said so is not kept with them."""
    return UsualRange(stored[0], stored[1], "") if stored else None


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
