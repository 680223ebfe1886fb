"""The ranges of the monthly review: published ones, or the unit's own."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from dosing.models import ReviewRange
from dosing.science.water import Grade
from dosing.services.month.catalogue import BY_MONTH_KEY, MONTH_NUMBERS, MonthNumber, Usual
from homedialysis.accounts.models import User

BELOW, WITHIN, ABOVE = -1, 0, 1
GRADE = "grade"
GRADES = {int(Grade.PASS): "fine", int(Grade.ACTION): "action level", int(Grade.FAIL): "over the limit"}


@dataclass(frozen=True, slots=True)
class RangeBook:
    """The ranges in force, by the key of the number."""

    own: dict[str, ReviewRange]
    _ends: dict[str, tuple[float | None, float | None]] = field(default_factory=dict, compare=False)

    def of(self, key: str) -> Usual | None:
        row = self.own.get(key)
        if row is None or row.default:
            return BY_MONTH_KEY[key].usual
        return Usual(row.low, row.high, f"set for the unit by {row.set_by} on {row.set_at:%Y-%m-%d}: {row.why}")

    def place(self, key: str, value: float | None) -> int:
        """-1 below the range, 0 within it or where there is none, 1 above; judged as the number is shown."""
        if value is None:
            return WITHIN
        low, high = self._ends.get(key) or self._ends.setdefault(key, self._shown_ends(key))
        if low is None and high is None:
            return WITHIN
        shown = float(rounded(BY_MONTH_KEY[key], value))
        if low is not None and shown < low:
            return BELOW
        return ABOVE if high is not None and shown > high else WITHIN

    def _shown_ends(self, key: str) -> tuple[float | None, float | None]:
        """The ends as they are written; kept, because a board asks ten thousand times."""
        usual, number = self.of(key), BY_MONTH_KEY[key]
        ends = (usual.low, usual.high) if usual else (None, None)
        low, high = (None if end is None else float(rounded(number, end)) for end in ends)
        return low, high


def rounded(number: MonthNumber, value: float) -> str:
    """As pages write it, without unit; a share as per cent."""
    return f"{100 * value:.0f}" if number.percent else f"{value:.{number.decimals}f}"


def written(number: MonthNumber, value: float) -> str:
    """As people read it, without unit: a grade in words, a proper minus sign."""
    if number.unit == GRADE:
        return GRADES[int(value)]
    return rounded(number, value).replace("-", "−")


def range_words(number: MonthNumber, usual: Usual | None) -> str:
    """The range in words, in the unit of the number."""
    if usual is None or (usual.low is None and usual.high is None):
        return "no range"
    if number.unit == GRADE and usual.high is not None:
        worst = min(max(int(usual.high), min(GRADES)), max(GRADES))
        return f"at most “{GRADES[worst]}”"
    unit = "%" if number.percent else ("" if number.unit == "1" else number.unit)
    low = None if usual.low is None else rounded(number, usual.low)
    high = None if usual.high is None else rounded(number, usual.high)
    if low is None:
        return f"at most {high} {unit}".strip()
    return f"at least {low} {unit}".strip() if high is None else f"{low} to {high} {unit}".strip()


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
        number=BY_MONTH_KEY[number].key, low=low, high=high, default=default, why=why.strip(), set_by=by, set_at=at
    )
    row.full_clean()
    row.save()
    return row


CHOICES = [(each.key, each.label if each.unit == "1" else f"{each.label} ({each.unit})") for each in MONTH_NUMBERS]
