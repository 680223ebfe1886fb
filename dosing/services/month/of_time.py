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
    inputs = {"delivered": done, "prescribed": round(wanted, 1), "days": round(facts.in_treatment.days, 1)}
    if wanted < 0.5:
        why = "no_prescription" if not facts.prescriptions else "nothing_due_yet"
        return Computation(inputs, unknown("1", Reason(why)))
    return Computation(inputs, measure(done / wanted, "1"))


def length(facts: MonthFacts) -> Computation:
    """Minutes of the treatments done, of those prescribed for them; what was broken off was one of them too."""
    delivered = [night.value("minutes") or 0.0 for night in facts.finished]
    asked = [night.prescription.minutes for night in facts.finished if night.prescription]
    inputs = {"delivered_minutes": sum(delivered), "prescribed_minutes": sum(asked)}
    if not asked:
        return Computation(inputs, unknown("1", Reason("no_prescribed_night")))
    return Computation(inputs, measure(sum(delivered) / sum(asked), "1"))


def weekly_hours(facts: MonthFacts) -> Computation:
    """Hours of treatment per week in treatment."""
    minutes, days = sum(facts.values("minutes")), facts.in_treatment.days
    inputs = {"delivered_minutes": minutes, "days": round(days, 1)}
    if days < LEAST_DAYS:
        return Computation(inputs, unknown("h/wk", Reason("few_days_in_treatment", least=LEAST_DAYS)))
    return Computation(inputs, measure(minutes / 60 / days * 7, "h/wk"))
