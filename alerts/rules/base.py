"""What rules are made of: the history they look at, what they see, and how they are declared.

A rule is a pure function over a `History`: no query, no clock. It answers with everything of its kind in that
history; what of it is new, and whether an alert opens, is decided in `services.reconciling`.
"""

from __future__ import annotations

import uuid
from collections import namedtuple
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple
from zoneinfo import ZoneInfo

from alerts.limits.book import LimitBook, LimitInForce
from alerts.models.choices import Family, Urgency
from dosing.services.night.catalogue import BY_KEY
from dosing.services.night.inputs import at_treatment_flow
from dosing.services.trend_of_patient import WATCHES, Series, TrendVerdict, trends_of
from sessions.facts.fields import READING
from sessions.models import (
    BloodResult,
    Check,
    Event,
    Patient,
    Prescription,
    RecordState,
    SiteUsed,
    TreatmentRecord,
    WaterTest,
)
from sessions.services.due import Due
from sessions.services.stock import Stock

HISTORY = timedelta(days=90)
NEEDLED = frozenset({"venous", "arterial"})
"""Series that a change of needle makes incomparable."""


if TYPE_CHECKING:

    class ReadingRow(NamedTuple):
        """A reading as rules look at it: its time, and every declared number, None where it was not noted."""

        pk: int
        record_id: uuid.UUID
        at: datetime

        def __getattr__(self, name: str) -> float | None: ...

else:
    ReadingRow = namedtuple("ReadingRow", ("pk", "record_id", "at", *READING), defaults=[None] * len(READING))


@dataclass(frozen=True)
class Night:
    """One record with its parts and its computed numbers ({} where nothing was computed yet)."""

    record: TreatmentRecord
    prescription: Prescription | None
    readings: Sequence[ReadingRow] = ()
    events: Sequence[Event] = ()
    sites: Sequence[SiteUsed] = ()
    checks: Sequence[Check] = ()
    numbers: dict[str, dict[str, Any]] = field(default_factory=dict)

    @cached_property
    def looked(self) -> dict[Any, tuple[Any, ...]]:
        """What rules have read of it, by how they read it."""
        return {}

    @cached_property
    def at_flow(self) -> list[ReadingRow]:
        """The readings at treatment flow."""
        return at_treatment_flow(self.readings)

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
class Around:
    """What stands around the treatments: water samples, oldest first, graded by an edition of the standard; what is
    due now; the stock at home; the prescriptions that were acknowledged, by id.
    """

    water: Sequence[WaterTest] = ()
    edition: str = "iso_2019"
    due: Sequence[Due] = ()
    stock: Sequence[Stock] = ()
    acknowledged: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Point:
    """One finished night of the longer course that trends look at.

    values: by key of `dosing.services.trend_of_patient.WATCHES`, unknown ones left out; flow [mL/min], gauge [G]: of
    that night; segments: what makes nights incomparable, by the same keys, "" standing for all others.
    """

    record: str
    at: datetime
    night: date
    values: dict[str, float]
    flow: float | None = None
    gauge: float | None = None
    segments: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class History:
    """A patient's nights since a moment, oldest first, and what was ordered meanwhile.

    night_before: of the last treatment before all of these; bloods: results drawn meanwhile, oldest first;
    around: None where it was not looked at; course: finished nights of a longer time, for trends, oldest first.
    """

    patient: Patient
    zone: ZoneInfo
    since: datetime
    nights: Sequence[Night]
    limits: LimitBook
    prescriptions: Sequence[Prescription] = ()
    night_before: date | None = None
    bloods: Sequence[BloodResult] = ()
    around: Around | None = None
    course: Sequence[Point] = ()

    @property
    def finished(self) -> list[Night]:
        return [night for night in self.nights if night.finished]

    @cached_property
    def trends(self) -> dict[str, TrendVerdict]:
        """What drifts, by key of `WATCHES`; nothing where no course was read."""
        if not self.course:
            return {}
        return trends_of(
            days=[point.night for point in self.course],
            series={key: _series(key, self.course) for key in WATCHES},
        )

    def limit(self, name: str, night: Night) -> LimitInForce:
        """The limit that held when a night began."""
        return self.limits.at(name, night.record.started_at, night.prescription)


def _series(key: str, course: Sequence[Point]) -> Series:
    return Series(
        values=[point.values.get(key) for point in course],
        flows=[point.flow for point in course],
        gauges=[point.gauge for point in course] if key in NEEDLED else (),
        segments=[point.segments.get(key) or point.segments.get("") for point in course],
    )


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
        known = {name: value for name, value in data.items() if name not in ("gone", "handled")}
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
    """What a rule can say nothing about, and why: a night, or where there is none the patient as a whole."""

    night: Night | None
    why: str


def never(history: History, last: date) -> str:
    """Only the nurse says that it is over."""
    return ""


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule, declared.

    key: kept with its alerts for ever. title: what pages call it. about: what it looks at. family: where pages list it.
    urgency: unless `Seen` or urgency_of, which judges by the evidence, say otherwise. see: everything of its kind in a
    history. say: the plain sentence for it. limits: the names of the limits it asks, each with a source of its own;
    source: where no limit names one. reads: the parts of a night it looks at, beside the record itself. nights: on how
    many nights it must show that nobody has dealt with before an alert opens. holds: that in words. looks_back:
    evidence older than that opens nothing. over: when it counts as over, in words; passed: whether it is, after the
    day of the last evidence, in words for the alert, "" while it is not. replaces: whether what is seen now takes the
    place of the evidence kept, as in a trend. not_judged: the nights it cannot speak about. part_of: rules that see
    the same thing; where one of them speaks of the same night, this alert is shown below that one. may_be_muted: for
    one patient and some time. by_time: whether time alone, without a new record, can bring it about. advice: what to
    bear in mind.
    """

    key: str
    title: str
    about: str
    family: Family
    urgency: Urgency
    see: Callable[[History, datetime], Iterable[Seen]]
    say: Callable[[Seen], str]
    limits: tuple[str, ...] = ()
    source: str = ""
    reads: frozenset[str] = frozenset()
    nights: int = 1
    holds: str = "each time"
    looks_back: timedelta = HISTORY
    over: str = "when the nurse closes it"
    passed: Callable[[History, date], str] = never
    replaces: bool = False
    not_judged: Callable[[History], Iterable[NotJudged]] = lambda history: ()
    urgency_of: Callable[[Seen], Urgency] | None = None
    part_of: tuple[str, ...] = ()
    may_be_muted: bool = True
    by_time: bool = False
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
    return [nights[place] for place in within(times, of, [hits(night) for night in nights])]


def within(times: int, of: int, struck: Sequence[bool]) -> list[int]:
    """The places that are struck within some `of` neighbours of which at least `times` are.

    >>> within(2, 3, [True, False, True, False, False, True])
    [0, 2]
    """
    places = [place for place, hit in enumerate(struck) if hit]
    if times <= 1:
        return places
    kept: set[int] = set()
    for first in range(len(places) - times + 1):
        group = places[first : first + times]
        if group[-1] - group[0] < of:
            kept.update(group)
    return sorted(kept)
