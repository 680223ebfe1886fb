"""How most rules are made: something read in a night set beside a limit, or something that the patient wrote down.

Hold and recovery are the same everywhere. `hold` (2, 3) means on two of three neighbouring nights that can be judged.
A rule is over after `over_after` judged nights inside the limit, by a margin where there is one, so that a value
that hovers at the limit does not come and go.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import NamedTuple, TypedDict, Unpack

from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from alerts.limits.book import LimitInForce
from alerts.models.choices import Family, Urgency
from alerts.rules.base import (
    EACH_TIME,
    WHEN_CLOSED,
    Evidence,
    History,
    JudgedNight,
    NotJudged,
    Parts,
    Remark,
    Rule,
    Seen,
    never,
    often,
    within,
)
from alerts.rules.evidence_kinds import kind_of, label_of_evidence
from alerts.rules.sentences import beyond
from alerts.rules.wording import figure, later, when
from sessions.models import AnsweredCheck, Event, EventKind
from sessions.services.event_course import course_of

PRACTICE = _("common practice, no source")
NOT_NOTED = "not_noted"
"""The code of a rule's own reason, where what it reads was not noted."""


NO_PARTS: Parts = {}


class ValueRead(NamedTuple):
    """One value that was read in a night: its kind of evidence, where it was read, and what its words need besides."""

    kind: str
    at: datetime
    value: float
    place: str = ""
    parts: Parts = NO_PARTS


Read = Callable[[JudgedNight], Iterable[ValueRead]]
LimitOf = Callable[[History, JudgedNight, ValueRead], LimitInForce | None]
Missing = StrOrPromise | Callable[[JudgedNight], Remark]


def of_night(key: str) -> Read:
    """A computed number of the night."""

    def read(night: JudgedNight) -> Iterator[ValueRead]:
        value = night.in_unit(key) if night.finished else None
        if value is not None:
            yield ValueRead(f"number.{key}", night.record.started_at, value, parts=night.doubts(key))

    return read


def of_readings(column: str, *, at_flow: bool = False) -> Read:
    """A column of the readings; at_flow: only of those at treatment flow."""

    def read(night: JudgedNight) -> Iterator[ValueRead]:
        for reading in night.at_flow if at_flow else night.readings:
            value = getattr(reading, column)
            if value is not None:
                yield ValueRead(f"reading.{column}", reading.at, value)

    return read


def of_record(night: JudgedNight, *columns: str) -> Iterator[ValueRead]:
    """What was noted of the night as a whole; before it counts as at the start, after it as at the end."""
    record = night.record
    for column in columns:
        value = getattr(record, column)
        if value is not None:
            after = record.ended_at if column.startswith("post_") else None
            yield ValueRead(f"record.{column}", after or record.started_at, value)


def record_columns(*columns: str) -> Read:
    return lambda night: of_record(night, *columns)


def unknown_number(key: str) -> Callable[[JudgedNight], Remark]:
    return lambda night: night.why_unknown(key)


class More(TypedDict, total=False):
    """What a rule may say besides, as in `Rule`."""

    part_of: tuple[str, ...]
    joins: tuple[str, ...]
    advice: StrOrPromise
    may_be_muted: bool
    rests: timedelta


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
    optional: bool

    def looks(self, night: JudgedNight) -> Sequence[ValueRead]:
        """Read once, and kept with the night for whoever asks again."""
        found = night.looked.get(self.read)
        if found is None:
            found = night.looked[self.read] = tuple(self.read(night))
        return found

    def held(self, history: History, night: JudgedNight) -> list[tuple[ValueRead, LimitInForce]]:
        """Each value with its limit; where one limit holds for the night it is looked up once."""
        looks, limit_of = self.looks(night), self.limit_of
        if not looks:
            return []
        if limit_of is None:
            limit = history.limit(self.limit, night)
            return [(look, limit) for look in looks]
        pairs = ((look, limit_of(history, night, look)) for look in looks)
        return [(look, limit) for look, limit in pairs if limit is not None]

    def beyond(self, look: ValueRead, limit: float, margin: float = 0.0) -> bool:
        """As people read the value: what reads as the limit is not over it. margin: so much nearer counts as well."""
        value = kind_of(look.kind).shown(look.value) + (margin if self.over else -margin)
        if value == limit:
            return self.at_limit
        return value > limit if self.over else value < limit

    def struck(self, history: History, night: JudgedNight) -> list[tuple[ValueRead, LimitInForce]]:
        return [(look, limit) for look, limit in self.held(history, night) if self.beyond(look, limit.value)]

    def see(self, history: History, at: datetime) -> Iterator[Seen]:
        known = [night for night in history.nights if self.looks(night)]
        found = [self.struck(history, night) for night in known]
        kept = within(*self.hold, [bool(pairs) for pairs in found])
        pairs = [(known[place], *pair) for place in kept for pair in found[place]]
        if pairs:
            evidence = tuple(_evidence(night, look, limit.value) for night, look, limit in pairs)
            yield Seen(self.key, evidence, pairs[-1][2])

    def inside(self, history: History, night: JudgedNight) -> bool | None:
        """Whether a night is inside by the margin; None where nothing was read."""
        held = self.held(history, night)
        return all(not self.beyond(look, limit.value, self.margin) for look, limit in held) if held else None

    def not_judged(self, history: History) -> Iterator[NotJudged]:
        return _unnoted(history, self.looks, lambda night: _why(self.missing, night), once=self.optional)


