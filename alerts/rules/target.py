"""A target weight that is probably out of date: pressure, symptoms and the weight after drift together.

Somebody who loses flesh and is brought to the same weight carries more fluid: the pressure before climbs although the
weight after is on target. Somebody who gains flesh is brought too low: the pressure falls, with symptoms. Both are
common practice without a published limit; the trends behind them have theirs.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from statistics import median

from alerts.models.choices import Family, Urgency
from alerts.rules.base import History, Night, NotJudged, Rule, Seen
from alerts.rules.drifts import AGAIN, newest, of_point
from alerts.rules.rule_kinds import PRACTICE, of_kind
from dosing.services.trend_of_patient import TrendVerdict
from sessions.models import EventKind

LATEST = 9
"""Nights, about three weeks, over which symptoms and the weight after are looked at (common practice, no source)."""
FELT = (EventKind.HYPOTENSION, EventKind.DIZZY, EventKind.CRAMP)
FEWEST_FELT = 2
NEAR_KG = 1.0
"""[kg] On target within this, in the middle of the latest nights."""


def _latest(history: History) -> list[Night]:
    return history.finished[-LATEST:]


def _off_target(history: History) -> float | None:
    off = [value for night in _latest(history) if (value := night.number("off_target")) is not None]
    return median(off) if off else None


def _felt(history: History) -> int:
    return sum(any(of_kind(night, kind) for kind in FELT) for night in _latest(history))


def _see(history: History, at: datetime) -> Iterator[Seen]:
    verdict, off = history.trends.get("systolic"), _off_target(history)
    held = history.limits.at("target_pressure_shift", at)
    if verdict is None or off is None or not verdict.drifting or abs(verdict.science.shift) < held.value:
        return
    cause, words = _meaning(history, verdict, off)
    if cause:
        evidence = tuple(of_point(point, "systolic") for point in newest(history, "systolic"))
        sentence = f"{verdict.sentence[:1].upper()}{verdict.sentence[1:]}; {words}"
        yield Seen(cause, evidence, held, source=f"{held.source}; {PRACTICE}", sentence=sentence)


def _meaning(history: History, verdict: TrendVerdict, off: float) -> tuple[str, str]:
    """Which way the target is probably wrong, and in words why; ("", "") where the parts do not fit together."""
    moved = _weight_moved(history)
    if verdict.science.direction == "up" and off <= NEAR_KG:
        return "too_high", (
            f"weight after is {abs(off):.1f} kg {'above' if off > 0 else 'below'} target{moved}: "
            "the target weight may be too high by now (flesh lost)."
        )
    felt = _felt(history)
    if verdict.science.direction == "down" and felt >= FEWEST_FELT:
        return "too_low", (
            f"low pressure, dizziness or cramps on {felt} of the last {LATEST} nights{moved}: "
            "the target weight may be too low by now (flesh gained)."
        )
    return "", ""


def _weight_moved(history: History) -> str:
    weight = history.trends.get("post_weight")
    return f", {weight.sentence}" if weight is not None and weight.drifting else ""


def _not_judged(history: History) -> Iterator[NotJudged]:
    verdict = history.trends.get("systolic")
    if verdict is None or verdict.state == "unknown":
        yield NotJudged(None, verdict.why if verdict else "no pressure before treatment was noted")
    elif _off_target(history) is None:
        yield NotJudged(None, "no weight after, or no target, of the latest nights is known")


TARGET = Rule(
    key="target_outdated",
    title="Target weight probably out of date",
    about="target weight against pressure, symptoms and weight after",
    family=Family.FLUID,
    urgency=Urgency.THIS_WEEK,
    see=_see,
    say=lambda seen: seen.sentence,
    limits=("target_pressure_shift",),
    reads=frozenset({"course", "numbers", "events"}),
    nights=AGAIN,
    holds="when weeks of nights bear it out",
    over="when the running mean of the pressure is back well within its limit, or the target is changed",
    replaces=True,
    not_judged=_not_judged,
    advice="Trend information: a reason to examine and to talk. Only the nephrologist changes a target weight.",
)
