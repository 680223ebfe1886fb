"""Django's `date` and `time` in the order and on the clock of the unit: built in, so that no template forgets them."""

from __future__ import annotations

import datetime

from django import template
from django.template import defaultfilters

from homedialysis.accounts.services.dates import letters_told

register = template.Library()


@register.filter(expects_localtime=True, is_safe=False)
def date(value: datetime.date | None, letters: str) -> str:
    """The parts that Django's letters name, day before month; what programs read (`Y-m`, `c`) stays as it is."""
    return str(defaultfilters.date(value, letters_told(letters)))


@register.filter(expects_localtime=True, is_safe=False)
def time(value: datetime.time | datetime.datetime | None, letters: str) -> str:
    return str(defaultfilters.time(value, letters_told(letters)))
