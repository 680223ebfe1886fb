"""How rules are made over what is due: bloods, water tests, training, care of the machine."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, time, timedelta

from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from alerts.limits.book import LimitInForce
from alerts.models.choices import Family, Urgency
from alerts.rules.base import Evidence, History, NotJudged, Remark, Rule, Seen
from alerts.rules.evidence_kinds import label_of_evidence, more_of
from alerts.rules.wording import day
from sessions.services.due import OF_NAMED, Due
from sessions.texts.ready import words_of

NOON = time(12)
ANY_TIME = timedelta(days=3650)
"""What is overdue stays so however long ago it fell due."""


def overdue(
    key: str,
    *,
    kinds: frozenset[str],
    limit: str,
    title: StrOrPromise,
    about: StrOrPromise,
    family: Family,
    urgency: Urgency,
    unset: StrOrPromise,
    at_once: bool = False,
) -> Rule:
    """A rule over duties of some kinds, each a cause of its own, `limit` days after they fell due.

    at_once: all of them are one cause, for one call settles them: two samples of the same water, two panels of one
    drawing. unset: why nothing can be said where nothing of these kinds is due now or later: nobody has set it.
    """

    def see(history: History, at: datetime) -> Iterator[Seen]:
        if history.surroundings is None or history.away(at):
            return
        held = history.limits.at(limit, at)
        today = at.astimezone(history.zone).date()
        late = [
            each for each in history.surroundings.due if each.kind in kinds and (today - each.due_on).days > held.value
        ]
        if at_once and late:
            yield Seen(key, tuple(_evidence(history, each) for each in late), held)
        elif late:
            yield from (_seen(history, each, held) for each in late)

    def not_judged(history: History) -> Iterator[NotJudged]:
        if history.surroundings is None:
            yield NotJudged(None, Remark("not_looked_at"))
        elif not any(each.kind in kinds for each in history.surroundings.due):
            yield NotJudged(None, Remark(UNSET))

    return Rule(
        key=key,
        title=title,
        about=about,
        family=family,
        urgency=urgency,
        see=see,
        say=_say,
        naming=_which,
        limits=(limit,),
        limit_words=_late_by,
        looks_back=ANY_TIME,
        over=_("when it is done"),
        not_judged=not_judged,
        reasons={UNSET: unset},
        ends_when_done=True,
        waits_at_home=True,
        by_time=True,
    )


UNSET = "unset"


def _seen(history: History, each: Due, held: LimitInForce) -> Seen:
    cause = f"{each.kind}:{each.of}" if each.of else each.kind
    return Seen(cause[:60], (_evidence(history, each),), held)


def _evidence(history: History, each: Due) -> Evidence:
    code, said = each.said
    return Evidence(
        kind=f"due.{each.kind}",
        at=datetime.combine(each.due_on, NOON, history.zone),
        day=each.due_on,
        place=each.of,
        parts={"code": code, "said": dict(said)},
    )


def _say(seen: Seen) -> str:
    return " ".join(_say_one(item) for item in seen.evidence)


def _say_one(item: Evidence) -> str:
    parts = {"what": label_of_evidence(item), "day": day(item.day), "last": more_of(item)}
    return gettext("%(what)s, due on %(day)s: not noted since. %(last)s") % parts


def _which(seen: Seen) -> str:
    """Which duties: by their own names where their kind has several."""
    return ", ".join(
        words_of(item.place) if item.kind.partition(".")[2] in OF_NAMED else label_of_evidence(item)
        for item in seen.evidence
    )


def _late_by(seen: Seen) -> str:
    days = int(seen.limit.value) if seen.limit else 0
    return ngettext("%(days)d day after it was due", "%(days)d days after it was due", days) % {"days": days}
