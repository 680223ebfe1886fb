"""Durations in words."""

from __future__ import annotations

from datetime import datetime, timedelta

from django import template
from django.utils.translation import gettext as _

register = template.Library()
LONG_NAME = 12
"""Letters of a name from which on a column shows it in short."""
TITLES = frozenset({"dr", "prof"})


@register.filter
def hours_minutes(wait: timedelta) -> str:
    """Rounded as people say it: minutes, else hours, else days.

    >>> hours_minutes(timedelta(minutes=42)), hours_minutes(timedelta(hours=5, minutes=20)), hours_minutes(timedelta(3))
    ('42 min', '5 h 20 min', '3 d 0 h')
    """
    minutes = round(wait.total_seconds() / 60)
    hours, rest = divmod(minutes, 60)
    days, left = divmod(hours, 24)
    if not hours:
        return f"{minutes} min"
    if days:
        return _("%(days)s d %(hours)s h") % {"days": days, "hours": left}
    return _("%(hours)s h %(minutes)s min") % {"hours": hours, "minutes": rest}


@register.filter
def timesince_short(since: datetime, now: datetime) -> str:
    """How long ago, by hours until two days are full: a column's width, and no new list every minute.

    >>> timesince_short(datetime(2026, 3, 1, 9), datetime(2026, 3, 3, 8))
    '47 h'
    """
    hours = max(0, int((now - since).total_seconds() // 3600))
    if hours < 1:
        return _("< 1 h")
    return _("%(count)s d") % {"count": hours // 24} if hours >= 48 else _("%(count)s h") % {"count": hours}


@register.filter
def short_person(name: object) -> str:
    """A long name by its initials and its last word, for a narrow column; the whole stands beside it for the pointer.

    >>> short_person("Dr Sunniva Achterberg"), short_person("Nurse Kim")
    ('Dr S. Achterberg', 'Nurse Kim')
    """
    *first, last = str(name).split() or [""]
    if len(str(name)) <= LONG_NAME:
        return str(name)
    return " ".join([*(each if each.rstrip(".").lower() in TITLES else f"{each[0]}." for each in first), last])
