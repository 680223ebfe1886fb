"""How rules over weeks are made: a verdict of the trends becomes what a rule sees, with the nights behind it.

The verdict says by itself when a drift is over: its running mean must come back within 0.7 of its limit, so that a
rule does not come and go. A change of access, needle, machine or target starts a new usual, and so does an alert that
was closed as known and accepted.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import datetime, timedelta
from typing import Any

from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from alerts.models.choices import Family, Urgency
from alerts.rules.base import OF_SCIENCE, SPOKEN_OF, Evidence, History, NotJudged, Parts, Point, Remark, Rule, Seen
from alerts.rules.evidence_kinds import TREND_LABELS
from alerts.rules.rule_kinds import NOT_NOTED
from alerts.rules.wording import cited, figure, later, weight
from dosing.science.sources import Status
from dosing.science.trends import Watch
from dosing.services.night.trend_of_patient import WATCHES, StoryVerdict, TrendVerdict

NIGHTS = 20
"""The newest nights that stand as evidence."""
AGAIN = 8
"""Nights that nobody has dealt with, before it is told once more."""
SOURCE = cited(
    _(
        "designed false alarms, slope by Theil and Sen, evidence by Mann and Kendall: see the science of trends; Page, "
        "Biometrika 1954;41:100"
    ),
    Status.MEMORY,
)


def drifting(
    key: str,
    *,
    series: str,
    title: StrOrPromise,
    family: Family,
    urgency: Urgency,
    advice: StrOrPromise = "",
    limit: str,
    part_of: tuple[str, ...] = (),
    joins: tuple[str, ...] = (),
    spoken_with: tuple[str, ...] = (),
) -> Rule:
    """A rule over the drift of one series of `trend_of_patient.WATCHES`, told from a shift of `limit` on."""

    def see(history: History, at: datetime) -> Iterator[Seen]:
        verdict = history.trends.get(series)
        held = history.limits.at(limit, at)
        if verdict is None or not verdict.drifting or abs(verdict.science.shift) < held.value:
            return
        evidence = tuple(of_point(point, series) for point in newest(history, series))
        yield Seen(key, evidence, held, drift_parts(series, verdict))

    def about() -> str:
        return gettext("%(quantity)s over weeks") % _quantity(series)

    return Rule(
        key=key,
        title=title,
        about=later(about),
        family=family,
        urgency=urgency,
        see=see,
        say=lambda seen: f"{drift_words(seen.parts)}.",
        limits=(limit,),
        limit_words=_limit_words,
        source_words=_source_words,
        reads=frozenset({"course"}),
        nights=AGAIN,
        holds=_("when weeks of nights bear it out"),
        over=_("when the running mean is back well within its limit, or a change starts a new usual"),
        replaces=True,
        not_judged=lambda history: unjudged(history, series),
        reasons={NOT_NOTED: later(lambda: gettext("no %(quantity)s was noted") % _quantity(series))},
        part_of=part_of,
        joins=joins,
        rests=SPOKEN_OF if spoken_with else timedelta(0),
        spoken_with=spoken_with,
        advice=advice,
    )


TOGETHER = cited(
    _("designed false alarms of the signs together: see the science of trends; Xie and Siegmund, Ann Stat 2013;41:670"),
    Status.MEMORY,
)


def together(
    key: str,
    story: str,
    *,
    title: StrOrPromise,
    about: StrOrPromise,
    family: Family,
    urgency: Urgency,
    beginning: Callable[[str], str],
    unnoted: StrOrPromise,
    part_of: tuple[str, ...] = (),
    advice: StrOrPromise = "",
) -> Rule:
    """A rule over a story of `trend_of_patient.STORIES`: two signs at least speak; which, and how far each has moved.

    beginning: the sentence around the signs; unnoted: why nothing can be said where none of them was ever noted.
    """

    def see(history: History, at: datetime) -> Iterator[Seen]:
        told = history.story(story)
        if told is not None and told.drifting:
            yield Seen(key, evidence_of(history, told), parts={"signs": signs_of(told)})

    def not_judged(history: History) -> Iterator[NotJudged]:
        told = history.story(story)
        if told is None:
            yield NotJudged(None, Remark(NOT_NOTED))
        elif all(sign.why is not None for sign in told.signs.values()):
            yield from (NotJudged(None, Remark(OF_SCIENCE, {"why": why})) for why in _first_why(told))

    return Rule(
        key=key,
        title=title,
        about=about,
        family=family,
        urgency=urgency,
        see=see,
        say=lambda seen: beginning(signs_words(seen.parts["signs"])),
        source=TOGETHER,
        limit_words=lambda seen: gettext("evidence of several signs together beyond its limit"),
        reads=frozenset({"course"}),
        nights=AGAIN,
        holds=_("when weeks of nights bear it out"),
        over=_("when the running mean of each sign that spoke is back well within its limit"),
        replaces=True,
        not_judged=not_judged,
        reasons={NOT_NOTED: unnoted},
        part_of=part_of,
        advice=advice,
    )


def _first_why(told: StoryVerdict) -> list[dict[str, Any]]:
    return [sign.why.as_json() for sign in told.signs.values() if sign.why is not None][:1]


def signs_of(told: StoryVerdict) -> list[dict[str, Any]]:
    """The signs that speak, as `drift_parts`."""
    return [drift_parts(key, told.signs[key]) for key in told.speaking]


def evidence_of(history: History, told: StoryVerdict) -> tuple[Evidence, ...]:
    """The newest nights of every sign that speaks, in order of time."""
    found = [of_point(point, key) for key in told.speaking for point in newest(history, key)]
    return tuple(sorted(found, key=lambda item: (item.at, item.kind)))


def signs_words(signs: Sequence[Parts]) -> str:
    """ "venous pressure up 24 mmHg at 300 mL/min, bleeding time up 4 min"."""
    return ", ".join(
        uncapital(str(SIGN_WAYS[parts["direction"], parts["flow"] is not None]) % _said(parts)) for parts in signs
    )


def uncapital(words: str) -> str:
    return words[:1].lower() + words[1:]


SIGN_WAYS: dict[tuple[str, bool], StrOrPromise] = {
    ("up", False): _("%(what)s up %(amount)s"),
    ("down", False): _("%(what)s down %(amount)s"),
    ("up", True): _("%(what)s up %(amount)s at %(flow)s"),
    ("down", True): _("%(what)s down %(amount)s at %(flow)s"),
}
"""By direction, and whether it holds at one blood flow."""


def _quantity(series: str) -> dict[str, str]:
    return {"quantity": str(TREND_LABELS[series]).lower()}


def unjudged(history: History, series: str) -> Iterator[NotJudged]:
    """Why nothing is said of a series: nothing of it was noted, or not enough."""
    verdict = history.trends.get(series)
    if verdict is None:
        yield NotJudged(None, Remark(NOT_NOTED))
    elif verdict.why is not None:
        yield NotJudged(None, Remark(OF_SCIENCE, {"why": verdict.why.as_json()}))


def drift_parts(series: str, verdict: TrendVerdict) -> dict[str, Any]:
    """What `drift_words` says, fit for JSON: shift in the unit of the series, weeks since it began, and how many of
    the latest nights lie beyond the earlier middle.
    """
    told = verdict.science
    return {
        "series": series,
        "direction": told.direction,
        "shift": float(told.shift),
        "flow": verdict.numbers["flow"],
        "weeks": float(told.weeks),
        "beyond": int(told.beyond),
        "of": int(told.of),
    }


def _amount(shift: float, watch: Watch) -> str:
    form = f".{watch.decimals}f"
    return weight(shift, form) if watch.unit == "kg" else figure(shift, form, watch.unit)


def drift_words(parts: Parts) -> str:
    """ "Venous pressure up 24 mmHg at 300 mL/min over 5 weeks, 18 of the last 20 nights above the earlier middle"."""
    return str(WAYS[parts["direction"], parts["flow"] is not None]) % (_said(parts) | {"span": _span(parts["weeks"])})


def _said(parts: Parts) -> dict[str, Any]:
    watch, flow = WATCHES[parts["series"]], parts["flow"]
    amount = _amount(abs(parts["shift"]), watch)
    said = dict(parts) | {"what": TREND_LABELS[parts["series"]], "amount": amount}
    return said if flow is None else said | {"flow": figure(flow, ".0f", "mL/min")}


WAYS: dict[tuple[str, bool], StrOrPromise] = {
    ("up", False): _(
        "%(what)s up %(amount)s over %(span)s, %(beyond)d of the last %(of)d nights above the earlier middle"
    ),
    ("down", False): _(
        "%(what)s down %(amount)s over %(span)s, %(beyond)d of the last %(of)d nights below the earlier middle"
    ),
    ("up", True): _(
        "%(what)s up %(amount)s at %(flow)s over %(span)s, "
        "%(beyond)d of the last %(of)d nights above the earlier middle"
    ),
    ("down", True): _(
        "%(what)s down %(amount)s at %(flow)s over %(span)s, "
        "%(beyond)d of the last %(of)d nights below the earlier middle"
    ),
}
"""By direction, and whether it holds at one blood flow."""


def _span(weeks: float) -> str:
    if weeks >= 2:
        return ngettext("%(count)d week", "%(count)d weeks", round(weeks)) % {"count": round(weeks)}
    days = round(7 * weeks)
    return ngettext("%(count)d day", "%(count)d days", days) % {"count": days}


def _limit_words(seen: Seen) -> str:
    held = seen.limit.words if seen.limit else ""
    return gettext("%(limit)s, and evidence beyond its limit") % {"limit": held}


def _source_words(seen: Seen) -> str:
    return "; ".join([*([seen.limit.source] if seen.limit else []), str(SOURCE)])


def newest(history: History, series: str) -> list[Point]:
    """The newest nights with a value."""
    return [point for point in history.course if series in point.values][-NIGHTS:]


def of_point(point: Point, series: str) -> Evidence:
    """A night of a trend. Its value is worked out anew each day, by the body water of that day, and is therefore kept
    as it is read: else the same night would be another thing tomorrow.
    """
    value = round(point.values[series], WATCHES[series].decimals)
    return Evidence(f"trend.{series}", point.at, point.night, value, record=point.record)
