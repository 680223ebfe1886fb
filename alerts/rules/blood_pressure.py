"""Blood pressure: too low at any time, a fall with symptoms, a fall on standing, or very high before or after."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from alerts.limits.book import HIGH_BEFORE, LimitInForce
from alerts.models.choices import Family, Urgency
from alerts.rules.base import History, Night, Seen
from alerts.rules.rule_kinds import Look, noted, of_kind, outside
from alerts.rules.wording import when
from sessions.models import EventKind

MMHG = "mmHg"


def lows_read(night: Night) -> Iterator[Look]:
    """Every systolic pressure of a night: before, during, after and standing after."""
    record = night.record
    end = record.ended_at or record.started_at
    if record.pre_systolic is not None:
        yield Look(record.started_at, "Systolic before", record.pre_systolic, MMHG)
    for reading in night.readings:
        if reading.systolic is not None:
            yield Look(reading.at, "Systolic during", reading.systolic, MMHG)
    for event in night.events:
        if event.systolic is not None:
            yield Look(event.at, "Systolic noted with an event", event.systolic, MMHG)
    if record.post_systolic is not None:
        yield Look(end, "Systolic after", record.post_systolic, MMHG)
    if record.post_standing_systolic is not None:
        yield Look(end, "Systolic after, standing", record.post_standing_systolic, MMHG)


def _low_limit(history: History, night: Night, look: Look) -> LimitInForce:
    """Flythe 2015: lowest under 90, or under 100 where the pressure before was 160 or more."""
    before = night.record.pre_systolic
    stricter = before is not None and before >= HIGH_BEFORE
    return history.limit("systolic_low_after_high" if stricter else "systolic_low", night)


LOW = outside(
    "systolic_low",
    title="Low blood pressure",
    about="lowest blood pressure",
    family=Family.PRESSURE,
    urgency=Urgency.THIS_WEEK,
    read=lows_read,
    limits=("systolic_low", "systolic_low_after_high"),
    limit_of=_low_limit,
    over=False,
    what="Systolic pressure",
    missing="no blood pressure was noted",
    reads="readings events",
)

LOW_NOTED = noted(
    EventKind.HYPOTENSION,
    key="low_noted",
    title="Low blood pressure noted by the patient",
    family=Family.PRESSURE,
    urgency=Urgency.THIS_WEEK,
    over_after=3,
    part_of=("systolic_low", "fainted"),
)

FELT = (EventKind.HYPOTENSION, EventKind.DIZZY, EventKind.CRAMP, EventKind.NAUSEA, EventKind.FAINTED)


def _fall_read(night: Night) -> Iterator[Look]:
    """By how much the pressure fell from before to its lowest, in a night with symptoms; without any by nothing."""
    before = night.record.pre_systolic
    lowest = [look for look in lows_read(night) if look.label.startswith(("Systolic during", "Systolic noted"))]
    if before is None or not lowest or not night.finished:
        return
    at = min(lowest, key=lambda look: look.value)
    felt = any(of_kind(night, kind) for kind in FELT)
    yield Look(at.at, "Fall with symptoms", before - at.value if felt else 0.0, MMHG)


FALL = outside(
    "fall_with_symptoms",
    title="Fall of the blood pressure with symptoms",
    about="fall of the blood pressure with symptoms",
    family=Family.PRESSURE,
    urgency=Urgency.THIS_WEEK,
    read=_fall_read,
    limits=("systolic_fall",),
    at_limit=True,
    what="Systolic pressure fell, with symptoms, by",
    hold=(2, 3),
    missing="no pressure before, or none during the treatment, was noted",
    reads="readings events",
    part_of=("systolic_low", "low_noted", "fainted"),
)


def _standing_read(night: Night) -> Iterator[Look]:
    record = night.record
    end = record.ended_at or record.started_at
    for name, label in (("systolic", "Systolic fall on standing"), ("diastolic", "Diastolic fall on standing")):
        sitting, standing = getattr(record, f"post_{name}"), getattr(record, f"post_standing_{name}")
        if None not in (sitting, standing):
            yield Look(end, label, sitting - standing, MMHG)


def _standing_limit(history: History, night: Night, look: Look) -> LimitInForce:
    name = "standing_fall" if look.label.startswith("Systolic") else "standing_fall_diastolic"
    return history.limit(name, night)


@dataclass(frozen=True, slots=True)
class SayParts:
    """Systolic and diastolic have limits of their own: the worst of each that is beyond, in one sentence."""

    what: str

    def __call__(self, seen: Seen) -> str:
        parts = []
        for label in sorted({item.label for item in seen.evidence}, reverse=True):
            own = tuple(item for item in seen.evidence if item.label == label)
            values = [item.value for item in own if item.value is not None]
            parts.append(f"{label.lower()} {max(values):.0f} mmHg (limit {own[-1].limit:g})")
        return f"{self.what} {when(seen.evidence)}: {', '.join(parts)}."


STANDING = outside(
    "standing_fall",
    title="Blood pressure falls on standing",
    about="fall of the blood pressure on standing",
    family=Family.PRESSURE,
    urgency=Urgency.THIS_WEEK,
    read=_standing_read,
    limits=("standing_fall", "standing_fall_diastolic"),
    limit_of=_standing_limit,
    at_limit=True,
    what="Fall on standing",
    say=SayParts("Blood pressure falls on standing"),
    hold=(2, 3),
    missing="no pressure after, sitting and standing, was noted",
    optional=True,
    reads="",
)


def _before_read(night: Night) -> Iterator[Look]:
    record = night.record
    for name, label in (("pre_systolic", "Systolic before"), ("pre_diastolic", "Diastolic before")):
        value = getattr(record, name)
        if value is not None:
            yield Look(record.started_at, label, value, MMHG)


def _before_limit(history: History, night: Night, look: Look) -> LimitInForce:
    return history.limit("systolic_high" if look.label.startswith("Systolic") else "diastolic_high", night)


HIGH = outside(
    "pressure_high",
    title="Very high blood pressure before",
    about="blood pressure before",
    family=Family.PRESSURE,
    urgency=Urgency.THIS_WEEK,
    read=_before_read,
    limits=("systolic_high", "diastolic_high"),
    limit_of=_before_limit,
    at_limit=True,
    margin=5,
    what="Pressure before",
    say=SayParts("Very high pressure"),
    missing="no blood pressure before treatment was noted",
    reads="",
)


def _after_read(night: Night) -> Iterator[Look]:
    record = night.record
    if record.post_systolic is not None:
        yield Look(record.ended_at or record.started_at, "Systolic after", record.post_systolic, MMHG)


HIGH_AFTER = outside(
    "pressure_high_after",
    title="High blood pressure after",
    about="blood pressure after",
    family=Family.PRESSURE,
    urgency=Urgency.AT_REVIEW,
    read=_after_read,
    limits=("systolic_high_after",),
    at_limit=True,
    margin=5,
    what="Systolic pressure after",
    hold=(2, 3),
    missing="no blood pressure after treatment was noted",
    reads="",
    part_of=("pressure_high",),
)

RULES = (LOW, LOW_NOTED, FALL, STANDING, HIGH, HIGH_AFTER)
