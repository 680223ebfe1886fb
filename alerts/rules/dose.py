"""Dose: treatments cut short or left out, the weekly standard Kt/V, slow blood, and a falling clearance."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta

from django.utils.translation import gettext, ngettext_lazy
from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from alerts.models.choices import Family, Urgency
from alerts.rules.base import (
    Evidence,
    History,
    JudgedNight,
    NotJudged,
    Remark,
    Rule,
    Seen,
    numbers_seen,
    often,
    where_unknown,
)
from alerts.rules.drifts import drifting
from alerts.rules.evidence_kinds import PERCENT, shown
from alerts.rules.missing import asked_for, ordered_on
from alerts.rules.rule_kinds import Read, ValueRead, of_night, outside, over_inside, passed_after, unknown_number
from alerts.rules.sentences import values_of
from alerts.rules.wording import figure, later, when
from dosing.science.fluid import blood_processed_share
from dosing.science.guidance import GuidedSchedule, schedule_of
from dosing.services.night.catalogue import NIGHT_NUMBERS
from sessions.models import Prescription


def shortened(history: History, name: str, night: JudgedNight) -> bool:
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
    shares = values_of(seen.evidence)
    parts = {"share": figure(min(shares), ".0f", PERCENT), "when": when(seen.evidence)}
    if len(shares) > 1:
        return gettext("Treatment shortened to %(share)s of the prescribed time at worst, %(when)s.") % parts
    return gettext("Treatment shortened to %(share)s of the prescribed time %(when)s.") % parts


def _long_enough(history: History, night: JudgedNight) -> bool | None:
    return None if night.number("delivered") is None else not shortened(history, "delivered", night)


CUT_SHORT_BY = (
    "needle_dislodged", "air_in_line", "hard_bleeding", "fainted", "chest_pain", "breathless", "fever", "infiltration",
    "clotting", "blood_leak", "power_or_water",
)  # fmt: skip
"""What ends a treatment and calls by itself: the length of that night is no second call."""
SHORT = Rule(
    key="short",
    title=_("Treatment cut short"),
    about=_("length"),
    family=Family.DOSE,
    urgency=Urgency.THIS_WEEK,
    see=_short,
    say=_say_short,
    limits=("delivered", "delivered_once"),
    reads=frozenset({"numbers"}),
    holds=_("on 2 of 3 treatments, or once by half"),
    part_of=CUT_SHORT_BY,
    joins=CUT_SHORT_BY,
    over=over_inside(3),
    passed=passed_after(3, _long_enough),
    not_judged=where_unknown("delivered"),
)

FOUR_WEEKS = timedelta(weeks=4)


LEAST_IN_TREATMENT = 14
"""Days in treatment of the four weeks from which their number of treatments says something."""


def _days_in_treatment(history: History, last: date) -> list[date]:
    """The days of the four weeks up to this one on which nobody was in hospital or away."""
    days = [last - timedelta(days=back) for back in range(FOUR_WEEKS.days)]
    absent = history.absent(days)
    return [each for each in days if each not in absent]


def _prescribed(history: History, at: datetime) -> float | None:
    """Treatments that the prescriptions ask for in the days in treatment of the last four weeks.

    None where a day had no prescription, or too few days are left.
    """
    last = at.astimezone(history.zone).date() - timedelta(days=1)
    ordered = [ordered_on(history, each) for each in _days_in_treatment(history, last)]
    if history.patient.left_on or not _records_since(history, last - FOUR_WEEKS) or len(ordered) < LEAST_IN_TREATMENT:
        return None
    return sum(found.days_per_week for found in ordered if found) / 7 if all(ordered) else None


def _records_since(history: History, day: date) -> bool:
    """Whether records had begun to come by then: who starts with the app has not left treatments out."""
    nights = [night.record.night for night in history.nights]
    first = min([*nights, *([history.night_before] if history.night_before else [])], default=None)
    return first is not None and first <= day


def _few(history: History, at: datetime) -> Iterator[Seen]:
    """The treatments of four weeks against those prescribed; a day whose record is asked for is told by that."""
    last = at.astimezone(history.zone).date() - timedelta(days=1)
    wanted = _prescribed(history, at)
    limit = history.limits.at("treatments", at)
    done = [night for night in history.nights if last - FOUR_WEEKS < night.record.night <= last]
    asked = [each for each in asked_for(history, at) if last - FOUR_WEEKS < each <= last]
    if not wanted or 100 * (len(done) + len(asked)) / wanted >= limit.value:
        return
    # The evidence is of the week, so that it stays the same thing while the week lasts.
    week = last - timedelta(days=last.weekday())
    counted = {"done": len(done), "wanted": wanted}
    evidence = Evidence(
        kind="share.treatments",
        at=datetime.combine(week, datetime.min.time(), history.zone) + timedelta(hours=12),
        day=week,
        value=100 * len(done) / wanted,
        limit=limit.value,
        parts=counted,
    )
    yield Seen("treatments", (evidence,), limit)


def _say_few(seen: Seen) -> str:
    newest = seen.evidence[-1]
    parts = dict(newest.parts) | {
        "wanted": figure(newest.parts["wanted"]),
        "share": figure(shown(newest), unit=PERCENT),
    }
    return str(FEW % parts)


FEW = ngettext_lazy(
    "%(done)d treatment in four weeks where %(wanted)s are prescribed, %(share)s.",
    "%(done)d treatments in four weeks where %(wanted)s are prescribed, %(share)s.",
    "done",
)


def _count_unknown(history: History) -> Iterator[NotJudged]:
    if not history.prescriptions:
        yield NotJudged(None, Remark("none_prescribed"))


FEWER_TREATMENTS = Rule(
    key="fewer_treatments",
    title=_("Fewer treatments than prescribed"),
    about=_("number of treatments"),
    family=Family.DOSE,
    urgency=Urgency.AT_REVIEW,
    see=_few,
    say=_say_few,
    limits=("treatments",),
    holds=_("over four weeks"),
    over=_("when four weeks have enough again"),
    replaces=True,
    not_judged=_count_unknown,
    reasons={"none_prescribed": _("no prescription says how many treatments are due")},
    by_time=True,
    part_of=("missing",),
)


def _schedule(night: JudgedNight) -> GuidedSchedule | None:
    """By which row of guidance the dose of a night is judged."""
    return schedule_of(night.prescription.days_per_week if night.prescription else None, night.number("kidney"))


def _dose(
    key: str, schedule: GuidedSchedule, *, limit: str, title: StrOrPromise, what: StrOrPromise, numbers: tuple[str, ...]
) -> Rule:
    """A dose under its limit, on the nights of patients whom this row of guidance is for.

    numbers: the first of them that is known is judged; where none is, why the first is not.
    """
    number = numbers[0]

    def known(night: JudgedNight) -> str | None:
        return next((each for each in numbers if night.number(each) is not None), None)

    def read(night: JudgedNight) -> Iterator[ValueRead]:
        found = known(night)
        if found and _schedule(night) == schedule:
            yield from of_night(found)(night)

    def not_judged(history: History) -> Iterator[NotJudged]:
        mine = [night for night in history.finished if _schedule(night) in (schedule, None)]
        return (NotJudged(night, night.why_unknown(number)) for night in mine if known(night) is None)

    rule = outside(
        key,
        title=title,
        about=later(lambda: NIGHT_NUMBERS[number].label),
        family=Family.DOSE,
        urgency=Urgency.AT_REVIEW,
        read=read,
        limits=(limit,),
        over=False,
        over_after=1,
        what=what,
        form=".2f",
        missing=unknown_number(number),
    )
    return replace(rule, not_judged=not_judged)


SINGLE_POOL_NUMBERS = ("single_pool_ktv",)
WEEKLY_NUMBERS = ("standard_ktv_kidney", "fitted_week_kidney")
"""Where the logarithm refuses, after long nights of small people, the fit to the course says the dose."""
SINGLE_POOL = _dose(
    "single_pool_ktv",
    GuidedSchedule.THREE_A_WEEK,
    limit="single_pool_ktv",
    title=_("Dose of a treatment short"),
    what=_("Single-pool Kt/V of one of three treatments a week"),
    numbers=SINGLE_POOL_NUMBERS,
)
WEEKLY_KTV = _dose(
    "weekly_ktv",
    GuidedSchedule.OTHER,
    limit="weekly_ktv",
    title=_("Weekly dose short"),
    what=_("Weekly standard Kt/V, with the kidney,"),
    numbers=WEEKLY_NUMBERS,
)


def _of_prescribed(key: str, share: Callable[[JudgedNight, Prescription, float], float | None]) -> Read:
    """The share [1] that a computed number is of what the prescription in force asks for, as per cent."""

    def read(night: JudgedNight) -> Iterator[ValueRead]:
        number, ordered = night.number(key), night.prescription
        found = share(night, ordered, number) if night.finished and ordered and number is not None else None
        if found is not None:
            yield ValueRead(f"share.{key}", night.record.started_at, 100 * found)

    return read


def _without_prescription(key: str) -> Callable[[JudgedNight], Remark]:
    """Why there is no share of what is prescribed: no prescription, or the number itself is unknown."""
    return lambda night: Remark("no_prescription") if night.prescription is None else night.why_unknown(key)


def _share_of_volume(night: JudgedNight, ordered: Prescription, processed_l: float) -> float | None:
    """Of what the prescribed flow gives in the time that was run."""
    minutes = night.record.minutes
    if minutes is None:
        return None
    return blood_processed_share(processed_l=processed_l, flow_ml_min=ordered.qb_ml_min, minutes=minutes).number


def _share_of_flow(night: JudgedNight, ordered: Prescription, flow_ml_min: float) -> float:
    wanted: float = ordered.qb_ml_min
    return flow_ml_min / wanted


BLOOD_PROCESSED = outside(
    "blood_processed",
    title=_("Less blood processed than prescribed"),
    about=_("blood processed"),
    family=Family.DOSE,
    urgency=Urgency.AT_REVIEW,
    read=_of_prescribed("blood_processed", _share_of_volume),
    limits=("blood_processed",),
    over=False,
    hold=(2, 3),
    what=_("Blood processed, of what the prescribed flow gives,"),
    missing=_without_prescription("blood_processed"),
    part_of=("blood_flow", "short"),
    joins=("blood_flow", "short"),
)


BLOOD_FLOW = outside(
    "blood_flow",
    title=_("Blood flow below prescription"),
    about=_("blood flow"),
    family=Family.DOSE,
    urgency=Urgency.AT_REVIEW,
    read=_of_prescribed("blood_flow_median", _share_of_flow),
    limits=("blood_flow",),
    over=False,
    hold=(2, 3),
    what=_("Blood flow, of prescribed,"),
    missing=_without_prescription("blood_flow_median"),
    part_of=("short",),
    joins=("short",),
)

DRIFT_ADVICE = _(
    "Trend information: a reason to examine the access for recirculation, the blood flow really reached, and the "
    "dialyser for clotting; ask too whether the volume set in the machine was changed. Not a finding, and no reason "
    "by itself to change the prescription (common practice, no source)."
)
DOSE_DRIFT = drifting(
    "dose_drift",
    series="clearance",
    title=_("Clearance by the machine falling"),
    family=Family.DOSE,
    urgency=Urgency.THIS_WEEK,
    limit="dose_drift",
    part_of=("access_story",),
    joins=("access_story",),
    spoken_with=("access_story", "venous_rise", "arterial_fall", "bleeding_rise"),
    advice=DRIFT_ADVICE,
)
LENGTH_FALL = drifting(
    "length_fall",
    series="length",
    title=_("Treatments getting shorter"),
    family=Family.DOSE,
    urgency=Urgency.THIS_WEEK,
    limit="length_fall",
    part_of=("short",),
    joins=("short",),
    advice=_("Trend information: ask what makes the treatments end earlier (common practice, no source)."),
)

RULES = (SHORT, FEWER_TREATMENTS, SINGLE_POOL, WEEKLY_KTV, BLOOD_PROCESSED, BLOOD_FLOW, DOSE_DRIFT, LENGTH_FALL)
