"""Treatments cut short."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from alerts.choices import Urgency
from alerts.rules.base import History, Night, Rule, Seen, numbers_seen, often, where_unknown
from alerts.rules.wording import when


def _short(history: History, at: datetime) -> Iterator[Seen]:
    def under(name: str, night: Night) -> bool:
        share = night.shown("delivered")
        return share is not None and share < history.limit(name, night).value

    known = [night for night in history.finished if night.number("delivered") is not None]
    often_short = often(2, 3, known, lambda night: under("delivered", night))
    much_shorter = [night for night in known if under("delivered_once", night)]
    nights = [night for night in known if night in often_short or night in much_shorter]
    return numbers_seen(history, nights, "delivered", limit="delivered", cause="short")


def _say(seen: Seen) -> str:
    shares = [item.value for item in seen.evidence if item.value is not None]
    often = " at worst," if len(shares) > 1 else ""
    return f"Treatment shortened to {min(shares):.0f} % of the prescribed time{often} {when(seen.evidence)}."


SHORT = Rule(
    key="short",
    title="Treatment cut short",
    about="length",
    urgency=Urgency.THIS_WEEK,
    see=_short,
    say=_say,
    not_judged=where_unknown("delivered"),
)

RULES = (SHORT,)
