"""What rules are made of: the history they look at, what they see, and how they are declared.

A rule is a pure function over a `History`: no query, no clock. It answers with everything of its kind in that
history; what of it is new, and whether an alert opens, is decided in `services.reconciling`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

from alerts.choices import Urgency
from alerts.limits import LimitBook, LimitInForce
from dosing.catalogue import BY_KEY
from dosing.inputs import at_treatment_flow
from sessions.models import Event, Patient, Prescription, Reading, RecordState, TreatmentRecord

HISTORY = timedelta(days=90)


@dataclass(frozen=True)
class Night:
    """One record with its parts and its computed numbers ({} where nothing was computed yet)."""

    record: TreatmentRecord
    prescription: Prescription | None
    readings: Sequence[Reading] = ()
    events: Sequence[Event] = ()
    numbers: dict[str, dict[str, Any]] = field(default_factory=dict)

    @cached_property
    def at_flow(self) -> list[Reading]:
        """The readings at treatment flow."""
        return at_treatment_flow(list(self.readings))

    @property
    def finished(self) -> bool:
        return self.record.state == RecordState.FINISHED

    def number(self, key: str) -> float | None:
        """A computed number of the catalogue, or None where it is unknown."""
        value: float | None = self.numbers.get(key, {}).get("value")
        return value

    def shown(self, key: str) -> float | None:
        """A computed number rounded as pages write it, shares as per cent: what reads as the limit is not over it."""
        value, number = self.number(key), BY_KEY[key]
        if value is None:
            return None
        return round(100 * value) if number.percent else round(value, number.decimals)

    def why_unknown(self, key: str) -> str:
        return str(self.numbers.get(key, {}).get("why") or "it was not computed")


@dataclass(frozen=True, slots=True)
class History:
    """A patient's nights since a moment, oldest first, and what was ordered meanwhile.

    access_since: the day from which one access, with one needle size, is in use; None where nothing is known;
    night_before: of the last treatment before all of these.
    """

    patient: Patient
    zone: ZoneInfo
    since: datetime
    nights: Sequence[Night]
    limits: LimitBook
    prescriptions: Sequence[Prescription] = ()
    access_since: date | None = None
    night_before: date | None = None

    @property
    def finished(self) -> list[Night]:
        return [night for night in self.nights if night.finished]

    def limit(self, name: str, night: Night) -> LimitInForce:
        """The limit that held when a night began."""
        return self.limits.at(name, night.record.started_at, night.prescription)


@dataclass(frozen=True, slots=True)
class Evidence:
    """One thing that was seen: a reading, a number of a record, an event, a due day.

    at: when; day: the night it belongs to; value in unit, None where words say it all; limit in the same unit,
    None where there is none; record: its id, "" where there is no record.
    """

    at: datetime
    day: date
    label: str
    value: float | None = None
    unit: str = ""
    limit: float | None = None
    words: str = ""
    record: str = ""

    @property
    def key(self) -> tuple[str, ...]:
        """What makes it the same thing seen again: a corrected value is another thing."""
        value = "" if self.value is None else f"{self.value:.4g}"
        return (self.record or self.day.isoformat(), self.at.isoformat(), self.label, value)

    def as_json(self) -> dict[str, Any]:
        return {
            "at": self.at.isoformat(),
            "day": self.day.isoformat(),
            "label": self.label,
            "value": self.value,
            "unit": self.unit,
            "limit": self.limit,
            "words": self.words,
            "record": self.record,
        }

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> Evidence:
        known = {name: value for name, value in data.items() if name != "gone"}
        at, day = datetime.fromisoformat(data["at"]), date.fromisoformat(data["day"])
        return cls(**(known | {"at": at, "day": day}))


@dataclass(frozen=True, slots=True)
class Seen:
    """All that a rule sees of one cause, oldest first.

    limit: that of the newest evidence; where no single number is the limit, limit_words and source say it.
    urgency, title: where they differ from the rule's; nights: as in `Rule`, for this cause; sentence: where
    it says more than can be told from the evidence.
    """

    cause: str
    evidence: tuple[Evidence, ...]
    limit: LimitInForce | None = None
    limit_words: str = ""
    source: str = ""
    urgency: Urgency | None = None
    title: str = ""
    nights: int | None = None
    sentence: str = ""


@dataclass(frozen=True, slots=True)
class NotJudged:
    """A night of which a rule can say nothing, and why."""

    night: Night
    why: str


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule, declared.

    key: kept with its alerts for ever. title: what pages call it. about: what it looks at. urgency: unless `Seen`
    or urgency_of, which judges by the evidence, say otherwise. see: everything of its kind in a history. say: the
    plain sentence for it. nights: on how many nights it must show that nobody has dealt with before an alert opens.
    looks_back: evidence older than that opens nothing. replaces: whether what is seen now takes the place of the
    evidence kept, as in a trend. not_judged: the nights it cannot speak about. advice: what to bear in mind.
    """

    key: str
    title: str
    about: str
    urgency: Urgency
    see: Callable[[History, datetime], Iterable[Seen]]
    say: Callable[[Seen], str]
    nights: int = 1
    looks_back: timedelta = HISTORY
    replaces: bool = False
    not_judged: Callable[[History], Iterable[NotJudged]] = lambda history: ()
    urgency_of: Callable[[Seen], Urgency] | None = None
    advice: str = ""


