"""Fluid and weight: how fast it came off, and whether the weight after is near the target."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from alerts.choices import Urgency
from alerts.limits import LimitInForce
from alerts.rules.base import Evidence, History, Night, Rule, Seen, numbers_seen, of_number, runs_of, where_unknown
from alerts.rules.wording import beyond, when


def _fast(history: History, at: datetime) -> Iterator[Seen]:
    def over(night: Night) -> bool:
        rate = night.shown("uf_rate")
        return rate is not None and rate > history.limit("uf_rate", night).value

    nights = [night for night in history.finished if over(night)]
    return numbers_seen(history, nights, "uf_rate", limit="uf_rate", cause="uf_rate")


UF_RATE = Rule(
    key="uf_rate",
    title="UF rate over its limit",
    about="UF rate",
    urgency=Urgency.THIS_WEEK,
    see=_fast,
    say=lambda seen: beyond(seen, what="UF rate", worst=max, form=".1f"),
    not_judged=where_unknown("uf_rate"),
)


def _over_line(history: History, at: datetime) -> Iterator[Seen]:
    """Against a share of the published line, where the unit has chosen to judge by it."""
    evidence: list[Evidence] = []
    newest: LimitInForce | None = None
    for night in history.finished:
        held, line, rate = (
            history.limit("uf_rate_line", night),
            night.number("uf_rate_by_weight"),
            night.shown("uf_rate"),
        )
        if not held.value or line is None or rate is None:
            continue
        limit = round(held.value / 100 * line, 1)
        if rate > limit:
            evidence.append(of_number(night, "uf_rate", limit=limit))
            newest = held
    if newest:
        words = f"{newest.value:g} % of the line that grows with weight"
        yield Seen("uf_rate_line", tuple(evidence), limit_words=words, source=newest.source)


def _say_over_line(seen: Seen) -> str:
    figure = beyond(seen, what="UF rate", worst=max, form=".1f")
    return f"{figure.removesuffix('.')}, over {seen.limit_words}."


UF_RATE_LINE = Rule(
    key="uf_rate_line",
    title="UF rate over the line that grows with weight",
    about="UF rate",
    urgency=Urgency.THIS_WEEK,
    see=_over_line,
    say=_say_over_line,
)


def _allowed(history: History, night: Night) -> float:
    """How far the weight after may be off target [kg]: one kilogram, or two per cent where that is less."""
    prescription = night.prescription
    in_kg = history.limit("off_target_kg", night).value
    if prescription is None:
        return in_kg
    return min(in_kg, history.limit("off_target_percent", night).value / 100 * prescription.target_weight_kg)


def _off_target(history: History, at: datetime) -> Iterator[Seen]:
    known = [night for night in history.finished if night.number("off_target") is not None]
    for cause, side in (("above", 1), ("below", -1)):

        def off(night: Night, side: int = side) -> bool:
            return side * (night.shown("off_target") or 0) > _allowed(history, night)

        nights = runs_of(2, known, off)
        if nights:
            yield _seen_off_target(history, nights, cause)


def _seen_off_target(history: History, nights: list[Night], cause: str) -> Seen:
    evidence = tuple(of_number(night, "off_target", limit=round(_allowed(history, night), 2)) for night in nights)
    in_kg, percent = (history.limit(name, nights[-1]) for name in ("off_target_kg", "off_target_percent"))
    return Seen(cause, evidence, in_kg, limit_words=f"{in_kg.words} or {percent.words}, twice running")


def _say_off_target(seen: Seen) -> str:
    values = [item.value or 0 for item in seen.evidence]
    farthest = max(values, key=abs)
    return (
        f"Weight after treatment {abs(farthest):.1f} kg {seen.cause} target {when(seen.evidence)}, "
        "more than once running."
    )


OFF_TARGET = Rule(
    key="off_target",
    title="Weight after is off target",
    about="weight after",
    urgency=Urgency.THIS_WEEK,
    see=_off_target,
    say=_say_off_target,
    nights=2,
    not_judged=where_unknown("off_target"),
)

RULES = (UF_RATE, UF_RATE_LINE, OFF_TARGET)
