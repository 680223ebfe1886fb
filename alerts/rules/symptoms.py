"""Symptoms that the patient wrote down: mild ones want a call when they come again."""

from __future__ import annotations

from alerts.models.choices import Family, Urgency
from alerts.rules.base import Rule
from alerts.rules.rule_kinds import noted
from sessions.models import EventKind

AGAIN = (2, 3)
"""A mild symptom wants a call when it comes on two of three treatments (common practice, no source)."""


def _repeated(kind: EventKind, *told_by: str) -> Rule:
    """told_by: rules that call for the same nights already, because of what brings the symptom about."""
    return noted(
        kind,
        family=Family.SYMPTOMS,
        urgency=Urgency.THIS_WEEK,
        hold=AGAIN,
        over_after=4,
        part_of=told_by,
        joins=told_by,
    )


CRAMP = _repeated(EventKind.CRAMP, "fall_with_symptoms", "uf_rate")
DIZZY = _repeated(EventKind.DIZZY, "fall_with_symptoms", "systolic_low")
HEADACHE = _repeated(EventKind.HEADACHE)
NAUSEA = _repeated(EventKind.NAUSEA, "fall_with_symptoms", "systolic_low")
OTHER = noted(EventKind.OTHER, key="something_else", family=Family.SYMPTOMS, urgency=Urgency.AT_REVIEW, over_after=4)

RULES = (CRAMP, DIZZY, HEADACHE, NAUSEA, OTHER)
