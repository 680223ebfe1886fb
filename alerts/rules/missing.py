"""A record that is not there although a treatment was due, judged by the calendar where the patient lives."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta

from django.utils.translation import gettext, ngettext_lazy
from django.utils.translation import gettext_lazy as _

from alerts.models.choices import Family, Urgency
from alerts.rules.base import Evidence, History, NotJudged, Remark, Rule, Seen
from alerts.rules.wording import cited, day, days_of
from dosing.science.due_days import DueBy, days_not_entered
from dosing.science.sources import Status
from sessions.facts.choices import LeftOutReason
from sessions.models import Prescription
from sessions.models.local_time import night_of

LOOKS_BACK = timedelta(days=31)
"""A whole month, so that what a month counts as not entered is named here too, however late it was first looked at."""
TWICE = 2
"""Days without a record that call although treatments have come since: whoever went on is not in danger, and a single
day is asked about at the month's review, which counts it (common practice, no source)."""
DAY = timedelta(days=1)
NOON = time(12)


def ordered_on(history: History, when: date) -> Prescription | None:
    """The prescription in force at noon of a day."""
    return history.ordered_at(_noon(history, when))


def _noon(history: History, when: date) -> datetime:
    return datetime.combine(when, NOON, history.zone)


def _treated(history: History) -> set[date]:
    """The days that have a record."""
    return {night_of(night.record.started_at, history.zone) for night in history.nights}


def _due_by(found: Prescription | None) -> DueBy | None:
    return DueBy(found.days_per_week, tuple(found.weekdays)) if found else None


def begins(history: History) -> date | None:
    """The day after which treatments at home are due: of the first prescription, or of joining."""
    starts = [found.in_force.lower.astimezone(history.zone).date() for found in history.prescriptions]
    return max(min(starts), history.patient.joined_on) if starts else None


def due_without_record(history: History, *, until: date) -> list[date]:
    """The days of the history up to `until` on which a treatment was due and no record is there, as a month counts."""
    if history.patient.left_on:
        until = min(until, history.patient.left_on - DAY)
    since = history.since.astimezone(history.zone).date()
    left_out = {said.day for said in history.left_out}
    missing = days_not_entered(
        span=(history.night_before + DAY if history.night_before else date.min, until + DAY),
        begins=begins(history),
        ordered_on=lambda when: _due_by(ordered_on(history, when)),
        treated=_treated(history),
        absent=lambda when: when in left_out or bool(history.absent([when])),
    )
    return [when for when in missing if when > since]


def _evidence(history: History, when: date) -> Evidence:
    ordered = ordered_on(history, when)
    return Evidence(
        "record.missing", _noon(history, when), when, parts={"per_week": ordered.days_per_week} if ordered else {}
    )


def _not_entered(history: History, at: datetime) -> list[date]:
    """The due days without a record, once the grace is over."""
    grace = history.limits.at("missing_grace", at)
    until = (at - timedelta(hours=grace.value)).astimezone(history.zone).date() - DAY
    return due_without_record(history, until=until)


def _enough(history: History, missing: list[date]) -> int:
    """On how many days it must show: once, where no treatment came since."""
    return TWICE if any(when > missing[-1] for when in _treated(history)) else 1


def asked_for(history: History, at: datetime) -> list[date]:
    """The days whose record this rule asks for, so that no other tells of them again."""
    missing = _not_entered(history, at)
    return missing if missing and len(missing) >= _enough(history, missing) else []


def _see(history: History, at: datetime) -> Iterator[Seen]:
    missing = _not_entered(history, at)
    if missing:
        evidence = tuple(_evidence(history, when) for when in missing)
        yield Seen("missing", evidence, history.limits.at("missing_grace", at), nights=_enough(history, missing))


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


def _left_out(history: History, at: datetime) -> Iterator[Seen]:
    """Days of which was said that no treatment is done, and on which none was; of one day the newest word."""
    treated = _treated(history)
    first, today = history.since.astimezone(history.zone).date(), at.astimezone(history.zone).date()
    said = {each.day: each for each in history.left_out if first < each.day <= today}
    evidence = tuple(
        Evidence("record.left_out", _noon(history, when), when, parts={"reason": each.reason, "words": each.words})
        for when, each in sorted(said.items())
        if when not in treated
    )
    if evidence:
        yield Seen("left_out", evidence)


def _say_left_out(seen: Seen) -> str:
    days = days_of(seen.evidence)
    newest = seen.evidence[-1].parts
    parts = {
        "count": len(days),
        "first": day(days[0]),
        "last": day(days[-1]),
        "reason": LeftOutReason(newest["reason"]).label,
        "words": f" ({newest['words']})" if newest["words"] else "",
    }
    return str(LEFT_OUT_WORDS % parts)


def _each_day(seen: Seen) -> str:
    return gettext("each day left out; more than one wants a call today")


LEFT_OUT_WORDS = ngettext_lazy(
    "No treatment on %(first)s, as the patient said: %(reason)s%(words)s.",
    "No treatment on %(count)d days from %(first)s to %(last)s, as the patient said; last: %(reason)s%(words)s.",
    "count",
)

LEFT_OUT = Rule(
    key="left_out",
    title=_("Treatment left out, as the patient said"),
    about=_("days left out"),
    family=Family.PROCESS,
    urgency=Urgency.THIS_WEEK,
    source=cited(_("What the patient said at the bedside. More than one day wants a call at once"), Status.MEMORY),
    limit_words=_each_day,
    not_judged=_nothing_due,
    reasons=MISSING.reasons,
    by_time=True,
    see=_left_out,
    say=_say_left_out,
    looks_back=LOOKS_BACK,
    urgency_of=_urgency,
)

RULES = (MISSING, LEFT_OUT)
