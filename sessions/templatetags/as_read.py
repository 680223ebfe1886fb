"""Filters for pages that patients read: words out of a record, and days as their language writes them."""

from __future__ import annotations

from typing import Any

from django import template

from sessions.facts import local_day
from sessions.texts import ready

register = template.Library()


@register.filter
def as_read(text: Any) -> str:
    """Ready-made words of a record in the reader's language; what was typed stays."""
    return ready.words_of(str(text or ""))


for written in (local_day.day, local_day.plain_day, local_day.month, local_day.plain_moment):
    register.filter(written)