def _unnoted(
    history: History, noted: Callable[[JudgedNight], object], why: Callable[[JudgedNight], Remark], *, once: bool
) -> Iterator[NotJudged]:
    """The finished nights on which something was not noted; once: where no night has it, that is said once."""
    finished = history.finished
    without = [night for night in finished if not noted(night)]
    if once and without and len(without) == len(finished):
        yield NotJudged(None, why(without[-1]))
        return
    yield from (NotJudged(night, why(night)) for night in without)


def where_not_noted(noted: Callable[[JudgedNight], object]) -> Callable[[History], Iterator[NotJudged]]:
    """For a rule over what many never note; the rule's own reason `NOT_NOTED` says what."""
    return lambda history: _unnoted(history, noted, lambda night: Remark(NOT_NOTED), once=True)


def each_time(seen: Seen) -> str:
    """The limit of a rule that has none: every time counts."""
    return str(EACH_TIME)


def outside(
    key: str,
    *,
    title: StrOrPromise,
    about: StrOrPromise,
    family: Family,
    urgency: Urgency,
    read: Read,
    limits: tuple[str, ...],
    what: StrOrPromise,
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
        hold=hold, margin=margin, optional=optional,
    )  # fmt: skip
    return Rule(
        key=key, title=title, about=about, family=family, urgency=urgency, see=bound.see,
        say=say or (lambda seen: beyond(seen, what=what, worst=max if over else min, form=form)),
        limits=limits, reads=frozenset(reads.split()), nights=hold[0], holds=hold_words(hold),
        over=over_inside(over_after, margin), passed=passed_after(over_after, bound.inside),
        not_judged=bound.not_judged, reasons={} if callable(missing) else {NOT_NOTED: missing}, **more,
    )  # fmt: skip


def _why(missing: Missing, night: JudgedNight) -> Remark:
    return missing(night) if callable(missing) else Remark(NOT_NOTED)


def hold_words(hold: tuple[int, int]) -> StrOrPromise:
    """How often it must show, in the language of the reader."""
    times, of = hold
    if times == 1:
        return EACH_TIME
    return later(lambda: gettext("on %(times)d of %(of)d treatments") % {"times": times, "of": of})


def over_inside(count: int, margin: float = 0.0) -> StrOrPromise:
    """That so many treatments inside the limit end it, in the language of the reader."""
    if margin:
        return later(
            lambda: (
                ngettext(
                    "after %(count)d treatment inside, by %(margin)s at least",
                    "after %(count)d treatments inside, by %(margin)s at least",
                    count,
                )
                % {"count": count, "margin": figure(margin)}
            )
        )
    return later(
        lambda: (
            ngettext("after %(count)d treatment inside", "after %(count)d treatments inside", count) % {"count": count}
        )
    )


def over_without(count: int) -> StrOrPromise:
    """That so many treatments without it end it, in the language of the reader."""
    return later(
        lambda: (
            ngettext("after %(count)d treatment without", "after %(count)d treatments without", count)
            % {"count": count}
        )
    )


