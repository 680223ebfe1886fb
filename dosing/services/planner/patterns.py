"""Which nights a prescription means, as starts in a cycle that repeats."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from dosing.science.results import FloatArray
from dosing.science.schedule import weekly_starts
from sessions.facts.local_number import plain

START_HOUR = 22.0
"""Only the intervals between treatments matter to the model; the hour itself does not."""
PLACES = 7
EVERY_OTHER = 3.5
SPREAD: dict[float, tuple[int, ...]] = {
    1: (0,),
    2: (0, 3),
    3: (0, 2, 4),
    4: (0, 2, 4, 5),
    5: (0, 1, 3, 4, 5),
    6: (0, 1, 2, 3, 4, 5),
    7: (0, 1, 2, 3, 4, 5, 6),
}
"""The days taken where only their number is prescribed: spread over the week as evenly as days allow."""
NIGHTS = (2.0, 3.0, EVERY_OTHER, 4.0, 5.0, 6.0, 7.0)


@dataclass(frozen=True, slots=True)
class Pattern:
    """Days of the cycle (0: its first) on which a treatment begins; cycle_days: 7, or 2 for every other night."""

    days: tuple[int, ...]
    cycle_days: int = 7

    @property
    def per_week(self) -> float:
        return len(self.days) * 7 / self.cycle_days

    @property
    def starts(self) -> FloatArray:
        """Hours of the starts, (7,), NaN where there is no treatment."""
        starts = np.full(PLACES, np.nan)
        starts[: len(self.days)] = weekly_starts(days=self.days, at=START_HOUR)
        return starts

    def gaps(self) -> list[float]:
        """Days from start to start before each treatment."""
        before = (self.days[-1] - self.cycle_days, *self.days[:-1])
        return [float(day - last) for day, last in zip(self.days, before, strict=True)]


def pattern_of(per_week: float, weekdays: Sequence[int] = ()) -> Pattern:
    """The pattern of a prescription. Raises ValueError for a number of treatments that no pattern has."""
    if weekdays:
        return Pattern(tuple(sorted(set(weekdays))))
    if per_week == EVERY_OTHER:
        return Pattern((0,), cycle_days=2)
    if per_week not in SPREAD:
        raise ValueError(f"{per_week:g} treatments a week: the model takes whole numbers up to 7, or every other night")
    return Pattern(SPREAD[per_week])


def nights_words(per_week: float) -> str:
    if per_week == 3.5:
        return _("every other night")
    return ngettext("%(count)s night a week", "%(count)s nights a week", int(per_week)) % {"count": plain(per_week)}
