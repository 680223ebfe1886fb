"""Durations in words."""

from __future__ import annotations

from datetime import timedelta

from django import template
from django.utils.translation import gettext as _

register = template.Library()


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
