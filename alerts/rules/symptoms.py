"""Symptoms and access signs that the patient wrote down: some want a call at once, some when they come again."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from alerts.choices import Urgency
from alerts.rules.base import Evidence, History, Night, Rule, Seen, often
from alerts.rules.wording import when
from sessions.models import Event, EventKind

CALL_TODAY = (
    EventKind.NEEDLE_DISLODGED,
    EventKind.AIR,
    EventKind.CHEST_PAIN,
    EventKind.BREATHLESS,
    EventKind.FAINTED,
    EventKind.BLEEDING,
    EventKind.FEVER_CHILLS,
    EventKind.ACCESS_REDNESS,
)
THIS_WEEK = (EventKind.HYPOTENSION, EventKind.INFILTRATION)
WHEN_REPEATED = (
    EventKind.CRAMP,
    EventKind.DIZZY,
    EventKind.HEADACHE,
    EventKind.NAUSEA,
    EventKind.CLOTTING,
    EventKind.MACHINE_ALARM,
)
AT_REVIEW = (EventKind.OTHER,)
SOURCES = {
    EventKind.NEEDLE_DISLODGED: "needle dislodgement and air lead the severe events at home: "
    "Tennankore et al., Am J Kidney Dis 2015;65:116, abstract (seen)",
    EventKind.FEVER_CHILLS: "infection signs want a call the same day: "
    "Nesrallah et al., Clin J Am Soc Nephrol 2010;5:1047 (seen)",
}
SOURCES[EventKind.AIR] = SOURCES[EventKind.NEEDLE_DISLODGED]
SOURCES[EventKind.ACCESS_REDNESS] = SOURCES[EventKind.FEVER_CHILLS]
OPINION = "common practice, no source"
TIMES, OF = 2, 3
"""A mild symptom wants a call when it comes on two of three treatments (common practice, no source)."""


def _events(night: Night, kind: EventKind) -> list[Event]:
    return [event for event in night.events if event.kind == kind]


def _evidence(night: Night, kind: EventKind) -> Iterator[Evidence]:
    record = night.record
    for event in _events(night, kind):
        yield Evidence(event.at, record.night, kind.label, words=event.note, record=str(record.pk))


def _once(history: History, kind: EventKind, urgency: Urgency) -> Seen:
    evidence = tuple(item for night in history.nights for item in _evidence(night, kind))
    return Seen(
        kind.value,
        evidence,
        limit_words="each time",
        source=SOURCES.get(kind, OPINION),
        urgency=urgency,
        title=kind.label,
    )


def _repeated(history: History, kind: EventKind) -> Seen:
    nights = often(TIMES, OF, history.nights, lambda night: bool(_events(night, kind)))
    evidence = tuple(item for night in nights for item in _evidence(night, kind))
    return Seen(
        kind.value,
        evidence,
        limit_words=f"{TIMES} of {OF} treatments",
        source=OPINION,
        title=f"{kind.label}, repeated",
        nights=TIMES,
    )


def _see(history: History, at: datetime) -> Iterator[Seen]:
    groups = ((CALL_TODAY, Urgency.CALL_TODAY), (THIS_WEEK, Urgency.THIS_WEEK), (AT_REVIEW, Urgency.AT_REVIEW))
    found = [_once(history, kind, urgency) for kinds, urgency in groups for kind in kinds]
    found += [_repeated(history, kind) for kind in WHEN_REPEATED]
    return (seen for seen in found if seen.evidence)


def _say(seen: Seen) -> str:
    return f"{seen.evidence[-1].label} {when(seen.evidence)}, as the patient wrote."


SYMPTOMS = Rule(
    key="symptom", title="Symptom or access sign", about="symptoms", urgency=Urgency.THIS_WEEK, see=_see, say=_say
)

RULES = (SYMPTOMS,)
