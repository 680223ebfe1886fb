"""How far a computed number can be relied on: known, known but to be doubted because …, or not known because …"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _


class Standing(StrEnum):
    """sure is said of the record, not of the patient: nothing in it speaks against the number."""

    SURE = "sure"
    DOUBTFUL = "doubtful"
    UNKNOWN = "unknown"

    @property
    def words(self) -> str:
        """In the language of the reader."""
        return gettext(_WORDS[self])


_WORDS = {Standing.SURE: _("sure"), Standing.DOUBTFUL: _("doubtful"), Standing.UNKNOWN: _("unknown")}


DOUBT_MARK = "?"
"""Behind a doubtful number where there is no room for why."""


@dataclass(frozen=True, slots=True)
class NumberInterval:
    """Where the true value lies with a probability of level (0 to 1), in the unit of its number."""

    low: float
    high: float
    level: float

    def as_json(self) -> list[float]:
        return [self.low, self.high, self.level]


def interval_of(stored: Sequence[float] | None) -> NumberInterval | None:
    """An interval as it was stored."""
    return NumberInterval(*stored) if stored else None
