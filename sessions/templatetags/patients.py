"""What stands in the frame of every page of a patient."""

from __future__ import annotations

from django import template

from sessions.models import Patient
from sessions.services.cautions import CautionLine, cautions_of

register = template.Library()


@register.filter
def cautions(patient: Patient) -> list[CautionLine]:
    """Allergies and dangers: one query."""
    return cautions_of(patient)