def of_number(night: Night, key: str, *, limit: float | None) -> Evidence:
    """Evidence that is a computed number of the record as a whole."""
    number, record = BY_KEY[key], night.record
    return Evidence(
        at=record.started_at,
        day=record.night,
        label=number.label,
        value=night.shown(key),
        unit="%" if number.percent else number.unit,
        limit=limit,
        record=str(record.pk),
    )


def of_reading(night: Night, reading: Reading, *, label: str, value: float, limit: float) -> Evidence:
    """Evidence that is one pressure [mmHg] read during a night."""
    day, record = night.record.night, str(night.record.pk)
    return Evidence(at=reading.at, day=day, label=label, value=value, unit="mmHg", limit=limit, record=record)


def numbers_seen(history: History, nights: Sequence[Night], key: str, *, limit: str, cause: str) -> Iterator[Seen]:
    """What a rule over one computed number sees: that number of each of the nights, each with its night's limit."""
    if not nights:
        return
    limits = [history.limit(limit, night) for night in nights]
    evidence = (of_number(night, key, limit=held.value) for night, held in zip(nights, limits, strict=True))
    yield Seen(cause, tuple(evidence), limits[-1])


def where_unknown(key: str) -> Callable[[History], Iterator[NotJudged]]:
    """The finished nights on which a computed number is unknown, each with the reason of the computation."""

    def nights(history: History) -> Iterator[NotJudged]:
        unknown = (night for night in history.finished if night.number(key) is None)
        return (NotJudged(night, night.why_unknown(key)) for night in unknown)

    return nights


def runs_of(length: int, nights: Sequence[Night], hits: Callable[[Night], bool]) -> list[Night]:
    """The nights in runs of at least `length` neighbours that all hit."""
    found: list[Night] = []
    run: list[Night] = []
    for night in nights:
        if hits(night):
            run.append(night)
            continue
        found += run if len(run) >= length else []
        run = []
    return found + (run if len(run) >= length else [])


def often(times: int, of: int, nights: Sequence[Night], hits: Callable[[Night], bool]) -> list[Night]:
    """The nights that hit within some `of` neighbours of which at least `times` hit."""
    struck = [hits(night) for night in nights]
    kept: set[int] = set()
    for end in range(1, len(nights) + 1):
        window = [index for index in range(max(0, end - of), end) if struck[index]]
        kept |= set(window) if len(window) >= times else set()
    return [nights[index] for index in sorted(kept)]
