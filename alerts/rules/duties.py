"""How rules are made over what is due: bloods, water tests, training, care of the machine."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime, time, timedelta

from alerts.models.choices import Family, Urgency
from alerts.rules.base import Evidence, History, NotJudged, Rule, Seen
from alerts.rules.wording import day
from sessions.services.due import Due

NOON = time(12)
ANY_TIME = timedelta(days=3650)
"""What is overdue stays so however long ago it fell due."""


def overdue(
    key: str,
    *,
    kinds: frozenset[str],
    limit: str,
    title: str,
    about: str,
    family: Family,
    urgency: Urgency,
    unknown: Callable[[History], str],
) -> Rule:
    """A rule over duties of some kinds, each a cause of its own, `limit` days after they fell due.

    unknown: why nothing can be said of the patient, or "".
    """

    def see(history: History, at: datetime) -> Iterator[Seen]:
        if history.around is None:
            return
        held = history.limits.at(limit, at)
        today = at.astimezone(history.zone).date()
        for each in history.around.due:
            if each.kind in kinds and (today - each.due_on).days > held.value:
                yield _seen(history, each, held.value, held.source)

    def not_judged(history: History) -> Iterator[NotJudged]:
        why = unknown(history)
        if why:
            yield NotJudged(None, why)

    return Rule(
        key=key,
        title=title,
        about=about,
        family=family,
        urgency=urgency,
        see=see,
        say=lambda seen: seen.sentence,
        limits=(limit,),
        looks_back=ANY_TIME,
        over="when it is done",
        not_judged=not_judged,
        by_time=True,
    )


def _seen(history: History, each: Due, days: float, source: str) -> Seen:
    at = datetime.combine(each.due_on, NOON, history.zone)
    cause = f"{each.kind}:{each.label}"[:60]
    return Seen(
        cause,
        (Evidence(at, each.due_on, each.label, words=each.words),),
        limit_words=f"{days:g} days after it was due",
        source=source,
        sentence=f"{each.label}, due on {day(each.due_on)}: not noted since. {each.words}".strip(),
    )


def not_around(history: History, kinds: frozenset[str], why: str) -> str:
    """`why`, where nothing of these kinds is due now or later: nobody has set it."""
    if history.around is None:
        return "what is due was not looked at"
    return "" if any(each.kind in kinds for each in history.around.due) else why
