"""Filters for pages that patients read: words out of a record, and days as their language writes them."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import template
from django.utils.formats import date_format
from django.utils.translation import pgettext

from sessions.texts import ready

register = template.Library()


@register.filter
def as_read(text: Any) -> str:
    """Ready-made words of a record in the reader's language; what was typed stays."""
    return ready.read(str(text or ""))


@register.filter
def day(when: date | None) -> str:
    """A day with its weekday and year, in the order and with the joining words of the language."""
    # Translators: a weekday, day, month and year in Django's letters, such as "l, j \d\e F \d\e Y" in Spanish.
    return _written(when, pgettext("weekday, day, month, year", "D j M Y"))


@register.filter
def plain_day(when: date | None) -> str:
    """A day without its weekday."""
    return _written(when, pgettext("day, month, year", "j F Y"))


@register.filter
def month(when: date | None) -> str:
    return _written(when, pgettext("month, year", "F Y"))


def _written(when: date | None, letters: str) -> str:
    return date_format(when, letters, use_l10n=False) if when else ""
