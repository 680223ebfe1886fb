"""What a month says of time: treatments and minutes against those prescribed, and per week in treatment."""

from __future__ import annotations

from dosing.science.reasons import Reason
from dosing.science.results import measure, unknown
from dosing.services.month.facts import MonthFacts
from dosing.services.numbers.number import Computation

LEAST_DAYS = 3
"""In treatment, from which a weekly number of hours says something (common practice, no source)."""


def nights(facts: MonthFacts) -> Computation:
    """Treatments done of those prescribed for the time in treatment."""
    wanted, done = facts.in_treatment.prescribed, len(facts.in_treatment.done)
    inputs = {"delivered": done, "prescribed": wanted, "days": facts.in_treatment.days}
    if wanted < 0.5:
        why = "no_prescription" if not facts.prescriptions else "nothing_due_yet"
        return Computation(inputs, unknown("1", Reason(why)))
    return Computation(inputs, measure(done / wanted, "1"))


def length(facts: MonthFacts) -> Computation:
    """Minutes of the treatments done, of those prescribed for them; what was broken off was one of them too."""
    with_order = [night for night in facts.finished if night.prescription]
    delivered = [night.value("minutes") or 0.0 for night in with_order]
    asked = [night.prescription.minutes for night in with_order if night.prescription]
    nights = [night.record.night.isoformat() for night in with_order]
    inputs = {"each_night": nights, "delivered_each": delivered, "prescribed_each": asked}
    if not asked:
        return Computation(inputs, unknown("1", Reason("no_prescribed_night")))
    return Computation(inputs, measure(sum(delivered) / sum(asked), "1"))


def weekly_hours(facts: MonthFacts) -> Computation:
    """Hours of treatment per week in treatment."""
    minutes, days = sum(facts.values("minutes")), facts.in_treatment.days
    inputs = {"delivered_minutes": minutes, "days": days}
    if days < LEAST_DAYS:
        return Computation(inputs, unknown("h/wk", Reason("few_days_in_treatment", least=LEAST_DAYS)))
    return Computation(inputs, measure(minutes / 60 / days * 7, "h/wk"))
