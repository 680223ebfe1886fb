"""Records and what stands around them: missing, late, unfinished, overruled; prescriptions read; supplies; training."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from django.utils.translation import gettext, ngettext_lazy
from django.utils.translation import gettext_lazy as _

from alerts.models.choices import Family, Urgency
from alerts.rules.base import Evidence, History, JudgedNight, NotJudged, Remark, Rule, Seen
from alerts.rules.dose import shortened
from alerts.rules.duties import ANY_TIME, overdue
from alerts.rules.evidence_kinds import label_of_evidence, more_of, stock_words
from alerts.rules.missing import LEFT_OUT, MISSING
from alerts.rules.rule_kinds import (
    NOT_NOTED,
    PRACTICE,
    ValueRead,
    check_evidence,
    each_time,
    event_evidence,
    outside,
    over_without,
    passed_after,
    still_open,
    where_not_noted,
)
from alerts.rules.water import chlorine_grade, is_chlorine
from alerts.rules.wording import day, when
from dosing.science.water import Grade
from sessions.facts.choices import CheckPart
from sessions.models import AnsweredCheck, EventKind
from sessions.services.stock import Stock
from sessions.texts.checklist import STOPS, not_put_right

HOUR = timedelta(hours=1)
SOON = 2
"""Days of cover from which supplies want a call today (common practice, no source)."""


def _lateness(night: JudgedNight) -> Iterator[ValueRead]:
    record = night.record
    if record.ended_at and record.finished_at:
        yield ValueRead("record.late", record.started_at, max(0.0, (record.finished_at - record.ended_at) / HOUR))


LATE = outside(
    "late",
    title=_("Records come late"),
    about=_("how soon the record came"),
    family=Family.PROCESS,
    urgency=Urgency.AT_REVIEW,
    read=_lateness,
    limits=("late_hours",),
    hold=(2, 3),
    what=_("Record handed over after"),
    missing=_("the end of the treatment was not noted"),
    reads="",
)


def _open_too_long(history: History, at: datetime) -> Iterator[Seen]:
    held = history.limits.at("unfinished_hours", at)
    nights = [
        night for night in history.nights if not night.finished and at - night.record.started_at > held.value * HOUR
    ]
    if nights:
        evidence = tuple(
            Evidence("record.unfinished", night.record.started_at, night.record.night, record=str(night.record.pk))
            for night in nights
        )
        yield Seen("unfinished", evidence, held)


def _no_record_at_all(history: History) -> Iterator[NotJudged]:
    if not history.nights:
        yield NotJudged(None, Remark("no_record"))


UNFINISHED = Rule(
    key="unfinished",
    title=_("Record not handed over"),
    about=_("records that were begun and not handed over"),
    family=Family.PROCESS,
    urgency=Urgency.THIS_WEEK,
    see=_open_too_long,
    say=lambda seen: gettext("A record was begun and not handed over %(when)s.") % {"when": when(seen.evidence)},
    limits=("unfinished_hours",),
    over=_("when it is handed over"),
    not_judged=_no_record_at_all,
    reasons={"no_record": _("no record has come in this time")},
    by_time=True,
)


def _told_elsewhere(history: History, check: AnsweredCheck) -> bool:
    """What was found at the access, and a figure of chlorine that is beyond, have alerts of their own that say so."""
    if check.part == CheckPart.ACCESS:
        return True
    return check.value is not None and is_chlorine(check) and chlorine_grade(history, check.value) > Grade.PASS


def _see_overruled(history: History, at: datetime) -> Iterator[Seen]:
    evidence = tuple(
        check_evidence(night, check, "check.failed")
        for night in history.nights
        for check in not_put_right(night.checks)
        if not _told_elsewhere(history, check)
    )
    if evidence:
        stopped = any(item.place in STOPS for item in evidence)
        yield Seen("check_failed", evidence, urgency=Urgency.CALL_TODAY if stopped else Urgency.THIS_WEEK)


def _say_overruled(seen: Seen) -> str:
    newest = seen.evidence[-1]
    parts = {"when": when(seen.evidence), "check": label_of_evidence(newest), "outcome": more_of(newest)}
    return gettext("A check failed and the treatment was begun %(when)s: %(check)s, %(outcome)s.") % parts


CHECK_FAILED = Rule(
    key="check_failed",
    title=_("Begun although a check failed"),
    about=_("checks before the treatment"),
    family=Family.PROCESS,
    urgency=Urgency.THIS_WEEK,
    see=_see_overruled,
    say=_say_overruled,
    source=PRACTICE,
    limit_words=each_time,
    reads=frozenset({"checks"}),
    not_judged=where_not_noted(lambda night: night.checks),
    reasons={NOT_NOTED: _("no check was noted")},
    may_be_muted=False,
)


def _not_read(history: History, at: datetime) -> Iterator[Seen]:
    """A changed prescription that nobody at the bedside has acknowledged in time."""
    ordered = None if history.away(at) else history.ordered_at(at)
    if ordered is None or history.surroundings is None or ordered.version == 1 or _never_told(history):
        return
    held = history.limits.at("acknowledge_hours", at)
    begins = max(ordered.signed_at, ordered.in_force.lower)
    if ordered.pk in history.surroundings.acknowledged or at - begins <= held.value * HOUR:
        return
    on = begins.astimezone(history.zone).date()
    yield Seen("not_acknowledged", (Evidence("prescription", begins, on, place=str(ordered.version)),), held)


def _say_not_read(seen: Seen) -> str:
    newest = seen.evidence[-1]
    words = gettext("Prescription %(version)s, in force since %(day)s, was not acknowledged at the bedside.")
    return words % {"version": newest.place, "day": day(newest.day)}


def _never_told(history: History) -> Remark | None:
    """Where the records never say which prescription the phone had, an acknowledgement cannot be looked for."""
    if not history.prescriptions:
        return Remark("no_prescription_at_all")
    told = any(night.record.prescription_version is not None for night in history.nights)
    return None if told else Remark("version_unknown")


def _unread_unknown(history: History) -> Iterator[NotJudged]:
    why = _never_told(history)
    if why is not None:
        yield NotJudged(None, why)


NOT_ACKNOWLEDGED = Rule(
    key="not_acknowledged",
    title=_("Changed prescription not acknowledged"),
    about=_("whether a changed prescription was read"),
    family=Family.PROCESS,
    urgency=Urgency.THIS_WEEK,
    see=_not_read,
    say=_say_not_read,
    limits=("acknowledge_hours",),
    over=_("when it is acknowledged"),
    not_judged=_unread_unknown,
    reasons={
        "no_prescription_at_all": _("no prescription is there"),
        "version_unknown": _("the records do not say which prescription the phone had"),
    },
    waits_at_home=True,
    by_time=True,
)


def _short(history: History) -> list[Stock]:
    return [each for each in history.surroundings.stock if each.short] if history.surroundings else []


def _see_stock(history: History, at: datetime) -> Iterator[Seen]:
    """Every item that lasts shorter than the unit's list wants; the day is that of the count, which stands for it."""
    short = [] if history.away(at) else _short(history)
    items = sorted(short, key=lambda each: (each.counted_at or at, each.item.name))
    if items:
        least = min(items, key=lambda each: each.days or 0)
        yield Seen(
            "supplies",
            tuple(_stock_evidence(history, each) for each in items),
            parts={"days": least.item.cover_days, "item": least.item.name},
            urgency=Urgency.CALL_TODAY if (least.days or 0) <= SOON and not least.expected else None,
        )


