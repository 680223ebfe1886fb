"""A prescription in templates."""

from __future__ import annotations

from django import template

from sessions.models import Prescription
from sessions.services.prescription_lines import OrderedLine, all_lines, lines_to_sign
from sessions.services.prescription_read import read_words

register = template.Library()


@register.filter
def lines(prescription: Prescription) -> list[OrderedLine]:
    """Label, number and unit of everything that is ordered, what is set before each treatment first."""
    return all_lines(prescription)


@register.filter
def everything(prescription: Prescription, before: Prescription | None = None) -> list[OrderedLine]:
    """The same of everything that a signature answers for: what is left empty too, and how it stood before."""
    return lines_to_sign(prescription, before)


@register.filter
def who_read_it(prescription: Prescription) -> list[str]:
    """Who said at the bedside that the change was read, and when; that nobody did yet."""
    return read_words(prescription)
