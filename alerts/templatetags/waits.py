"""Durations in words."""

from __future__ import annotations

from datetime import timedelta

from django import template

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
    return f"{days} d {left} h" if days else f"{hours} h {rest} min"
