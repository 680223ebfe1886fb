"""How an event that was gone through step by step went: its times and its end, in the reader's language."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from homedialysis.accounts.services.dates import told_clock
from sessions.facts.choices import EventKind, EventOutcome, HelpCalled, SiteUse
from sessions.facts.fields import EVENT_MOMENTS
from sessions.models import Event

OF_THE_FLUID = {EventKind.HYPOTENSION.value}
"""Kinds in which the fluid removal is turned off; in the others the blood pump is stopped."""
MOMENTS = {
    True: (_("fluid removal off %(time)s"), _("on again %(time)s"), _("over %(time)s")),
    False: (_("blood pump stopped %(time)s"), _("running again %(time)s"), _("over %(time)s")),
}
CODES = {"use": SiteUse, "outcome": EventOutcome, "called": HelpCalled}


def course_of(event: Event) -> dict[str, Any]:
    """What is known of the course of an event, fit for JSON: times as text, codes; {} where nothing is."""
    moments = {name: getattr(event, name) for name in EVENT_MOMENTS}
    known = {name: moment.isoformat() for name, moment in moments.items() if moment}
    return known | {name: code for name in CODES if (code := getattr(event, name))}


def course_words(kind: str, course: Mapping[str, Any]) -> list[str]:
    """The course in words, times on the clock of the page: ["fluid removal off 23:10", …]; [] if unknown."""
    phrases = zip(EVENT_MOMENTS, MOMENTS[kind in OF_THE_FLUID], strict=True)
    told = [gettext(words) % {"time": _clock(course[name])} for name, words in phrases if course.get(name)]
    codes = [str(choices(course[name]).label) for name, choices in CODES.items() if course.get(name)]
    return told + codes


def _clock(moment: str) -> str:
    return told_clock(timezone.localtime(datetime.fromisoformat(moment)))