def _stock_evidence(history: History, each: Stock) -> Evidence:
    assert each.counted_at is not None  # what was never counted is not short, it is unknown
    on = each.counted_at.astimezone(history.zone).date()
    parts = {"item": each.item.name, "days": each.days, "wanted": each.item.cover_days}
    if each.expected and each.expected.expected_on:
        parts |= {"count": each.expected.count, "expected_on": each.expected.expected_on.isoformat()}
    return Evidence("stock", each.counted_at, on, place=str(each.item.pk or each.item.name), parts=parts)


def _say_stock(seen: Seen) -> str:
    return "; ".join(stock_words(item) for item in seen.evidence) + "."


def _cover_words(seen: Seen) -> str:
    words = ngettext_lazy("%(days)d day of cover (%(item)s)", "%(days)d days of cover (%(item)s)", "days")
    return str(words % dict(seen.parts))


def _never_counted(history: History) -> Iterator[NotJudged]:
    if history.surroundings is None:
        yield NotJudged(None, Remark("supplies_not_looked_at"))
    elif not history.surroundings.stock:
        yield NotJudged(None, Remark("no_list"))
    else:
        for each in history.surroundings.stock:
            if each.days is None:
                yield NotJudged(None, Remark("cover_unknown", {"item": each.item.name, "why": each.why}))


