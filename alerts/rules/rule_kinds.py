"""How most rules are made: something read in a night set beside a limit, or something that the patient wrote down.

Hold and recovery are the same everywhere. `hold` (2, 3) means on two of three neighbouring nights that can be judged.
A rule is over after `over_after` judged nights inside the limit, by a margin where there is one, so that a value
that hovers at the limit does not come and go.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import NamedTuple, TypedDict, Unpack

from alerts.limits.book import LimitInForce
from alerts.models.choices import Family, Urgency
from alerts.rules.base import Evidence, History, Night, NotJudged, Rule, Seen, never, often, within
from alerts.rules.wording import beyond, day, when
from dosing.services.night.catalogue import BY_KEY
from sessions.models import Event, EventKind

PRACTICE = "common practice, no source"
STILL_OPEN = "the record is still being filled in"


class Look(NamedTuple):
    """One value that was read in a night."""

    at: datetime
    label: str
    value: float
    unit: str


Read = Callable[[Night], Iterable[Look]]
LimitOf = Callable[[History, Night, Look], LimitInForce | None]
Missing = str | Callable[[Night], str]


def of_night(key: str) -> Read:
    """A computed number of the night, as pages write it."""
    number = BY_KEY[key]
    unit = "%" if number.percent else number.unit

    def read(night: Night) -> Iterator[Look]:
        value = night.shown(key) if night.finished else None
        if value is not None:
            yield Look(night.record.started_at, number.label, value, unit)

    return read


def of_readings(column: str, label: str, unit: str, *, at_flow: bool = False) -> Read:
    """A column of the readings; at_flow: only of those at treatment flow."""

    def read(night: Night) -> Iterator[Look]:
        for reading in night.at_flow if at_flow else night.readings:
            value = getattr(reading, column)
            if value is not None:
                yield Look(reading.at, label, value, unit)

    return read


def unknown_number(key: str) -> Callable[[Night], str]:
    return lambda night: night.why_unknown(key)


class More(TypedDict, total=False):
    """What a rule may say besides, as in `Rule`."""

    part_of: tuple[str, ...]
    advice: str
    may_be_muted: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Bound:
    """What is read in a night, beside its limit. Fields as the arguments of `outside`."""

    key: str
    read: Read
    limit: str
    missing: Missing
    over: bool
    at_limit: bool
    limit_of: LimitOf | None
    hold: tuple[int, int]
    margin: float
    source: str
    optional: bool

    def looks(self, night: Night) -> Sequence[Look]:
        """Read once, and kept with the night for whoever asks again."""
        found = night.looked.get(self.read)
        if found is None:
            found = night.looked[self.read] = tuple(self.read(night))
        return found

    def held(self, history: History, night: Night) -> list[tuple[Look, LimitInForce]]:
        """Each value with its limit; where one limit holds for the night it is looked up once."""
        looks, limit_of = self.looks(night), self.limit_of
        if not looks:
            return []
        if limit_of is None:
            limit = history.limit(self.limit, night)
            return [(look, limit) for look in looks]
        pairs = ((look, limit_of(history, night, look)) for look in looks)
        return [(look, limit) for look, limit in pairs if limit is not None]

    def beyond(self, value: float, limit: float) -> bool:
        if value == limit:
            return self.at_limit
        return value > limit if self.over else value < limit

    def struck(self, history: History, night: Night) -> list[tuple[Look, LimitInForce]]:
        return [pair for pair in self.held(history, night) if self.beyond(pair[0].value, pair[1].value)]

    def see(self, history: History, at: datetime) -> Iterator[Seen]:
        known = [night for night in history.nights if self.looks(night)]
        found = [self.struck(history, night) for night in known]
        kept = within(*self.hold, [bool(pairs) for pairs in found])
        pairs = [(known[place], *pair) for place in kept for pair in found[place]]
        if pairs:
            evidence = tuple(_evidence(night, look, limit.value) for night, look, limit in pairs)
            yield Seen(self.key, evidence, pairs[-1][2], source=self.source)

    def inside(self, history: History, night: Night) -> bool | None:
        """Whether a night is inside by the margin; None where nothing was read."""
        held = self.held(history, night)
        margin = self.margin if self.over else -self.margin
        return all(not self.beyond(look.value + margin, limit.value) for look, limit in held) if held else None

    def not_judged(self, history: History) -> Iterator[NotJudged]:
        finished = history.finished
        without = [night for night in finished if not self.looks(night)]
        if self.optional and without and len(without) == len(finished):
            yield NotJudged(None, _why(self.missing, without[-1]))
            return
        for night in without:
            yield NotJudged(night, _why(self.missing, night))


def outside(
    key: str,
    *,
    title: str,
    about: str,
    family: Family,
    urgency: Urgency,
    read: Read,
    limits: tuple[str, ...],
    what: str,
    missing: Missing,
    over: bool = True,
    at_limit: bool = False,
    limit_of: LimitOf | None = None,
    hold: tuple[int, int] = (1, 1),
    over_after: int = 3,
    margin: float = 0.0,
    form: str = ".0f",
    reads: str = "numbers",
    say: Callable[[Seen], str] | None = None,
    source: str = "",
    optional: bool = False,
    **more: Unpack[More],
) -> Rule:
    """A rule over what is read in a night: `over` a limit, or under it; with `at_limit` the limit itself counts.

    read: what is looked at; missing: why a night without it cannot be judged; limit_of: where one name is not
    enough; margin: how far inside [its unit] a night must be to count towards the end; reads: parts of the night,
    by name, apart from the record; optional: many never note it, so that where no night has it this is said once.
    """
    bound = Bound(
        key=key, read=read, limit=limits[0], missing=missing, over=over, at_limit=at_limit, limit_of=limit_of,
        hold=hold, margin=margin, source=source, optional=optional,
    )  # fmt: skip
    return Rule(
        key=key, title=title, about=about, family=family, urgency=urgency, see=bound.see,
        say=say or (lambda seen: beyond(seen, what=what, worst=max if over else min, form=form)),
        limits=limits, source=source, reads=frozenset(reads.split()), nights=hold[0], holds=_hold_words(hold),
        over=f"after {over_after} treatments inside" + (f", by {margin:g} at least" if margin else ""),
        passed=passed_after(over_after, bound.inside), not_judged=bound.not_judged, **more,
    )  # fmt: skip


def _why(missing: Missing, night: Night) -> str:
    return missing if isinstance(missing, str) else missing(night)


def _hold_words(hold: tuple[int, int]) -> str:
    times, of = hold
    return "each time" if times == 1 else f"on {times} of {of} treatments"


def _evidence(night: Night, look: Look, limit: float) -> Evidence:
    record = night.record
    return Evidence(look.at, record.night, look.label, look.value, look.unit, limit, record=str(record.pk))


def passed_after(
    count: int, inside: Callable[[History, Night], bool | None], what: str = "Inside the limit"
) -> Callable[[History, date], str]:
    """Over when the last `count` nights that can be judged, all after the last evidence, were inside."""

    def passed(history: History, last: date) -> str:
        later = [night for night in history.finished if night.record.night > last]
        judged = [(night, good) for night in later if (good := inside(history, night)) is not None]
        tail = judged[-count:]
        if len(tail) < count or not all(good for _, good in tail):
            return ""
        first, latest = (day(night.record.night) for night, _ in (tail[0], tail[-1]))
        return f"{what} on the last {count} treatments, {first} to {latest}."

    return passed


def of_kind(night: Night, kind: str) -> list[Event]:
    return [event for event in night.events if event.kind == kind]


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted:
    """Something that the patient wrote down. Fields as the arguments of `noted`."""

    key: str
    kind: EventKind
    hold: tuple[int, int]
    source: str

    def see(self, history: History, at: datetime) -> Iterator[Seen]:
        nights = often(*self.hold, history.nights, lambda night: bool(of_kind(night, self.kind)))
        evidence = tuple(item for night in nights for item in event_evidence(night, self.kind))
        if evidence:
            times, of = self.hold
            words = "each time" if times == 1 else f"{times} of {of} treatments"
            yield Seen(self.key, evidence, limit_words=words, source=self.source)

    def say(self, seen: Seen) -> str:
        return f"{seen.evidence[-1].label} {when(seen.evidence)}, as the patient wrote."

    def free(self, history: History, night: Night) -> bool | None:
        return not of_kind(night, self.kind)


def noted(
    kind: EventKind,
    *,
    family: Family,
    urgency: Urgency,
    key: str = "",
    title: str = "",
    hold: tuple[int, int] = (1, 1),
    over_after: int | None = None,
    source: str = PRACTICE,
    **more: Unpack[More],
) -> Rule:
    """A rule over something that the patient wrote down; the record need not be finished.

    over_after: nights without it after which it counts as over; None where only the nurse says that it is.
    """
    note = Noted(key=key or kind.value, kind=kind, hold=hold, source=source)
    label = str(kind.label)
    return Rule(
        key=note.key, title=title or (label if hold[0] == 1 else f"{label}, repeated"), about=label.lower(),
        family=family, urgency=urgency, see=note.see, say=note.say, source=source, reads=frozenset({"events"}),
        nights=hold[0], holds=_hold_words(hold),
        over="when the nurse closes it" if over_after is None else f"after {over_after} treatments without",
        passed=never if over_after is None else passed_after(over_after, note.free, "Not noted"),
        not_judged=still_open, **more,
    )  # fmt: skip


def event_evidence(night: Night, kind: EventKind) -> Iterator[Evidence]:
    record = night.record
    for event in of_kind(night, kind):
        yield Evidence(event.at, record.night, str(kind.label), words=event.note, record=str(record.pk))


def still_open(history: History) -> Iterator[NotJudged]:
    """What was not written of a night says something only once the record is handed over."""
    return (NotJudged(night, STILL_OPEN) for night in history.nights if not night.finished)
