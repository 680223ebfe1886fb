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
) -> Rule:
    """A rule over duties of some kinds, each a cause of its own, `limit` days after they fell due.

    unset: why nothing can be said where nothing of these kinds is due now or later: nobody has set it.
    """

    def see(history: History, at: datetime) -> Iterator[Seen]:
        if history.surroundings is None or history.away(at):
            return
        held = history.limits.at(limit, at)
        today = at.astimezone(history.zone).date()
        for each in history.surroundings.due:
            if each.kind in kinds and (today - each.due_on).days > held.value:
                yield _seen(history, each, held)

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
    code, said = each.said
    evidence = Evidence(
        kind=f"due.{each.kind}",
        at=datetime.combine(each.due_on, NOON, history.zone),
        day=each.due_on,
        place=each.of,
        parts={"code": code, "said": dict(said)},
    )
    cause = f"{each.kind}:{each.of}" if each.of else each.kind
    return Seen(cause[:60], (evidence,), held)


def _say(seen: Seen) -> str:
    newest = seen.evidence[-1]
    parts = {"what": label_of_evidence(newest), "day": day(newest.day), "last": more_of(newest)}
    return gettext("%(what)s, due on %(day)s: not noted since. %(last)s") % parts


def _which(seen: Seen) -> str:
    """Which duty: by its own name where its kind has several."""
    newest = seen.evidence[-1]
    kind = newest.kind.partition(".")[2]
    return newest.place if kind in OF_NAMED else label_of_evidence(newest)


def _late_by(seen: Seen) -> str:
    days = int(seen.limit.value) if seen.limit else 0
    return ngettext("%(days)d day after it was due", "%(days)d days after it was due", days) % {"days": days}
