"""Which records count as treatments: long enough, and not a second record of the same one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from dosing.science.course import Counts

LEAST_MINUTES = 30.0
"""Shorter than that nothing counts, whatever was prescribed (common practice, no source)."""
LEAST_SHARE = 1 / 3
"""Of the prescribed length, under which a treatment was broken off: it has cleared less than half of what it should
(common practice, no source)."""
WHOLE_SHARE = 2 / 3
"""Of the prescribed length, from which it counts without a doubt (common practice, no source)."""
SAME = timedelta(hours=1)
"""Without an end, a record that begins so soon after another is of the same treatment."""


@dataclass(frozen=True, slots=True)
class RecordSpan:
    """What one record says of its time. prescribed_minutes: None where no prescription held."""

    start: datetime
    end: datetime | None
    prescribed_minutes: float | None

    @property
    def minutes(self) -> float | None:
        return (self.end - self.start) / timedelta(minutes=1) if self.end else None


def alone(span: RecordSpan) -> Counts:
    """Whether a record counts, seen by itself."""
    if span.minutes is None:
        return Counts.RUNNING
    asked = span.prescribed_minutes or 0.0
    if span.minutes < max(LEAST_MINUTES, LEAST_SHARE * asked):
        return Counts.BROKEN_OFF
    return Counts.SHORT if span.minutes < WHOLE_SHARE * asked else Counts.FULL


def counting(spans: Sequence[RecordSpan]) -> list[Counts]:
    """Whether each record counts; spans in order of their starts. Of two of one treatment the longer counts."""
    found = [alone(span) for span in spans]
    kept: int | None = None
    for at, span in enumerate(spans):
        if found[at] == Counts.BROKEN_OFF:
            continue
        if kept is not None and same_treatment(spans[kept], span):
            shorter = at if (span.minutes or 0.0) <= (spans[kept].minutes or 0.0) else kept
            found[shorter] = Counts.TWICE
            kept = kept if shorter == at else at
        else:
            kept = at
    return found


def same_treatment(first: RecordSpan, second: RecordSpan) -> bool:
    """Whether two records, the second begun later, are of one treatment: nobody is treated twice at once."""
    return second.start < (first.end or first.start + SAME)
