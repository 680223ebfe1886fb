"""How pages read what the science gives."""

from __future__ import annotations

from django import template

from dosing.services.numbers.reasons import Stored, reason_words
from dosing.services.numbers.shares import percent

register = template.Library()


@register.filter
def in_words(reason: Stored) -> str:
    """A reason in the language of the reader; "" for none."""
    return reason_words(reason)


register.filter(percent)
