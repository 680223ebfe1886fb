"""Fluid and weight: how fast and how much came off, what was gained, and whether the weight after is near target."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from alerts.limits.book import LimitInForce
from alerts.models.choices import Family, Urgency
from alerts.rules.base import (
    SPOKEN_OF,
    Evidence,
    History,
    JudgedNight,
    NotJudged,
    Rule,
    Seen,
    of_number,
    runs_of,
    where_unknown,
)
from alerts.rules.drifts import drifting
from alerts.rules.evidence_kinds import PERCENT, unit_of
from alerts.rules.rule_kinds import of_night, outside, over_inside, passed_after, unknown_number
from alerts.rules.sentences import values_of
from alerts.rules.target import TARGET
from alerts.rules.wording import days_of, figure, weight, when

UF_RATE = outside(
    "uf_rate",
    title=_("UF rate over its limit"),
    about=_("UF rate"),
    family=Family.FLUID,
    urgency=Urgency.THIS_WEEK,
    read=of_night("uf_rate"),
    limits=("uf_rate",),
    what=_("UF rate"),
    form=".1f",
    missing=unknown_number("uf_rate"),
    rests=SPOKEN_OF,
)


def _over_the_line(history: History, night: JudgedNight) -> tuple[float, LimitInForce] | None:
    """The limit [mL/kg/h] that the line gives for this night, where the unit has chosen to judge by it."""
    held, line = history.limit("uf_rate_line", night), night.number("uf_rate_by_weight")
    return (round(held.value / 100 * line, 1), held) if held.value and line is not None else None


def _inside_the_line(history: History, night: JudgedNight) -> bool | None:
    allowed, rate = _over_the_line(history, night), night.shown("uf_rate")
    return None if allowed is None or rate is None else rate <= allowed[0]


def _see_over_line(history: History, at: datetime) -> Iterator[Seen]:
    evidence: list[Evidence] = []
    newest: LimitInForce | None = None
    for night in history.finished:
        allowed = _over_the_line(history, night)
        if allowed and _inside_the_line(history, night) is False:
            evidence.append(of_number(night, "uf_rate", limit=allowed[0]))
            newest = allowed[1]
    if newest:
        yield Seen("uf_rate_line", tuple(evidence), newest)


def _of_the_line(seen: Seen) -> str:
    parts = {"limit": seen.limit.words if seen.limit else ""}
    return gettext("%(limit)s of the line that grows with weight") % parts


def _say_over_line(seen: Seen) -> str:
    parts = {
        "rate": figure(max(values_of(seen.evidence)), ".1f", unit_of(seen.evidence[-1])),
        "when": when(seen.evidence),
        "limit": _of_the_line(seen),
    }
    if len(days_of(seen.evidence)) > 1:
        return gettext("UF rate %(rate)s at worst, %(when)s, over %(limit)s.") % parts
    return gettext("UF rate %(rate)s %(when)s, over %(limit)s.") % parts


def _line_unknown(history: History) -> Iterator[NotJudged]:
    for night in history.finished:
        if history.limit("uf_rate_line", night).value and night.number("uf_rate") is None:
            yield NotJudged(night, night.why_unknown("uf_rate"))


UF_RATE_LINE = Rule(
    key="uf_rate_line",
    title=_("UF rate over the line that grows with weight"),
    about=_("UF rate against the line that grows with weight"),
    family=Family.FLUID,
    urgency=Urgency.THIS_WEEK,
    see=_see_over_line,
    say=_say_over_line,
    limits=("uf_rate_line",),
    limit_words=_of_the_line,
    reads=frozenset({"numbers"}),
    over=over_inside(3),
    passed=passed_after(3, _inside_the_line),
    not_judged=_line_unknown,
    part_of=("uf_rate",),
    joins=("uf_rate",),
    rests=SPOKEN_OF,
)

UF_VOLUME = outside(
    "uf_volume",
    title=_("Much fluid removed"),
    about=_("fluid removed"),
    family=Family.FLUID,
    urgency=Urgency.AT_REVIEW,
    read=of_night("uf_volume"),
    limits=("uf_volume",),
    what=_("Fluid removed"),
    form=".1f",
    hold=(2, 3),
    missing=unknown_number("uf_volume"),
    part_of=("uf_rate",),
    joins=("uf_rate",),
)

GAIN = outside(
    "gain",
    title=_("Much gained between treatments"),
    about=_("gain between treatments"),
    family=Family.FLUID,
    urgency=Urgency.AT_REVIEW,
    read=of_night("gain_percent"),
    limits=("gain_percent",),
    what=_("Gained, of target weight,"),
    form=".1f",
    hold=(3, 6),
    missing=unknown_number("gain_percent"),
    part_of=("uf_rate", "uf_volume"),
    joins=("uf_rate", "uf_volume"),
)


GAIN_RISE = drifting(
    "gain_rise",
    series="gain",
    title=_("Gain between treatments rising"),
    family=Family.FLUID,
    urgency=Urgency.AT_REVIEW,
    limit="gain_rise",
    part_of=("gain", "uf_rate", "uf_volume", "target_outdated"),
    joins=("gain", "target_outdated"),
    advice=_("Trend information: a reason to talk about drinking, salt and what is left of the kidneys' work."),
)


def _allowed(history: History, night: JudgedNight) -> float:
    """How far the weight after may be off target [kg]: one kilogram, or two per cent where that is less."""
    target_kg = night.prescription.target_weight_kg if night.prescription else None
    in_kg, percent = (history.limit(name, night).value for name in ("off_target_kg", "off_target_percent"))
    return allowed_off_target(in_kg, percent, target_kg)


def allowed_off_target(in_kg: float, percent: float, target_kg: float | None) -> float:
    """The narrower of the two limits [kg]; that in kilograms where no target is known."""
    return in_kg if target_kg is None else min(in_kg, percent / 100 * target_kg)


def near_target(history: History, night: JudgedNight) -> bool | None:
    off = night.shown("off_target")
    return None if off is None else abs(off) <= _allowed(history, night)


def _off_target(history: History, at: datetime) -> Iterator[Seen]:
    known = [night for night in history.finished if night.number("off_target") is not None]
    for cause, side in (("above", 1), ("below", -1)):

        def off(night: JudgedNight, side: int = side) -> bool:
            return side * (night.shown("off_target") or 0) > _allowed(history, night)

        nights = runs_of(2, known, off)
        if nights:
            yield _seen_off_target(history, nights, cause)


def _seen_off_target(history: History, nights: list[JudgedNight], cause: str) -> Seen:
    evidence = tuple(of_number(night, "off_target", limit=round(_allowed(history, night), 2)) for night in nights)
    in_kg, percent = (history.limit(name, nights[-1]) for name in ("off_target_kg", "off_target_percent"))
    return Seen(cause, evidence, in_kg, {"percent": percent.value})


def _say_off_target(seen: Seen) -> str:
    parts = {"off": weight(max(map(abs, values_of(seen.evidence)))), "when": when(seen.evidence)}
    if seen.cause == "above":
        return gettext("Weight after treatment %(off)s above target %(when)s, more than once running.") % parts
    return gettext("Weight after treatment %(off)s below target %(when)s, more than once running.") % parts


def _off_target_limit(seen: Seen) -> str:
    parts = {"kg": seen.limit.words if seen.limit else "", "percent": figure(seen.parts["percent"], unit=PERCENT)}
    return gettext("%(kg)s or %(percent)s, twice running") % parts


OFF_TARGET = Rule(
    key="off_target",
    title=_("Weight after is off target"),
    about=_("weight after"),
    family=Family.FLUID,
    urgency=Urgency.THIS_WEEK,
    see=_off_target,
    say=_say_off_target,
    limits=("off_target_kg", "off_target_percent"),
    limit_words=_off_target_limit,
    reads=frozenset({"numbers"}),
    nights=2,
    holds=_("twice running"),
    over=over_inside(3),
    passed=passed_after(3, near_target),
    not_judged=where_unknown("off_target"),
    part_of=("target_outdated",),
    joins=("target_outdated",),
)

RULES = (UF_RATE, UF_RATE_LINE, UF_VOLUME, GAIN, GAIN_RISE, OFF_TARGET, TARGET)
