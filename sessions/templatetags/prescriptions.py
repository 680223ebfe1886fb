"""A prescription in templates."""

from __future__ import annotations

from django import template

from sessions.models import Prescription
from sessions.services.prescription_lines import OrderedLine, all_lines, lines_to_sign

register = template.Library()


@register.filter
def lines(prescription: Prescription) -> list[OrderedLine]:
    """Label, number and unit of everything that is ordered, what is set before each treatment first."""
    return all_lines(prescription)


@register.filter
def everything(prescription: Prescription) -> list[OrderedLine]:
    """The same of everything that a signature answers for: what is left empty too."""
    return lines_to_sign(prescription)
