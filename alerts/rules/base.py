"""What rules are made of: the history they look at, what they see, and how they are declared.

A rule is a pure function over a `History`: no query, no clock. It answers with everything of its kind in that
history; what of it is new, and whether an alert opens, is decided in `services.alert_course`.
"""

from __future__ import annotations

import uuid
from collections import namedtuple
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple
from zoneinfo import ZoneInfo

from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from alerts.limits.book import LimitBook, LimitInForce
from alerts.models.choices import Family, Urgency
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.night.inputs import at_treatment_flow
from dosing.services.night.trend_of_patient import (
    ALONE,
    WATCHES,
    Series,
    StoryVerdict,
    TrendVerdict,
    stories_of,
    trends_of,
)
from dosing.services.results.water import Standard
from sessions.facts.fields import READING
from sessions.models import (
    AnsweredCheck,
    BloodResult,
    Event,
    HospitalStay,
    LeftOut,
    Medication,
    Patient,
    Prescription,
    RecordState,
    SiteUsed,
    TreatmentRecord,
    WaterTest,
)
from sessions.services.due import Due
from sessions.services.stock import Stock
from sessions.services.water_held import Held

HISTORY = timedelta(days=90)
Parts = Mapping[str, Any]
OF_SCIENCE = "of_science"
"""The code of a remark whose only part, why, is the science's own reason."""
EACH_TIME = _("each time")
WHEN_CLOSED = _("when the nurse closes it")
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
class JudgedNight:
    """One record with its parts and its computed numbers ({} where nothing was computed yet)."""

    record: TreatmentRecord
    prescription: Prescription | None
    readings: Sequence[ReadingRow] = ()
    events: Sequence[Event] = ()
    sites: Sequence[SiteUsed] = ()
    checks: Sequence[AnsweredCheck] = ()
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

    def in_unit(self, key: str) -> float | None:
        """A computed number in full, in the unit in which people read it: shares as per cent."""
        value = self.number(key)
        return 100 * value if value is not None and NIGHT_NUMBERS[key].percent else value

    def shown(self, key: str) -> float | None:
        """A computed number rounded as pages write it: what reads as the limit is not over it."""
        value, number = self.in_unit(key), NIGHT_NUMBERS[key]
        if value is None:
            return None
        return round(value) if number.percent else round(value, number.decimals)

    def doubts(self, key: str) -> Parts:
        """What makes a computed number doubtful, as evidence keeps it; nothing where it is sure."""
        found = self.numbers.get(key, {}).get("doubts")
        return {"doubts": found} if found else {}

    def why_unknown(self, key: str) -> Remark:
        """Why a computed number is not known, as the science says."""
        why = self.numbers.get(key, {}).get("why")
        return Remark(OF_SCIENCE, {"why": why}) if why else Remark("not_computed")


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What stands around the treatments: water samples, oldest first, the standard they are graded by, and what is held
    back of the water; what is due now; the stock at home; the prescriptions that were acknowledged, by id.
    """

    water: Sequence[WaterTest] = ()
    standard: Standard = field(default_factory=Standard)
    held: Sequence[Held] = ()
    due: Sequence[Due] = ()
    stock: Sequence[Stock] = ()
    acknowledged: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Point:
    """One finished night of the longer course that trends look at.

    values: by key of `trend_of_patient.WATCHES`, unknown ones left out; flow [mL/min], gauge [G]: of that night;
    segments: what makes nights incomparable, by the same keys.
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
    surroundings: None where they were not looked at; course: finished nights of a longer time, for trends, in order;
    stays: in hospital or away, where no treatment at home is due; left_out: days of which was said at the bedside that
    no treatment is done; against_pressure: medicines against high pressure that were taken meanwhile.
    """

    patient: Patient
    zone: ZoneInfo
    since: datetime
    nights: Sequence[JudgedNight]
    limits: LimitBook
    prescriptions: Sequence[Prescription] = ()
    night_before: date | None = None
    bloods: Sequence[BloodResult] = ()
    surroundings: Surroundings | None = None
    course: Sequence[Point] = ()
    stays: Sequence[HospitalStay] = ()
    left_out: Sequence[LeftOut] = ()
    against_pressure: Sequence[Medication] = ()

    def absent(self, days: Iterable[date]) -> set[date]:
        """Those of the days on which the patient was in hospital or away."""
        spans = [(stay.admitted_on, stay.discharged_on or date.max) for stay in self.stays]
        return {day for day in days if any(first <= day <= last for first, last in spans)}

    def ordered_at(self, at: datetime) -> Prescription | None:
        """The prescription in force at a moment."""
        return next((found for found in self.prescriptions if at in found.in_force), None)

    def away(self, at: datetime) -> bool:
        """Whether the patient is in hospital or away on the day of a moment."""
        return bool(self.absent([at.astimezone(self.zone).date()]))

    @property
    def finished(self) -> list[JudgedNight]:
        return [night for night in self.nights if night.finished]

    @cached_property
    def trends(self) -> dict[str, TrendVerdict]:
        """What drifts by itself, by key of `ALONE`; nothing where no course was read."""
        if not self.course:
            return {}
        return trends_of(days=self._course_days, series={key: self._series[key] for key in ALONE})

    @property
    def _course_days(self) -> list[date]:
        return [point.night for point in self.course]

    @cached_property
    def _series(self) -> dict[str, Series]:
        return {key: _series(key, self.course) for key in WATCHES}

    def story(self, name: str) -> StoryVerdict | None:
        """What drifts together, by key of `STORIES`; None where nothing of it was noted."""
        return self._stories.get(name)

    @cached_property
    def _stories(self) -> dict[str, StoryVerdict]:
        return stories_of(days=self._course_days, series=self._series) if self.course else {}

    def limit(self, name: str, night: JudgedNight) -> LimitInForce:
        """The limit that held when a night began."""
        return self.limits.at(name, night.record.started_at, night.prescription)


def _series(key: str, course: Sequence[Point]) -> Series:
    return Series(
        values=[point.values.get(key) for point in course],
        flows=[point.flow for point in course],
        gauges=[point.gauge for point in course] if key in NEEDLED else (),
        segments=[point.segments.get(key) for point in course],
    )


@dataclass(frozen=True, slots=True)
class Remark:
    """Something to be said: a code and what goes into its words, which are made when somebody reads them.

    parts: values fit for JSON, days as ISO 8601. Who knows the words of which code: `remarks.WORDS`, and a rule's own
    `reasons`.
    """

    code: str
    parts: Parts = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        return {"code": self.code, "parts": dict(self.parts)}

    @classmethod
    def from_json(cls, data: Parts) -> Remark:
        return cls(data["code"], data["parts"])


@dataclass(frozen=True, slots=True)
class Evidence:
    """One thing that was seen: a reading, a number of a record, an event, a due day. Codes and values, no words.

    kind: a code that `evidence_kinds.kind_of` knows, with its unit and words; at: when; day: the night it belongs to;
    value: as it was stored, in full, in the unit of its kind, None where there is none; limit: that it was held
    against, in the same unit; record: its id, "" where there is no record; place: which of several of its kind: the
    needle, the check, the item; parts: what its words need besides, fit for JSON.
    """

    kind: str
    at: datetime
    day: date
    value: float | None = None
    limit: float | None = None
    record: str = ""
    place: str = ""
    parts: Parts = field(default_factory=dict)

    @property
    def key(self) -> tuple[str, ...]:
        """What makes it the same thing seen again: a corrected value is another thing.

        No row's number goes into it, since a correction writes all rows of a record anew; and of the value no more
        than twelve digits, so that the last bit of a computation on another machine is no correction.
        """
        value = "" if self.value is None else f"{self.value:.12g}"
        return (self.record or self.day.isoformat(), self.at.isoformat(), self.kind, self.place, value)

    def as_json(self) -> dict[str, Any]:
        return {
            "kind": self.kind,
            "at": self.at.isoformat(),
            "day": self.day.isoformat(),
            "value": self.value,
            "limit": self.limit,
            "record": self.record,
            "place": self.place,
            "parts": dict(self.parts),
        }

    @classmethod
    def from_json(cls, data: Parts) -> Evidence:
        known = {name: value for name, value in data.items() if name not in ("gone", "handled", "rule")}
        at, day = datetime.fromisoformat(data["at"]), date.fromisoformat(data["day"])
        return cls(**(known | {"at": at, "day": day}))


@dataclass(frozen=True, slots=True)
class Seen:
    """All that a rule sees of one cause, oldest first.

    limit: that of the newest evidence, None where no single number is the limit; parts: what the rule's sentence says
    beside that, fit for JSON; urgency: where it differs from the rule's; nights: as in `Rule`, for this cause.
    """

    cause: str
    evidence: tuple[Evidence, ...]
    limit: LimitInForce | None = None
    parts: Parts = field(default_factory=dict)
    urgency: Urgency | None = None
    nights: int | None = None

    @property
    def limit_json(self) -> dict[str, Any]:
        """As `Alert.limit` keeps it."""
        return self.limit.as_json() if self.limit else {}

    def as_remark(self) -> Remark:
        """As a step keeps it, so that it goes on saying what was seen at that time."""
        evidence = [item.as_json() for item in self.evidence]
        parts = {"cause": self.cause, "evidence": evidence, "limit": self.limit_json, "parts": dict(self.parts)}
        return Remark(SEEN, parts)

    @classmethod
    def kept(cls, cause: str, evidence: Iterable[Parts], limit: dict[str, Any], parts: Parts) -> Seen:
        """As an alert or a step keeps it."""
        items = tuple(Evidence.from_json(item) for item in evidence)
        return cls(cause, items, LimitInForce.from_json(limit), parts)


SEEN = "seen"
"""The code of a remark that says what a rule saw: in the words of that rule."""


@dataclass(frozen=True, slots=True)
class NotJudged:
    """What a rule can say nothing about, and why: a night, or where there is none the patient as a whole."""

    night: JudgedNight | None
    why: Remark


def never(history: History, last: date) -> Remark | None:
    """Only the nurse says that it is over."""
    return None


SPOKEN_OF = timedelta(days=14)
"""So long a habit, or a slow drift, is left alone once it was spoken of; the month's share goes on (common practice, no
source)."""


def own_limit(seen: Seen) -> str:
    """The limit of the newest evidence, as most rules say it."""
    return seen.limit.words if seen.limit else ""


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule, declared.

    key: kept with its alerts for ever. title: what pages call it. about: what it looks at. family: where pages list it.
    urgency: unless `Seen` or urgency_of, which judges by the evidence, say otherwise. see: everything of its kind in a
    history. say: the plain sentence for it. limits: the names of the limits it asks, each with a source of its own;
    source: where no limit names one; limit_words, source_words: both as said of what was seen. reads: the parts of a
    night it looks at, beside the record itself. nights: on how many nights it must show that nobody has dealt with
    before an alert opens. holds: that in words. looks_back: evidence older than that opens nothing. over: when it
    counts as over, in words; passed: whether it is, after the day of the last evidence, and how, None while it is not.
    replaces: whether what is seen now takes the place of the evidence kept, as in a trend. not_judged: the nights it
    cannot speak about; reasons: its own words for why, by code. part_of: rules that see the same thing; where one of
    them speaks of the same night, this alert is shown below that one. may_be_muted: for one patient and some time.
    joins: those of `part_of` that tell of the very same: an alert of this rule stands only while enough of its days are
    told by none of them, in whatever order the records arrived. rises: after how long an alert of an urgency that
    nobody has looked at becomes more urgent by one step.
    rests: for so long after somebody dealt with a cause it opens no alert of it again, unless it is more urgent than
    then: it has been spoken of, and all that came since is told then. spoken_with: the rules whose alerts, dealt with,
    let it rest as well, because whoever looked after them looked at the same.
    ends_when_done: it tells of something to do, so that talking about it closes nothing while it is not done.
    waits_at_home: it is not asked while the patient is in hospital or away, and goes on afterwards.
    by_time: whether time alone, without a new record, can bring it about. advice: what to bear in mind;
    advice_words: the same as follows from what was seen. naming: which of its causes it is, where a patient may have
    alerts of several: without it they could not be told apart.

    All words are made when they are read, from what was kept of codes and values. `say`, `limit_words`, `source_words`
    and `advice_words` are therefore asked of evidence that may be years old.
    """

    key: str
    title: StrOrPromise
    about: StrOrPromise
    family: Family
    urgency: Urgency
    see: Callable[[History, datetime], Iterable[Seen]]
    say: Callable[[Seen], str]
    limits: tuple[str, ...] = ()
    source: StrOrPromise = ""
    limit_words: Callable[[Seen], str] = own_limit
    source_words: Callable[[Seen], str] | None = None
    reads: frozenset[str] = frozenset()
    nights: int = 1
    holds: StrOrPromise = EACH_TIME
    looks_back: timedelta = HISTORY
    over: StrOrPromise = WHEN_CLOSED
    passed: Callable[[History, date], Remark | None] = never
    replaces: bool = False
    not_judged: Callable[[History], Iterable[NotJudged]] = lambda history: ()
    reasons: Mapping[str, StrOrPromise] = field(default_factory=dict)
    urgency_of: Callable[[Seen], Urgency] | None = None
    part_of: tuple[str, ...] = ()
    may_be_muted: bool = True
    joins: tuple[str, ...] = ()
    rises: Mapping[Urgency, timedelta] = field(default_factory=dict)
    rests: timedelta = timedelta(0)
    spoken_with: tuple[str, ...] = ()
    ends_when_done: bool = False
    waits_at_home: bool = False
    by_time: bool = False
    advice: StrOrPromise = ""
    advice_words: Callable[[Seen], str] | None = None
    naming: Callable[[Seen], str] | None = None

    def source_of(self, seen: Seen) -> str:
        """Who or what says that the limit holds by which something was seen."""
        if self.source_words is not None:
            return self.source_words(seen)
        return seen.limit.source if seen.limit else str(self.source)


def of_number(night: JudgedNight, key: str, *, limit: float | None) -> Evidence:
    """Evidence that is a computed number of the record as a whole."""
    record = night.record
    return Evidence(
        kind=f"number.{key}",
        at=record.started_at,
        day=record.night,
        value=night.in_unit(key),
        limit=limit,
        record=str(record.pk),
        parts=night.doubts(key),
    )


def numbers_seen(
    history: History, nights: Sequence[JudgedNight], key: str, *, limit: str, cause: str
) -> Iterator[Seen]:
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


def runs_of(length: int, nights: Sequence[JudgedNight], hits: Callable[[JudgedNight], bool]) -> list[JudgedNight]:
    """The nights in runs of at least `length` neighbours that all hit."""
    found: list[JudgedNight] = []
    run: list[JudgedNight] = []
    for night in nights:
        if hits(night):
            run.append(night)
            continue
        found += run if len(run) >= length else []
        run = []
    return found + (run if len(run) >= length else [])


def often(times: int, of: int, nights: Sequence[JudgedNight], hits: Callable[[JudgedNight], bool]) -> list[JudgedNight]:
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
