"""A record that is not there although a treatment was due, judged by the calendar where the patient lives."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from datetime import date, datetime, time, timedelta

from django.utils.translation import gettext, ngettext_lazy
from django.utils.translation import gettext_lazy as _

from alerts.models.choices import Family, Urgency
from alerts.rules.base import Evidence, History, NotJudged, Remark, Rule, Seen
from alerts.rules.wording import day, days_of
from sessions.models import Prescription

LOOKS_BACK = timedelta(days=14)
DAY = timedelta(days=1)
NOON = time(12)


def longest_gap(days_per_week: float) -> int:
    """Days from one treatment to the next at most, where weekdays are not fixed.

    From four a week on the free days may lie together (5 a week: 3 days, as over a weekend); fewer are spread
    out (every other day: 2, three a week: 3). Common practice, no source.
    """
    return math.ceil(8 - days_per_week) if days_per_week >= 4 else math.ceil(7 / days_per_week)


def ordered_on(history: History, when: date) -> Prescription | None:
    """The prescription in force at noon of a day."""
    noon = datetime.combine(when, NOON, history.zone)
    return next((found for found in history.prescriptions if noon in found.in_force), None)


def begins(history: History) -> date | None:
    """The day after which treatments at home are due: of the first prescription, or of joining."""
    starts = [found.in_force.lower.astimezone(history.zone).date() for found in history.prescriptions]
    return max(min(starts), history.patient.joined_on) if starts else None


def _unmet(due: Sequence[date], nights: set[date]) -> set[date]:
    """Due days without a treatment on that day; one moved by a day to a free day counts for it."""
    moved = nights - set(due)
    unmet = set()
    for when in due:
        if when in nights:
            continue
        instead = next((other for other in (when + DAY, when - DAY) if other in moved), None)
        if instead:
            moved.remove(instead)
        else:
            unmet.add(when)
    return unmet


def _after_long_gaps(history: History, nights: set[date], days: Sequence[date]) -> set[date]:
    """Where weekdays are not fixed: each day on which the longest gap since the last treatment was over.

    The count begins with the day before the first of `days`, on which a treatment is taken as done.
    """
    missing = set()
    previous = days[0] - DAY
    for when in days:
        ordered = ordered_on(history, when)
        if when in nights or ordered is None or ordered.weekdays:
            previous = when
        elif (when - previous).days >= longest_gap(ordered.days_per_week):
            missing.add(when)
            previous = when
    return missing


def due_without_record(history: History, *, until: date) -> list[date]:
    """The days of the history up to `until` on which a treatment was due and no record is there."""
    nights = {night.record.night for night in history.nights}
    first_due = begins(history)
    if first_due is None:
        return []
    if history.patient.left_on:
        until = min(until, history.patient.left_on - DAY)
    start = max(first_due, history.night_before or first_due)
    # One day more, so that a treatment on the next due day is not taken for one that was moved to it.
    days = [start + DAY * index for index in range(1, (until + DAY - start).days + 1)]
    if not days:
        return []
    ordered = {when: ordered_on(history, when) for when in days}
    fixed = [when for when, found in ordered.items() if found and when.weekday() in found.weekdays]
    missing = _unmet(fixed, nights) | _after_long_gaps(history, nights, days)
    first = history.since.astimezone(history.zone).date()
    return sorted(when for when in missing if first < when <= until)


def _evidence(history: History, when: date) -> Evidence:
    at = datetime.combine(when, NOON, history.zone)
    ordered = ordered_on(history, when)
    return Evidence("record.missing", at, when, parts={"per_week": ordered.days_per_week} if ordered else {})


def _see(history: History, at: datetime) -> Iterator[Seen]:
    grace = history.limits.at("missing_grace", at)
    until = (at - timedelta(hours=grace.value)).astimezone(history.zone).date() - DAY
    missing = due_without_record(history, until=until)
    if missing:
        evidence = tuple(_evidence(history, when) for when in missing)
        yield Seen("missing", evidence, grace)


def _say(seen: Seen) -> str:
    days = days_of(seen.evidence)
    parts = {"count": len(days), "first": day(days[0]), "last": day(days[-1])}
    return str(NO_RECORD % parts)


NO_RECORD = ngettext_lazy(
    "No record of a treatment that was due on %(first)s.",
    "No record of %(count)d treatments that were due from %(first)s to %(last)s.",
    "count",
)


def _grace_words(seen: Seen) -> str:
    parts = {"grace": seen.limit.words if seen.limit else ""}
    return gettext("%(grace)s after the day on which the prescription has a treatment due") % parts


def _urgency(seen: Seen) -> Urgency:
    """Two missed treatments want a call at once (from memory: more than one missed, or 72 hours without)."""
    return Urgency.CALL_TODAY if len(days_of(seen.evidence)) > 1 else Urgency.THIS_WEEK


def _nothing_due(history: History) -> Iterator[NotJudged]:
    if not history.prescriptions:
        yield NotJudged(None, Remark("none_due"))


MISSING = Rule(
    key="missing",
    title=_("Record missing"),
    about=_("days without a record"),
    family=Family.PROCESS,
    urgency=Urgency.THIS_WEEK,
    limits=("missing_grace",),
    limit_words=_grace_words,
    not_judged=_nothing_due,
    reasons={"none_due": _("no prescription says when treatments are due")},
    by_time=True,
    see=_see,
    say=_say,
    looks_back=LOOKS_BACK,
    urgency_of=_urgency,
)

RULES = (MISSING,)
