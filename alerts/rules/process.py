"""Records and what stands around them: missing, late, unfinished, overruled; prescriptions read; supplies; training."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from alerts.models.choices import Family, Urgency
from alerts.rules.base import Evidence, History, Night, NotJudged, Rule, Seen
from alerts.rules.dose import shortened
from alerts.rules.duties import ANY_TIME, not_around, overdue
from alerts.rules.missing import MISSING
from alerts.rules.rule_kinds import PRACTICE, Look, event_evidence, outside, passed_after, still_open
from alerts.rules.wording import day, when
from sessions.models import Check, EventKind, Prescription
from sessions.services.stock import Stock
from sessions.texts.checklist import name_of

HOUR = timedelta(hours=1)
SOON = 2
"""Days of cover from which supplies want a call today (common practice, no source)."""


def _lateness(night: Night) -> Iterator[Look]:
    record = night.record
    if record.ended_at and record.finished_at:
        hours = round(max(0.0, (record.finished_at - record.ended_at) / HOUR))
        yield Look(record.started_at, "Hours from the end to the record", hours, "h")


LATE = outside(
    "late",
    title="Records come late",
    about="how soon the record came",
    family=Family.PROCESS,
    urgency=Urgency.AT_REVIEW,
    read=_lateness,
    limits=("late_hours",),
    hold=(2, 3),
    what="Record handed over after",
    missing="the end of the treatment was not noted",
    reads="",
)


def _open_too_long(history: History, at: datetime) -> Iterator[Seen]:
    held = history.limits.at("unfinished_hours", at)
    nights = [
        night for night in history.nights if not night.finished and at - night.record.started_at > held.value * HOUR
    ]
    if nights:
        evidence = tuple(
            Evidence(night.record.started_at, night.record.night, "Record not handed over", record=str(night.record.pk))
            for night in nights
        )
        yield Seen("unfinished", evidence, held)


def _no_record_at_all(history: History) -> Iterator[NotJudged]:
    if not history.nights:
        yield NotJudged(None, "no record has come in this time")


UNFINISHED = Rule(
    key="unfinished",
    title="Record not handed over",
    about="records that were begun and not handed over",
    family=Family.PROCESS,
    urgency=Urgency.THIS_WEEK,
    see=_open_too_long,
    say=lambda seen: f"A record was begun and not handed over {when(seen.evidence)}.",
    limits=("unfinished_hours",),
    over="when it is handed over",
    not_judged=_no_record_at_all,
    by_time=True,
)


def _failed(night: Night) -> list[Check]:
    return [check for check in night.checks if not check.passed]


def _see_overruled(history: History, at: datetime) -> Iterator[Seen]:
    evidence = tuple(
        Evidence(
            check.at or night.record.started_at,
            night.record.night,
            name_of(check.key, night.record.checklist_version, check.name),
            check.value,
            check.unit,
            words=f"overruled: {check.reason}" if check.overruled else check.note or "failed",
            record=str(night.record.pk),
        )
        for night in history.nights
        for check in _failed(night)
    )
    if evidence:
        yield Seen("check_failed", evidence, limit_words="each time", source=PRACTICE)


def _say_overruled(seen: Seen) -> str:
    newest = seen.evidence[-1]
    return f"A check failed and the treatment was begun {when(seen.evidence)}: {newest.label}, {newest.words}."


def _no_checks(history: History) -> Iterator[NotJudged]:
    without = [night for night in history.finished if not night.checks]
    if without and len(without) == len(history.finished):
        yield NotJudged(None, "no check was noted")
        return
    yield from (NotJudged(night, "no check was noted") for night in without)


CHECK_FAILED = Rule(
    key="check_failed",
    title="Begun although a check failed",
    about="checks before the treatment",
    family=Family.PROCESS,
    urgency=Urgency.THIS_WEEK,
    see=_see_overruled,
    say=_say_overruled,
    source=PRACTICE,
    reads=frozenset({"checks"}),
    not_judged=_no_checks,
    part_of=("chlorine", "access_check"),
)


def _in_force(history: History, at: datetime) -> Prescription | None:
    return next((found for found in history.prescriptions if at in found.in_force), None)


def _not_read(history: History, at: datetime) -> Iterator[Seen]:
    """A changed prescription that nobody at the bedside has acknowledged in time."""
    ordered = _in_force(history, at)
    if ordered is None or history.around is None or ordered.version == 1 or _why_not_told(history):
        return
    held = history.limits.at("acknowledge_hours", at)
    begins = max(ordered.signed_at, ordered.in_force.lower)
    if ordered.pk in history.around.acknowledged or at - begins <= held.value * HOUR:
        return
    on = begins.astimezone(history.zone).date()
    yield Seen(
        "not_acknowledged",
        (Evidence(begins, on, f"Prescription {ordered.version}", words="not acknowledged at the bedside"),),
        held,
        sentence=f"Prescription {ordered.version}, in force since {day(on)}, was not acknowledged at the bedside.",
    )


def _why_not_told(history: History) -> str:
    """Where the records never say which prescription the phone had, an acknowledgement cannot be looked for."""
    if not history.prescriptions:
        return "no prescription is there"
    told = any(night.record.prescription_version is not None for night in history.nights)
    return "" if told else "the records do not say which prescription the phone had"


def _unread_unknown(history: History) -> Iterator[NotJudged]:
    why = _why_not_told(history)
    if why:
        yield NotJudged(None, why)


NOT_ACKNOWLEDGED = Rule(
    key="not_acknowledged",
    title="Changed prescription not acknowledged",
    about="whether a changed prescription was read",
    family=Family.PROCESS,
    urgency=Urgency.THIS_WEEK,
    see=_not_read,
    say=lambda seen: seen.sentence,
    limits=("acknowledge_hours",),
    over="when it is acknowledged",
    not_judged=_unread_unknown,
    by_time=True,
)


def _short(history: History) -> list[Stock]:
    return [each for each in history.around.stock if each.short] if history.around else []


def _see_stock(history: History, at: datetime) -> Iterator[Seen]:
    """Every item that lasts shorter than the unit's list wants; the day is that of the count, which stands for it."""
    items = sorted(_short(history), key=lambda each: (each.counted_at or at, each.item.name))
    if items:
        least = min(items, key=lambda each: each.days or 0)
        yield Seen(
            "supplies",
            tuple(_stock_evidence(history, each) for each in items),
            limit_words=f"{least.item.cover_days} days of cover ({least.item.name})",
            source="the unit's list of supplies",
            urgency=Urgency.CALL_TODAY if (least.days or 0) <= SOON and not least.expected else None,
            sentence="; ".join(_stock_words(each) for each in items) + ".",
        )


