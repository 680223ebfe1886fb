"""A prescription in templates."""

from __future__ import annotations

from django import template

from sessions.models import Prescription
from sessions.services.prescription_lines import OrderedLine, all_lines

register = template.Library()


@register.filter
def lines(prescription: Prescription) -> list[OrderedLine]:
    """Label, number and unit of everything that is ordered, what is set before each treatment first."""
    return all_lines(prescription)
