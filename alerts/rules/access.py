"""The access over weeks: venous pressure that climbs at comparable blood flow, and long bleeding after the needles.

Neither finds a stenosis: they are reasons to examine the access.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from statistics import median

from alerts.choices import Urgency
from alerts.rules.base import History, Night, Rule, Seen, numbers_seen, of_number, often
from alerts.rules.wording import beyond, day
from dosing.science.trends import mann_kendall, theil_sen_slope

WINDOW = timedelta(weeks=8)
FEWEST_NIGHTS = 10
LATEST = 5
NEAR_FLOW = 0.1
"""Nights within this share of the blood flow that is usual now, on the latest ones, are comparable (common
practice, no source)."""
CERTAINTY = 0.01
"""Two-sided p of Mann and Kendall under which a rise counts; neighbouring nights make it look smaller than it is."""
NIGHTS_TO_SAY_AGAIN = 8
ADVICE = (
    "Trend information: a reason to examine the access and to talk about it, not a finding "
    "(KDOQI 2019 asks for regular examination; from memory)."
)


def comparable(history: History, at: datetime) -> list[Night]:
    """Nights of the last weeks on the present access, near the flow of the latest, to be set side by side."""
    since = at - WINDOW
    nights = [
        night
        for night in history.finished
        if night.record.started_at >= since
        and (history.access_since is None or night.record.night >= history.access_since)
        and night.number("venous") is not None
        and night.number("blood_flow")
    ]
    if not nights:
        return []
    usual = median(night.number("blood_flow") or 0 for night in nights[-LATEST:])
    return [n for n in nights if abs((n.number("blood_flow") or 0) - usual) <= NEAR_FLOW * usual]


def _rising(history: History, at: datetime) -> Iterator[Seen]:
    nights = comparable(history, at)
    if len(nights) < FEWEST_NIGHTS:
        return
    pressures = [night.number("venous") or 0 for night in nights]
    start = nights[0].record.started_at
    days = [(night.record.started_at - start).total_seconds() / 86400 for night in nights]
    slope = theil_sen_slope(times=days, values=pressures, unit="mmHg/d").number
    rise = 0 if slope is None else slope * days[-1]
    limit = history.limit("venous_rise", nights[-1])
    sure = mann_kendall(values=pressures)
    if rise < limit.value or not sure.p < CERTAINTY:
        return
    flow = median(night.number("blood_flow") or 0 for night in nights)
    yield Seen(
        "venous_rise",
        tuple(of_number(night, "venous", limit=None) for night in nights),
        limit,
        limit_words=f"{limit.words} and p under {CERTAINTY:g} (here {sure.p:.1g})",
        source=f"{limit.source}; slope by Theil and Sen, evidence by Mann and Kendall",
        sentence=(
            f"Venous pressure up {rise:.0f} mmHg at {flow:.0f} mL/min from {day(nights[0].record.night)} to "
            f"{day(nights[-1].record.night)}, over {len(nights)} comparable treatments."
        ),
    )


VENOUS_RISE = Rule(
    key="venous_rise",
    title="Venous pressure rising",
    about="venous pressure over weeks",
    urgency=Urgency.THIS_WEEK,
    see=_rising,
    say=lambda seen: seen.sentence,
    nights=NIGHTS_TO_SAY_AGAIN,
    replaces=True,
    advice=ADVICE,
)


def _long_bleeding(history: History, at: datetime) -> Iterator[Seen]:
    known = [night for night in history.finished if night.number("bleeding") is not None]

    def long(night: Night) -> bool:
        return (night.shown("bleeding") or 0) > history.limit("bleeding", night).value

    return numbers_seen(history, often(2, 3, known, long), "bleeding", limit="bleeding", cause="bleeding")


BLEEDING = Rule(
    key="bleeding",
    title="Long bleeding after the needles",
    about="bleeding",
    urgency=Urgency.THIS_WEEK,
    see=_long_bleeding,
    say=lambda seen: beyond(seen, what="Bleeding after needles", worst=max),
    nights=2,
    advice=ADVICE,
)

RULES = (VENOUS_RISE, BLEEDING)
