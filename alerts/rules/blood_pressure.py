"""Blood pressure: too low at any time of the treatment, or very high before it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime

from alerts.choices import Urgency
from alerts.limits import HIGH_BEFORE, LimitInForce
from alerts.rules.base import Evidence, History, Night, NotJudged, Rule, Seen, of_reading, where_unknown
from alerts.rules.wording import beyond, when


def _low_limit(history: History, night: Night) -> LimitInForce:
    """Flythe 2015: lowest under 90, or under 100 where the pressure before was 160 or more."""
    before = night.record.pre_systolic
    stricter = before is not None and before >= HIGH_BEFORE
    return history.limit("systolic_low_after_high" if stricter else "systolic_low", night)


def _around(night: Night, field: str, label: str, at: datetime, limit: float) -> Evidence | None:
    """A pressure written down before or after the treatment, when it is beyond the limit for low ones."""
    value, record = getattr(night.record, field), night.record
    if value is None or value >= limit:
        return None
    return Evidence(at, record.night, label, value, "mmHg", limit, record=str(record.pk))


def _lows_of(night: Night, limit: float) -> Iterator[Evidence]:
    record = night.record
    end = record.ended_at or record.started_at
    around = [
        _around(night, "pre_systolic", "Systolic before", record.started_at, limit),
        *(
            of_reading(night, reading, label="Systolic during", value=reading.systolic, limit=limit)
            for reading in night.readings
            if reading.systolic is not None and reading.systolic < limit
        ),
        _around(night, "post_systolic", "Systolic after", end, limit),
        _around(night, "post_standing_systolic", "Systolic after, standing", end, limit),
    ]
    return (item for item in around if item)


def _low(history: History, at: datetime) -> Iterator[Seen]:
    evidence: list[Evidence] = []
    newest: LimitInForce | None = None
    for night in history.nights:
        limit = _low_limit(history, night)
        lows = list(_lows_of(night, limit.value))
        evidence += lows
        newest = limit if lows else newest
    if evidence:
        yield Seen("low", tuple(evidence), newest)


LOW = Rule(
    key="systolic_low",
    title="Low blood pressure",
    about="lowest blood pressure",
    urgency=Urgency.THIS_WEEK,
    see=_low,
    say=lambda seen: beyond(seen, what="Systolic pressure", worst=min),
    not_judged=where_unknown("lowest_systolic"),
)


def _high_of(history: History, night: Night) -> Iterator[tuple[Evidence, LimitInForce]]:
    record = night.record
    pairs = (
        ("Systolic before", record.pre_systolic, "systolic_high"),
        ("Diastolic before", record.pre_diastolic, "diastolic_high"),
    )
    for label, value, name in pairs:
        limit = history.limit(name, night)
        if value is not None and value >= limit.value:
            pk = str(record.pk)
            item = Evidence(record.started_at, record.night, label, value, "mmHg", limit.value, record=pk)
            yield item, limit


def _high(history: History, at: datetime) -> Iterator[Seen]:
    found = [pair for night in history.nights for pair in _high_of(history, night)]
    if found:
        yield Seen("high", tuple(item for item, _ in found), found[-1][1])


def _say_high(seen: Seen) -> str:
    """Systolic and diastolic are apart: the highest of each that is over, in one sentence."""
    parts = []
    for label in sorted({item.label for item in seen.evidence}, reverse=True):
        own = tuple(item for item in seen.evidence if item.label == label)
        values = [item.value for item in own if item.value is not None]
        parts.append(f"{label.lower()} {max(values):.0f} mmHg (limit {own[-1].limit:g})")
    return f"Very high pressure {when(seen.evidence)}: {', '.join(parts)}."


def _no_pressure_before(history: History) -> Iterable[NotJudged]:
    unknown = (night for night in history.finished if night.record.pre_systolic is None)
    return (NotJudged(night, "no blood pressure before treatment was noted") for night in unknown)


HIGH = Rule(
    key="pressure_high",
    title="Very high blood pressure before",
    about="blood pressure before",
    urgency=Urgency.THIS_WEEK,
    see=_high,
    say=_say_high,
    not_judged=_no_pressure_before,
)

RULES = (LOW, HIGH)
