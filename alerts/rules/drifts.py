"""How rules over weeks are made: a verdict of the trends becomes what a rule sees, with the nights behind it.

The verdict says by itself when a drift is over: its running mean must come back within 0.7 of its limit, so that a
rule does not come and go. A change of access, needle, machine or target starts a new usual, and so does an alert that
was closed as known and accepted.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime

from alerts.models.choices import Family, Urgency
from alerts.rules.base import Evidence, History, NotJudged, Point, Rule, Seen
from dosing.services.trend_of_patient import WATCHES, TrendVerdict

NIGHTS = 20
"""The newest nights that stand as evidence."""
AGAIN = 8
"""Nights that nobody has dealt with, before it is told once more."""
SOURCE = (
    "designed false alarms, see the science of trends (Page, Biometrika 1954;41:100, from memory); slope by Theil and "
    "Sen, evidence by Mann and Kendall"
)
Extra = Callable[[History, TrendVerdict], bool]


def drifting(
    key: str,
    *,
    series: str,
    title: str,
    family: Family,
    urgency: Urgency,
    advice: str = "",
    limit: str,
    part_of: tuple[str, ...] = (),
) -> Rule:
    """A rule over the drift of one series of `trend_of_patient.WATCHES`, told from a shift of `limit` on."""
    watch = WATCHES[series]

    def see(history: History, at: datetime) -> Iterator[Seen]:
        verdict = history.trends.get(series)
        held = history.limits.at(limit, at)
        if verdict is None or not verdict.drifting or abs(verdict.science.shift) < held.value:
            return
        sentence = f"{_capital(verdict.sentence)}."
        words = f"{held.words}, and evidence beyond its limit"
        evidence = tuple(of_point(point, series) for point in newest(history, series))
        yield Seen(key, evidence, held, words, f"{held.source}; {SOURCE}", sentence=sentence)

    def not_judged(history: History) -> Iterator[NotJudged]:
        verdict = history.trends.get(series)
        if verdict is None or verdict.state == "unknown":
            yield NotJudged(None, verdict.why if verdict else f"no {watch.label} was noted")

    return Rule(
        key=key,
        title=title,
        about=f"{watch.label} over weeks",
        family=family,
        urgency=urgency,
        see=see,
        say=lambda seen: seen.sentence,
        limits=(limit,),
        reads=frozenset({"course"}),
        nights=AGAIN,
        holds="when weeks of nights bear it out",
        over="when the running mean is back well within its limit, or a change starts a new usual",
        replaces=True,
        not_judged=not_judged,
        part_of=part_of,
        advice=advice,
    )


def newest(history: History, series: str) -> list[Point]:
    """The newest nights with a value."""
    return [point for point in history.course if series in point.values][-NIGHTS:]


def of_point(point: Point, series: str) -> Evidence:
    watch = WATCHES[series]
    value = round(point.values[series], watch.decimals)
    return Evidence(point.at, point.night, _capital(watch.label), value, watch.unit, record=point.record)


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
