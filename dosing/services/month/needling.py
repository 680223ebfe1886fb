"""By which way of needling an access was used on each day, as the treatments say."""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from sessions.models import SiteUsed


@dataclass(frozen=True, slots=True)
class DaysByTechnique:
    """Nights of an access on which its way of needling was noted first or changed, oldest first, and which it was."""

    nights: Sequence[date]
    techniques: Sequence[str]

    def on(self, day: date) -> str:
        """That of the last treatment up to a day; before the first, that of the first."""
        return self.techniques[max(0, bisect_right(self.nights, day) - 1)]

    def days(self, begin: date, finish: date) -> Counter[str]:
        """How many days of [begin, finish) each of them holds."""
        marks = [begin, *(night for night in self.nights[1:] if begin < night < finish), finish]
        return Counter(
            {
                technique: sum((after - first).days for first, after in pairwise(marks) if self.on(first) == technique)
                for technique in set(self.techniques)
            }
        )


def techniques_of(since: date, end: date) -> dict[int, DaysByTechnique]:
    """By access, from the treatments of [since, end): one query."""
    used = SiteUsed.objects.filter(record__night__gte=since, record__night__lt=end).order_by("record__night")
    found: defaultdict[int, list[tuple[date, str]]] = defaultdict(list)
    for access, night, technique in used.values_list("site__access", "record__night", "site__technique").distinct():
        own = found[access]
        if not own or own[-1][1] != technique:
            own.append((night, technique))
    return {access: DaysByTechnique(*map(list, zip(*own, strict=True))) for access, own in found.items()}
