"""Weights and temperatures of the body in templates, in the unit of whoever reads."""

from __future__ import annotations

from django import template
from django.template.defaultfilters import floatformat

from homedialysis.accounts.services.units import told_in

register = template.Library()


@register.filter
def told(value: float | None, unit: str) -> str:
    """A value kept in this unit, as it is told, with a tenth; "" where there is none."""
    return "" if value is None else floatformat(told_in(unit).of(value), 1)


@register.simple_tag
def unit_told(unit: str) -> str:
    """What the unit is called in which such values are told."""
    return told_in(unit).unit
