"""The words of what the program has to say beside a rule's sentence: how a cause passed, and why nothing was judged.

Only codes and values are kept; see `base.Remark`. A rule's own reasons stand with the rule.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django.utils.translation import gettext, ngettext, ngettext_lazy
from django.utils.translation import gettext_noop as _
from django_stubs_ext import StrOrPromise

from alerts.limits.book import LimitInForce
from alerts.models.choices import Urgency
from alerts.rules.base import OF_SCIENCE, Parts, Remark
from alerts.rules.wording import day, figure
from dosing.services.numbers.blood_units import spoken_of
from dosing.services.numbers.reasons import reason_words
from sessions.facts.choices import Analyte

MOST_DAYS = 5
"""So many days are named one by one."""


def _days(days: list[str]) -> str:
    shown = ", ".join(day(each) for each in days[-MOST_DAYS:])
    if len(days) <= MOST_DAYS:
        return shown
    return gettext("%(count)d treatments, the last %(days)s") % {"count": len(days), "days": shown}


def _changed(parts: Parts) -> str:
    """What joined the evidence and what a correction took away."""
    said = []
    if parts["added"]:
        said.append(gettext("Added: %(days)s.") % {"days": _days(parts["added"])})
    if parts["lost"]:
        said.append(gettext("No longer so: %(days)s.") % {"days": _days(parts["lost"])})
    return " ".join(said)


def _gone(parts: Parts) -> str:
    return gettext("What was seen on %(days)s is no longer so.") % {"days": _days(parts["days"])}


def _spanned(words: Any) -> Callable[[Parts], str]:
    """words: lazy, in the plural that `count` wants."""
    return lambda parts: str(words % (dict(parts) | {"first": day(parts["first"]), "last": day(parts["last"])}))


def _result_inside(parts: Parts) -> str:
    shown = spoken_of(parts["analyte"])
    return gettext("%(analyte)s %(value)s on %(day)s, inside the limit.") % {
        "analyte": Analyte(parts["analyte"]).label,
        "value": figure(shown.figure(parts["value"]), unit="" if shown.factor == 1 else shown.unit),
        "day": day(parts["day"]),
    }


def _unseen(parts: Parts) -> str:
    words = ngettext(
        "Nobody has looked at it for %(days)d day: %(urgency)s now.",
        "Nobody has looked at it for %(days)d days: %(urgency)s now.",
        parts["days"],
    )
    return words % {"days": parts["days"], "urgency": str(Urgency(parts["urgency"]).label).lower()}


def _water_inside(parts: Parts) -> str:
    words = ngettext(
        "Tested again: %(figure)s on %(day)s, within the limit.",
        "Tested again %(count)d times, each within the limit; last %(figure)s on %(day)s.",
        parts["count"],
    )
    figures = {"figure": figure(parts["value"] or 0.0, unit="mg/L"), "day": day(parts["day"])}
    return words % {"count": parts["count"], **figures}


def _inside_now(parts: Parts) -> str:
    held = LimitInForce.from_json(parts["limit"])
    if held is None:
        return gettext("Inside the limit that holds now.")
    return gettext("Inside the limit that holds now: %(limit)s (%(source)s).") % {
        "limit": held.words,
        "source": held.source,
    }


def _of_science(parts: Parts) -> str:
    why: str = reason_words(parts["why"])
    return why


def _fixed(words: str) -> Callable[[Parts], str]:
    return lambda parts: gettext(words) % parts


WORDS: dict[str, Callable[[Parts], str]] = {
    "changed": _changed,
    "no_longer_so": _gone,
    "inside": _spanned(
        ngettext_lazy(
            "Inside the limit on the last treatment, %(first)s.",
            "Inside the limit on the last %(count)d treatments, %(first)s to %(last)s.",
            "count",
        )
    ),
    "without": _spanned(
        ngettext_lazy(
            "Not noted on the last treatment, %(first)s.",
            "Not noted on the last %(count)d treatments, %(first)s to %(last)s.",
            "count",
        )
    ),
    "clear": _spanned(
        ngettext_lazy(
            "Clear on the last treatment, %(first)s.",
            "Clear on the last %(count)d treatments, %(first)s to %(last)s.",
            "count",
        )
    ),
    "result_inside": _result_inside,
    "water_inside": _water_inside,
    "inside_now": _inside_now,
    "told_elsewhere": _fixed(_("Another alert tells of the same treatments.")),
    "unseen": _unseen,
    "away": _fixed(_("It waits while the patient is in hospital or away.")),
    "more_seen": _fixed(_("More was seen meanwhile.")),
    "day_come": _fixed(_("The day that was set has come.")),
    "nobody_looked": _fixed(_("Nobody had looked at it: a message to %(to)s.")),
    "still_open": _fixed(_("the record is still being filled in")),
    "not_computed": _fixed(_("it was not computed")),
    "no_prescription": _fixed(_("no prescription was in force")),
    "not_looked_at": _fixed(_("what is due was not looked at")),
    OF_SCIENCE: _of_science,
}


def remark_words(remark: Remark, reasons: Mapping[str, StrOrPromise] | None = None, **more: Any) -> str:
    """In the language of the reader; reasons: a rule's own, by code; more: parts that are kept elsewhere.

    One that was kept and that nobody knows the words of any more is given as its code.
    """
    parts = dict(remark.parts) | more
    own = (reasons or {}).get(remark.code)
    try:
        return str(own) % parts if own is not None else WORDS[remark.code](parts)
    except (KeyError, ValueError):
        return remark.code.replace("_", " ")