SUPPLIES = Rule(
    key="supplies",
    title=_("Supplies run short"),
    about=_("days that supplies last"),
    family=Family.PROCESS,
    urgency=Urgency.THIS_WEEK,
    see=_see_stock,
    say=_say_stock,
    source=_("the unit's list of supplies"),
    limit_words=_cover_words,
    looks_back=ANY_TIME,
    over=_("when the next count or delivery is enough"),
    replaces=True,
    not_judged=_never_counted,
    reasons={
        "supplies_not_looked_at": _("supplies were not looked at"),
        "no_list": _("the unit's list of supplies is empty"),
        "cover_unknown": "%(item)s: %(why)s",
    },
    waits_at_home=True,
    by_time=True,
)

TRAINING = overdue(
    "training_overdue",
    kinds=frozenset({"training"}),
    limit="due_days",
    title=_("Training is due again"),
    about=_("training that is due again"),
    family=Family.PROCESS,
    urgency=Urgency.AT_REVIEW,
    unset=_("no training with a day to repeat is noted"),
)
MACHINE_CARE = overdue(
    "care_overdue",
    kinds=frozenset({"disinfection", "filter_change", "service"}),
    limit="due_days",
    title=_("Care of the machine overdue"),
    about=_("care of the machine that is due"),
    family=Family.PROCESS,
    urgency=Urgency.THIS_WEEK,
    unset=_("no machine at home is noted"),
)

FAILURES = (EventKind.POWER_FAILURE, EventKind.WATER_FAILURE)
"""One card at the bedside notes both, so one rule hears of both."""


def _failed_supply(night: JudgedNight) -> list[Evidence]:
    return [each for kind in FAILURES for each in event_evidence(night, kind)]


def _see_failure(history: History, at: datetime) -> Iterator[Seen]:
    """Each time; today when it comes again or cuts the treatment short: the home cannot be relied on then."""
    struck = [(night, seen) for night in history.nights if (seen := _failed_supply(night))]
    if struck:
        evidence = tuple(each for _night, seen in struck for each in seen)
        pressing = len(struck) > 1 or shortened(history, "delivered_once", struck[-1][0])
        yield Seen("power_or_water", evidence, urgency=Urgency.CALL_TODAY if pressing else None)


def _kept_running(history: History, night: JudgedNight) -> bool | None:
    return not _failed_supply(night)


POWER_OR_WATER = Rule(
    key="power_or_water",
    title=_("Power or water failed"),
    about=_("failures of power and water"),
    family=Family.PROCESS,
    urgency=Urgency.THIS_WEEK,
    see=_see_failure,
    say=lambda seen: gettext("Power or water failed %(when)s, as the patient wrote.") % {"when": when(seen.evidence)},
    limits=("delivered_once",),
    source=PRACTICE,
    limit_words=lambda seen: gettext("each time; today when it comes again or cuts the treatment short"),
    reads=frozenset({"events", "numbers"}),
    over=over_without(4),
    passed=passed_after(4, _kept_running, "without"),
    not_judged=still_open,
)

RULES = (
    *(MISSING, LEFT_OUT, LATE, UNFINISHED, CHECK_FAILED, NOT_ACKNOWLEDGED, SUPPLIES, TRAINING, MACHINE_CARE),
    POWER_OR_WATER,
)