def _stock_evidence(history: History, each: Stock) -> Evidence:
    assert each.counted_at is not None  # what was never counted is not short, it is unknown
    on = each.counted_at.astimezone(history.zone).date()
    return Evidence(each.counted_at, on, each.item.name, words=_stock_words(each))


def _stock_words(each: Stock) -> str:
    coming = ""
    if each.expected and each.expected.expected_on:
        coming = f", {each.expected.count} expected on {day(each.expected.expected_on)}"
    return f"{each.item.name} for {each.days} days where {each.item.cover_days} are wanted{coming}"


def _never_counted(history: History) -> Iterator[NotJudged]:
    if history.around is None:
        yield NotJudged(None, "supplies were not looked at")
    elif not history.around.stock:
        yield NotJudged(None, "the unit's list of supplies is empty")
    else:
        for each in history.around.stock:
            if each.days is None:
                yield NotJudged(None, f"{each.item.name}: {each.why}")


SUPPLIES = Rule(
    key="supplies",
    title="Supplies run short",
    about="days that supplies last",
    family=Family.PROCESS,
    urgency=Urgency.THIS_WEEK,
    see=_see_stock,
    say=lambda seen: seen.sentence,
    source="the unit's list of supplies",
    looks_back=ANY_TIME,
    over="when the next count or delivery is enough",
    replaces=True,
    not_judged=_never_counted,
    by_time=True,
)

TRAINING = overdue(
    "training_overdue",
    kinds=frozenset({"training"}),
    limit="due_days",
    title="Training is due again",
    about="training that is due again",
    family=Family.PROCESS,
    urgency=Urgency.AT_REVIEW,
    unknown=lambda history: not_around(history, frozenset({"training"}), "no training with a day to repeat is noted"),
)
MACHINE_CARE = overdue(
    "care_overdue",
    kinds=frozenset({"disinfection", "filter_change", "service"}),
    limit="due_days",
    title="Care of the machine overdue",
    about="care of the machine that is due",
    family=Family.PROCESS,
    urgency=Urgency.THIS_WEEK,
    unknown=lambda history: not_around(
        history, frozenset({"disinfection", "filter_change", "service"}), "no machine at home is noted"
    ),
)

FAILURES = (EventKind.POWER_FAILURE, EventKind.WATER_FAILURE)
"""One card at the bedside notes both, so one rule hears of both."""


def _failed_supply(night: Night) -> list[Evidence]:
    return [each for kind in FAILURES for each in event_evidence(night, kind)]


def _see_failure(history: History, at: datetime) -> Iterator[Seen]:
    """Each time; today when it comes again or cuts the treatment short: the home cannot be relied on then."""
    struck = [(night, seen) for night in history.nights if (seen := _failed_supply(night))]
    if struck:
        evidence = tuple(each for _night, seen in struck for each in seen)
        pressing = len(struck) > 1 or shortened(history, "delivered_once", struck[-1][0])
        yield Seen(
            "power_or_water",
            evidence,
            limit_words="each time; today when it comes again or cuts the treatment short",
            source=PRACTICE,
            urgency=Urgency.CALL_TODAY if pressing else None,
        )


def _kept_running(history: History, night: Night) -> bool | None:
    return not _failed_supply(night)


POWER_OR_WATER = Rule(
    key="power_or_water",
    title="Power or water failed",
    about="failures of power and water",
    family=Family.PROCESS,
    urgency=Urgency.THIS_WEEK,
    see=_see_failure,
    say=lambda seen: f"Power or water failed {when(seen.evidence)}, as the patient wrote.",
    limits=("delivered_once",),
    source=PRACTICE,
    reads=frozenset({"events", "numbers"}),
    over="after 4 treatments without",
    passed=passed_after(4, _kept_running, "Not noted"),
    not_judged=still_open,
)

RULES = (
    *(MISSING, LATE, UNFINISHED, CHECK_FAILED, NOT_ACKNOWLEDGED, SUPPLIES, TRAINING, MACHINE_CARE),
    POWER_OR_WATER,
)
