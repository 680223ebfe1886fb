"""How pages read what the science gives."""

from __future__ import annotations

import re
from html import escape

from django import template
from django.template.defaultfilters import floatformat
from django.utils.safestring import SafeString, mark_safe

from dosing.services.numbers.blood_units import ShownAnalyte
from dosing.services.numbers.reasons import Stored, reason_words
from dosing.services.numbers.shares import percent

register = template.Library()
LOWERED = re.compile(r"_([A-Za-z0-9]+)")


@register.filter
def in_words(reason: Stored) -> str:
    """A reason in the language of the reader; "" for none."""
    return reason_words(reason)


register.filter(percent)


@register.filter
def in_unit_of(value: float | None, shown: ShownAnalyte) -> str:
    """A canonical value of an analyte in the unit of the reader, with a tenth; "" where there is none."""
    return "" if value is None else floatformat(shown.from_canonical(value), 1)


@register.filter
def in_symbols(written: str) -> SafeString:
    """An equation or a symbol as it is printed: C_pre with its index set low."""
    return mark_safe(LOWERED.sub(r"<sub>\1</sub>", escape(written)))  # noqa: S308  (escaped before)
