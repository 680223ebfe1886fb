"""Dose: treatments cut short or left out, the weekly standard Kt/V, slow blood, and a falling clearance."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, timedelta

from alerts.models.choices import Family, Urgency
from alerts.rules.base import Evidence, History, Night, NotJudged, Rule, Seen, numbers_seen, often, where_unknown
from alerts.rules.drifts import drifting
from alerts.rules.missing import ordered_on
from alerts.rules.rule_kinds import Look, of_night, outside, passed_after, unknown_number
from alerts.rules.wording import when


def shortened(history: History, name: str, night: Night) -> bool:
    """Whether less of the prescribed time was delivered than the limit of this name asks for."""
    share = night.shown("delivered")
    return share is not None and share < history.limit(name, night).value


def _short(history: History, at: datetime) -> Iterator[Seen]:
    known = [night for night in history.finished if night.number("delivered") is not None]
    often_short = often(2, 3, known, lambda night: shortened(history, "delivered", night))
    much_shorter = [night for night in known if shortened(history, "delivered_once", night)]
    nights = [night for night in known if night in often_short or night in much_shorter]
    return numbers_seen(history, nights, "delivered", limit="delivered", cause="short")


def _say_short(seen: Seen) -> str:
    shares = [item.value for item in seen.evidence if item.value is not None]
    at_worst = " at worst," if len(shares) > 1 else ""
    return f"Treatment shortened to {min(shares):.0f} % of the prescribed time{at_worst} {when(seen.evidence)}."


def _long_enough(history: History, night: Night) -> bool | None:
    return None if night.number("delivered") is None else not shortened(history, "delivered", night)


SHORT = Rule(
    key="short",
    title="Treatment cut short",
    about="length",
    family=Family.DOSE,
    urgency=Urgency.THIS_WEEK,
    see=_short,
    say=_say_short,
    limits=("delivered", "delivered_once"),
    reads=frozenset({"numbers"}),
    holds="on 2 of 3 treatments, or once by much",
    over="after 3 treatments inside",
    passed=passed_after(3, _long_enough),
    not_judged=where_unknown("delivered"),
)

FOUR_WEEKS = timedelta(weeks=4)


def _prescribed(history: History, at: datetime) -> float | None:
    """Treatments that the prescriptions of the last four weeks ask for; None where a day had none."""
    last = at.astimezone(history.zone).date() - timedelta(days=1)
    ordered = [ordered_on(history, last - timedelta(days=back)) for back in range(FOUR_WEEKS.days)]
    if history.patient.left_on or not _records_since(history, last - FOUR_WEEKS):
        return None
    return sum(found.days_per_week for found in ordered if found) / 7 if all(ordered) else None


def _records_since(history: History, day: date) -> bool:
    """Whether records had begun to come by then: who starts with the app has not left treatments out."""
    nights = [night.record.night for night in history.nights]
    first = min([*nights, *([history.night_before] if history.night_before else [])], default=None)
    return first is not None and first <= day


def _few(history: History, at: datetime) -> Iterator[Seen]:
    """The treatments of four weeks against those prescribed."""
    last = at.astimezone(history.zone).date() - timedelta(days=1)
    wanted = _prescribed(history, at)
    limit = history.limits.at("treatments", at)
    done = [night for night in history.nights if last - FOUR_WEEKS < night.record.night <= last]
    if not wanted or 100 * len(done) / wanted >= limit.value:
        return
    share = round(100 * len(done) / wanted)
    words = f"{len(done)} of {wanted:g} prescribed"
    # The evidence is of the week, so that it stays the same thing while the week lasts.
    week = last - timedelta(days=last.weekday())
    noon = datetime.combine(week, datetime.min.time(), history.zone) + timedelta(hours=12)
    yield Seen(
        "treatments",
        (Evidence(noon, week, "Treatments in four weeks", share, "%", limit.value, words),),
        limit,
        sentence=f"{len(done)} treatments in four weeks where {wanted:g} are prescribed, {share} %.",
    )


def _count_unknown(history: History) -> Iterator[NotJudged]:
    if not history.prescriptions:
        yield NotJudged(None, "no prescription says how many treatments are due")


FEWER_TREATMENTS = Rule(
    key="fewer_treatments",
    title="Fewer treatments than prescribed",
    about="number of treatments",
    family=Family.DOSE,
    urgency=Urgency.AT_REVIEW,
    see=_few,
    say=lambda seen: seen.sentence,
    limits=("treatments",),
    holds="over four weeks",
    over="when four weeks have enough again",
    replaces=True,
    not_judged=_count_unknown,
    by_time=True,
    part_of=("missing",),
)

WEEKLY_KTV = outside(
    "weekly_ktv",
    title="Weekly dose short",
    about="weekly standard Kt/V",
    family=Family.DOSE,
    urgency=Urgency.AT_REVIEW,
    read=of_night("standard_ktv"),
    limits=("weekly_ktv",),
    over=False,
    over_after=1,
    what="Weekly standard Kt/V, kidney not counted,",
    form=".2f",
    missing=unknown_number("standard_ktv"),
)


def _share_processed(night: Night) -> Iterator[Look]:
    """Blood processed of what the prescribed flow gives in the time that was run."""
    ordered, minutes, litres = night.prescription, night.record.minutes, night.number("blood_processed")
    if night.finished and ordered and minutes and litres is not None:
        share = round(100 * litres / (ordered.qb_ml_min / 1000 * minutes))
        yield Look(night.record.started_at, "Blood processed, of prescribed flow times time", share, "%")


def _processed_unknown(night: Night) -> str:
    return "no prescription was in force" if night.prescription is None else night.why_unknown("blood_processed")


BLOOD_PROCESSED = outside(
    "blood_processed",
    title="Less blood processed than prescribed",
    about="blood processed",
    family=Family.DOSE,
    urgency=Urgency.AT_REVIEW,
    read=_share_processed,
    limits=("blood_processed",),
    over=False,
    hold=(2, 3),
    what="Blood processed, of what the prescribed flow gives,",
    missing=_processed_unknown,
    part_of=("blood_flow", "short"),
)


def _share_of_flow(night: Night) -> Iterator[Look]:
    flow, ordered = night.number("blood_flow_median"), night.prescription
    if night.finished and ordered and flow is not None:
        share = round(100 * flow / ordered.qb_ml_min)
        yield Look(night.record.started_at, "Blood flow, of prescribed", share, "%")


def _flow_unknown(night: Night) -> str:
    return "no prescription was in force" if night.prescription is None else night.why_unknown("blood_flow_median")


BLOOD_FLOW = outside(
    "blood_flow",
    title="Blood flow below prescription",
    about="blood flow",
    family=Family.DOSE,
    urgency=Urgency.AT_REVIEW,
    read=_share_of_flow,
    limits=("blood_flow",),
    over=False,
    hold=(2, 3),
    what="Blood flow, of prescribed,",
    missing=_flow_unknown,
)

DRIFT_ADVICE = (
    "Trend information: a reason to examine the access for recirculation, the blood flow really reached, and the "
    "dialyser for clotting; ask too whether the volume set in the machine was changed. Not a finding, and no reason "
    "by itself to change the prescription (common practice, no source)."
)
DOSE_DRIFT = drifting(
    "dose_drift",
    series="clearance",
    title="Clearance by the machine falling",
    family=Family.DOSE,
    urgency=Urgency.THIS_WEEK,
    limit="dose_drift",
    advice=DRIFT_ADVICE,
)

RULES = (SHORT, FEWER_TREATMENTS, WEEKLY_KTV, BLOOD_PROCESSED, BLOOD_FLOW, DOSE_DRIFT)