def _evidence(night: JudgedNight, look: ValueRead, limit: float) -> Evidence:
    record = night.record
    return Evidence(
        kind=look.kind, at=look.at, day=record.night, value=look.value, limit=limit, record=str(record.pk),
        place=look.place, parts=look.parts,
    )  # fmt: skip


def passed_after(
    count: int, inside: Callable[[History, JudgedNight], bool | None], how: str = "inside"
) -> Callable[[History, date], Remark | None]:
    """Over when the last `count` nights that can be judged, all after the last evidence, were inside.

    how: the code that says so, of `remarks.WORDS`.
    """

    def passed(history: History, last: date) -> Remark | None:
        after = [night for night in history.finished if night.record.night > last]
        judged = [(night, good) for night in after if (good := inside(history, night)) is not None]
        tail = judged[-count:]
        if len(tail) < count or not all(good for _night, good in tail):
            return None
        first, latest = (night.record.night.isoformat() for night, _good in (tail[0], tail[-1]))
        return Remark(how, {"count": count, "first": first, "last": latest})

    return passed


def of_kind(night: JudgedNight, kind: str) -> list[Event]:
    return [event for event in night.events if event.kind == kind]


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted:
    """Something that the patient wrote down. Fields as the arguments of `noted`."""

    key: str
    kind: EventKind
    hold: tuple[int, int]

    def see(self, history: History, at: datetime) -> Iterator[Seen]:
        nights = often(*self.hold, history.nights, lambda night: bool(of_kind(night, self.kind)))
        evidence = tuple(item for night in nights for item in event_evidence(night, self.kind))
        if evidence:
            yield Seen(self.key, evidence)

    def say(self, seen: Seen) -> str:
        parts = {"what": label_of_evidence(seen.evidence[-1]), "when": when(seen.evidence)}
        return gettext("%(what)s %(when)s, as the patient wrote.") % parts

    def free(self, history: History, night: JudgedNight) -> bool | None:
        return not of_kind(night, self.kind)


def noted(
    kind: EventKind,
    *,
    family: Family,
    urgency: Urgency,
    key: str = "",
    title: StrOrPromise | None = None,
    hold: tuple[int, int] = (1, 1),
    over_after: int | None = None,
    source: StrOrPromise = PRACTICE,
    **more: Unpack[More],
) -> Rule:
    """A rule over something that the patient wrote down; the record need not be finished.

    over_after: nights without it after which it counts as over; None where only the nurse says that it is.
    """
    note = Noted(key=key or kind.value, kind=kind, hold=hold)
    own = kind.label if hold[0] == 1 else later(lambda: gettext("%(what)s, repeated") % {"what": kind.label})
    return Rule(
        key=note.key, title=own if title is None else title, about=later(lambda: str(kind.label).lower()),
        family=family, urgency=urgency,
        see=note.see, say=note.say, source=source, limit_words=lambda seen: str(hold_words(hold)),
        reads=frozenset({"events"}), nights=hold[0], holds=hold_words(hold),
        over=WHEN_CLOSED if over_after is None else over_without(over_after),
        passed=never if over_after is None else passed_after(over_after, note.free, "without"),
        not_judged=still_open, **more,
    )  # fmt: skip


def event_evidence(night: JudgedNight, kind: EventKind) -> Iterator[Evidence]:
    record = night.record
    for event in of_kind(night, kind):
        parts = course_of(event) | ({"note": event.note} if event.note else {})
        yield Evidence(f"event.{kind.value}", event.at, record.night, record=str(record.pk), parts=parts)


def check_evidence(night: JudgedNight, check: AnsweredCheck, kind: str) -> Evidence:
    """A check as it was noted before the treatment; kind: of `evidence_kinds`, which says what of it is told."""
    record = night.record
    written = {"note": check.note, "reason": check.reason, "overruled": check.overruled}
    parts = {"name": check.name, "version": record.checklist_version} | written
    return Evidence(
        kind=kind, at=check.at or record.started_at, day=record.night, value=check.value, record=str(record.pk),
        place=check.key or check.name, parts=parts | ({"unit": check.unit} if check.unit else {}),
    )  # fmt: skip


def still_open(history: History) -> Iterator[NotJudged]:
    """What was not written of a night says something only once the record is handed over."""
    return (NotJudged(night, Remark("still_open")) for night in history.nights if not night.finished)
