"""Blood pressure: too low at any time, a fall with symptoms, a fall on standing, or very high before or after."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import datetime

from django.utils.translation import gettext, ngettext_lazy
from django.utils.translation import gettext_lazy as _

from alerts.limits.book import LimitInForce, low_limit_name
from alerts.models.choices import Family, Urgency
from alerts.rules.base import Evidence, History, JudgedNight, Parts, Seen, within
from alerts.rules.evidence_kinds import MMHG, TAKEN, kind_of
from alerts.rules.rule_kinds import (
    LimitOf,
    ValueRead,
    event_evidence,
    noted,
    of_kind,
    of_record,
    outside,
    passed_after,
    record_columns,
)
from alerts.rules.sentences import beyond, values_of
from alerts.rules.wording import figure, when
from dosing.services.night.low_pressure import noted_without_figure
from sessions.models import Event, EventKind
from sessions.services.event_course import course_of

DURING = frozenset({"reading.systolic", "event_systolic"})
"""Kinds of evidence that were measured while the treatment ran."""


def lows_read(night: JudgedNight) -> Iterator[ValueRead]:
    """Every systolic pressure of a night: before, during, after and standing after."""
    yield from of_record(night, "pre_systolic")
    gone_through = {event.at: _course(event) for event in night.events if event.kind == EventKind.HYPOTENSION}
    for reading in night.readings:
        if reading.systolic is not None:
            # What was begun with this reading has its time, and is told with it.
            yield ValueRead("reading.systolic", reading.at, reading.systolic, parts=gone_through.get(reading.at, {}))
    for event in night.events:
        if event.systolic is not None:
            yield ValueRead("event_systolic", event.at, event.systolic, parts=_course(event))
    yield from of_record(night, "post_systolic", "post_standing_systolic")


def _course(event: Event) -> Parts:
    """How an event went, for evidence: its kind too, where anything is known."""
    course = course_of(event)
    return course and {"event": event.kind} | course


def _low_limit(history: History, night: JudgedNight, look: ValueRead) -> LimitInForce:
    """Flythe 2015: lowest under 90, or under 100 where the pressure before was 160 or more."""
    return history.limit(low_limit_name(night.record.pre_systolic), night)


SHARE = (3, 10)
"""Low on three of ten treatments: a lowest under the line in three in ten of them is how Flythe 2015 tells those whose
pressure falls from those who had one bad night (from memory)."""


def _very_low(history: History, night: JudgedNight) -> bool:
    limit = history.limit("systolic_very_low", night).value
    return any(kind_of(look.kind).shown(look.value) < limit for look in lows_read(night))


def _see_low(history: History, at: datetime) -> Iterator[Seen]:
    """What is low on a large enough share of nights, and besides every night on which it was very low once."""
    known = [night for night in history.nights if any(lows_read(night)) or noted_without_figure(night.numbers)]
    shared = {known[place].record.pk for place in within(*SHARE, [_low_night(history, night) for night in known])}
    deep = [night for night in known if _very_low(history, night)]
    found = [night for night in known if night.record.pk in shared or night in deep]
    if found:
        evidence = _with_medicines(history, [item for night in found for item in _told_low(history, night)])
        limits = [limit for night in found for _item, limit in _lows(history, night)]
        held = limits[-1] if limits else history.limit("systolic_low", found[-1])
        pressing = bool(deep) and deep[-1] is found[-1]
        yield Seen("systolic_low", evidence, held, urgency=Urgency.CALL_TODAY if pressing else None)


def _with_medicines(history: History, evidence: list[Evidence]) -> tuple[Evidence, ...]:
    """The newest evidence says what was taken against high pressure on its day: to be thought of, judged by nobody."""
    newest = evidence[-1]
    taken = [each.dose_parts for each in history.against_pressure if each.taken_on(newest.day)]
    told = replace(newest, parts={**newest.parts, TAKEN: taken}) if taken else newest
    return (*evidence[:-1], told)


def _low_night(history: History, night: JudgedNight) -> bool:
    """By any figure, or as it was noted without one: that counts as low, for nobody knows how low it was."""
    return noted_without_figure(night.numbers) or any(_lows(history, night))


def _inside(history: History, night: JudgedNight) -> bool | None:
    known = any(lows_read(night)) or noted_without_figure(night.numbers)
    return not _low_night(history, night) if known else None


def _told_low(history: History, night: JudgedNight) -> list[Evidence]:
    """The figures below their limit, and what was noted without one."""
    told = [item for item, _limit in _lows(history, night)]
    if noted_without_figure(night.numbers):
        told += [
            item for item in event_evidence(night, EventKind.HYPOTENSION) if item.at not in {one.at for one in told}
        ]
    return sorted(told, key=lambda item: item.at)


def _say_low(seen: Seen) -> str:
    figures = tuple(item for item in seen.evidence if item.value is not None)
    bare = {item.day for item in seen.evidence} - {item.day for item in figures}
    if not figures:
        return gettext("Low pressure noted without a figure %(when)s.") % {"when": when(seen.evidence)}
    said = beyond(replace(seen, evidence=figures), what=_("Systolic pressure"), worst=min)
    return f"{said} {BARE % {'count': len(bare)}!s}" if bare else said


BARE = ngettext_lazy(
    "On %(count)d more treatment it was noted as low without a figure.",
    "On %(count)d more treatments it was noted as low without a figure.",
    "count",
)


def _lows(history: History, night: JudgedNight) -> Iterator[tuple[Evidence, LimitInForce]]:
    for look in lows_read(night):
        limit = _low_limit(history, night, look)
        if kind_of(look.kind).shown(look.value) < limit.value:
            record = night.record
            seen = (record.night, look.value, limit.value, str(record.pk), look.place, look.parts)
            yield Evidence(look.kind, look.at, *seen), limit


_LOW_OFTEN = outside(
    "systolic_low",
    title=_("Low blood pressure"),
    about=_("lowest blood pressure"),
    family=Family.PRESSURE,
    urgency=Urgency.THIS_WEEK,
    read=lows_read,
    limits=("systolic_low", "systolic_low_after_high", "systolic_very_low"),
    limit_of=_low_limit,
    over=False,
    what=_("Systolic pressure"),
    hold=SHARE,
    missing=_("no blood pressure was noted"),
    reads="readings events",
)
LOW = replace(
    _LOW_OFTEN,
    see=_see_low,
    say=_say_low,
    passed=passed_after(3, _inside),
    nights=1,
    holds=_("on 3 of 10 treatments, or once when very low: then today"),
)

LOW_NOTED = noted(
    EventKind.HYPOTENSION,
    key="low_noted",
    title=_("Low blood pressure noted by the patient"),
    family=Family.PRESSURE,
    urgency=Urgency.THIS_WEEK,
    hold=(2, 3),
    over_after=3,
    part_of=("systolic_low", "fainted"),
    joins=("systolic_low",),
)

FELT = (EventKind.HYPOTENSION, EventKind.DIZZY, EventKind.CRAMP, EventKind.NAUSEA, EventKind.FAINTED)


def _fall_read(night: JudgedNight) -> Iterator[ValueRead]:
    """By how much the pressure fell from before to its lowest, in a night with symptoms; without any by nothing."""
    before = night.record.pre_systolic
    lowest = [look for look in lows_read(night) if look.kind in DURING]
    if before is None or not lowest or not night.finished:
        return
    at = min(lowest, key=lambda look: look.value)
    felt = any(of_kind(night, kind) for kind in FELT)
    yield ValueRead("fall_with_symptoms", at.at, before - at.value if felt else 0.0)


FALL = outside(
    "fall_with_symptoms",
    title=_("Fall of the blood pressure with symptoms"),
    about=_("fall of the blood pressure with symptoms"),
    family=Family.PRESSURE,
    urgency=Urgency.THIS_WEEK,
    read=_fall_read,
    limits=("systolic_fall",),
    at_limit=True,
    what=_("Systolic pressure fell, with symptoms, by"),
    hold=(2, 3),
    missing=_("no pressure before, or none during the treatment, was noted"),
    reads="readings events",
    part_of=("systolic_low", "low_noted", "fainted"),
    joins=("systolic_low", "low_noted"),
)


def _standing_read(night: JudgedNight) -> Iterator[ValueRead]:
    record = night.record
    for name in ("systolic", "diastolic"):
        sitting, standing = getattr(record, f"post_{name}"), getattr(record, f"post_standing_{name}")
        if None not in (sitting, standing):
            yield ValueRead(f"standing_fall.{name}", record.ended_at or record.started_at, sitting - standing)


def by_kind(names: Mapping[str, str]) -> LimitOf:
    """Of what is read, each kind of evidence with the limit of a name of its own."""

    def limit_of(history: History, night: JudgedNight, look: ValueRead) -> LimitInForce:
        return history.limit(names[look.kind], night)

    return limit_of


def _worst_of_each(seen: Seen) -> str:
    """Systolic and diastolic have limits of their own: the worst of each that is beyond, in one sentence."""
    parts = []
    for kind, what in WORST.items():
        own = [item for item in seen.evidence if item.kind == kind]
        if own:
            figures = {"worst": figure(max(values_of(own)), ".0f", MMHG), "limit": figure(own[-1].limit or 0)}
            parts.append(str(what) % figures)
    return ", ".join(parts)


WORST = {
    "standing_fall.systolic": _("systolic fall on standing %(worst)s (limit %(limit)s)"),
    "standing_fall.diastolic": _("diastolic fall on standing %(worst)s (limit %(limit)s)"),
    "record.pre_systolic": _("systolic before %(worst)s (limit %(limit)s)"),
    "record.pre_diastolic": _("diastolic before %(worst)s (limit %(limit)s)"),
}


def _say_standing(seen: Seen) -> str:
    parts = {"when": when(seen.evidence), "worst": _worst_of_each(seen)}
    return gettext("Blood pressure falls on standing %(when)s: %(worst)s.") % parts


def _say_high(seen: Seen) -> str:
    parts = {"when": when(seen.evidence), "worst": _worst_of_each(seen)}
    return gettext("Very high pressure %(when)s: %(worst)s.") % parts


STANDING = outside(
    "standing_fall",
    title=_("Blood pressure falls on standing"),
    about=_("fall of the blood pressure on standing"),
    family=Family.PRESSURE,
    urgency=Urgency.THIS_WEEK,
    read=_standing_read,
    limits=("standing_fall", "standing_fall_diastolic"),
    limit_of=by_kind({"standing_fall.systolic": "standing_fall", "standing_fall.diastolic": "standing_fall_diastolic"}),
    at_limit=True,
    what=_("Fall on standing"),
    say=_say_standing,
    hold=(2, 3),
    missing=_("no pressure after, sitting and standing, was noted"),
    optional=True,
    reads="",
)


HIGH = outside(
    "pressure_high",
    title=_("Very high blood pressure before"),
    about=_("blood pressure before"),
    family=Family.PRESSURE,
    urgency=Urgency.THIS_WEEK,
    read=record_columns("pre_systolic", "pre_diastolic"),
    limits=("systolic_high", "diastolic_high"),
    limit_of=by_kind({"record.pre_systolic": "systolic_high", "record.pre_diastolic": "diastolic_high"}),
    at_limit=True,
    margin=5,
    what=_("Pressure before"),
    say=_say_high,
    missing=_("no blood pressure before treatment was noted"),
    reads="",
)


HIGH_AFTER = outside(
    "pressure_high_after",
    title=_("High blood pressure after"),
    about=_("blood pressure after"),
    family=Family.PRESSURE,
    urgency=Urgency.AT_REVIEW,
    read=record_columns("post_systolic"),
    limits=("systolic_high_after",),
    at_limit=True,
    margin=5,
    what=_("Systolic pressure after"),
    hold=(2, 3),
    missing=_("no blood pressure after treatment was noted"),
    reads="",
    part_of=("pressure_high",),
    joins=("pressure_high",),
)

RULES = (LOW, LOW_NOTED, FALL, STANDING, HIGH, HIGH_AFTER)
