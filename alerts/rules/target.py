"""A target weight that is probably out of date: pressure, symptoms and the weight after drift together.

Somebody who loses flesh and is brought to the same weight carries more fluid: the pressure before climbs although the
weight after is on target. Somebody who gains flesh is brought too low: the pressure falls, with symptoms. Both are
common practice without a published limit; the trends behind them have theirs.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from statistics import median
from typing import Any

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from alerts.models.choices import Family, Urgency
from alerts.rules.base import History, JudgedNight, NotJudged, Remark, Rule, Seen
from alerts.rules.drifts import (
    AGAIN,
    drift_parts,
    drift_words,
    evidence_of,
    newest,
    of_point,
    signs_of,
    signs_words,
    uncapital,
    unjudged,
)
from alerts.rules.rule_kinds import NOT_NOTED, PRACTICE, of_kind
from alerts.rules.wording import weight
from dosing.services.night.trend_of_patient import TrendVerdict
from sessions.models import EventKind

LATEST = 9
"""Nights, about three weeks, over which symptoms and the weight after are looked at (common practice, no source)."""
FELT = (EventKind.HYPOTENSION, EventKind.DIZZY, EventKind.CRAMP)
FEWEST_FELT = 2
NEAR_KG = 1.0
"""[kg] On target within this, in the middle of the latest nights."""
NOT_OFF_KG = 0.05
"""[kg] What reads as 0.0 kg."""


def _latest(history: History) -> list[JudgedNight]:
    return history.finished[-LATEST:]


def _off_target(history: History) -> float | None:
    off = [value for night in _latest(history) if (value := night.number("off_target")) is not None]
    return median(off) if off else None


def _felt(history: History) -> int:
    return sum(any(of_kind(night, kind) for kind in FELT) for night in _latest(history))


def _see(history: History, at: datetime) -> Iterator[Seen]:
    verdict, off = history.trends.get("systolic"), _off_target(history)
    held = history.limits.at("target_pressure_shift", at)
    if verdict is None or off is None:
        return
    if not verdict.drifting or abs(verdict.science.shift) < held.value:
        yield from _together(history, off)
        return
    cause, meaning = _meaning(history, verdict, off)
    if cause:
        weight = history.trends.get("post_weight")
        moved = drift_parts("post_weight", weight) if weight is not None and weight.drifting else {}
        evidence = tuple(of_point(point, "systolic") for point in newest(history, "systolic"))
        yield Seen(cause, evidence, held, {"pressure": drift_parts("systolic", verdict), "weight": moved} | meaning)


PRESSURES = ("systolic", "post_systolic", "lowest")


def _together(history: History, off: float) -> Iterator[Seen]:
    """What no pressure says alone, but pressures, weight, symptoms and gain say together."""
    for cause, may_be in (("too_high", off <= NEAR_KG), ("too_low", True)):
        told = history.story(f"target_{cause}")
        if told is not None and told.drifting and may_be and any(key in PRESSURES for key in told.speaking):
            yield Seen(cause, evidence_of(history, told), parts={"signs": signs_of(told)})
            return


def _meaning(history: History, verdict: TrendVerdict, off: float) -> tuple[str, dict[str, Any]]:
    """Which way the target is probably wrong, and why; "" where the parts do not fit together."""
    if verdict.science.direction == "up" and off <= NEAR_KG:
        return "too_high", {"off_kg": off}
    felt = _felt(history)
    if verdict.science.direction == "down" and felt >= FEWEST_FELT:
        return "too_low", {"felt": felt, "of": LATEST}
    return "", {}


def _say(seen: Seen) -> str:
    """What the pressure did, what was seen beside it, and what that may mean for the target weight."""
    if "signs" in seen.parts:
        return _say_together(seen)
    weight = seen.parts["weight"]
    parts = {
        "pressure": drift_words(seen.parts["pressure"]),
        "beside": _beside(seen),
        "weight": f", {uncapital(drift_words(weight))}" if weight else "",
    }
    if seen.cause == "too_high":
        words = gettext("%(pressure)s; %(beside)s%(weight)s: the target weight may be too high by now (flesh lost).")
    else:
        words = gettext("%(pressure)s; %(beside)s%(weight)s: the target weight may be too low by now (flesh gained).")
    return words % parts


def _beside(seen: Seen) -> str:
    if seen.cause == "too_low":
        words = gettext("low pressure, dizziness or cramps on %(felt)d of the last %(of)d nights")
        return words % {"felt": seen.parts["felt"], "of": seen.parts["of"]}
    off = seen.parts["off_kg"]
    amount = {"amount": weight(abs(off))}
    if abs(off) < NOT_OFF_KG:
        return gettext("weight after is on target")
    if off > 0:
        return gettext("weight after is %(amount)s above target") % amount
    return gettext("weight after is %(amount)s below target") % amount


def _say_together(seen: Seen) -> str:
    parts = {"signs": signs_words(seen.parts["signs"])}
    if seen.cause == "too_high":
        return gettext("Together over weeks: %(signs)s: the target weight may be too high by now (flesh lost).") % parts
    return gettext("Together over weeks: %(signs)s: the target weight may be too low by now (flesh gained).") % parts


def _source(seen: Seen) -> str:
    return "; ".join([*([seen.limit.source] if seen.limit else []), str(PRACTICE)])


def _not_judged(history: History) -> Iterator[NotJudged]:
    yield from unjudged(history, "systolic")
    verdict = history.trends.get("systolic")
    if verdict is not None and verdict.state != "unknown" and _off_target(history) is None:
        yield NotJudged(None, Remark("no_weight"))


TARGET = Rule(
    key="target_outdated",
    title=_("Target weight probably out of date"),
    about=_("target weight against pressure, symptoms and weight after"),
    family=Family.FLUID,
    urgency=Urgency.THIS_WEEK,
    see=_see,
    say=_say,
    source_words=_source,
    limits=("target_pressure_shift",),
    reads=frozenset({"course", "numbers", "events"}),
    nights=AGAIN,
    holds=_("when weeks of nights bear it out"),
    over=_("when the running mean of the pressure is back well within its limit, or the target is changed"),
    replaces=True,
    not_judged=_not_judged,
    reasons={
        NOT_NOTED: _("no pressure before treatment was noted"),
        "no_weight": _("no weight after, or no target, of the latest nights is known"),
    },
    advice=_("Trend information: a reason to examine and to talk. Only the nephrologist changes a target weight."),
)
