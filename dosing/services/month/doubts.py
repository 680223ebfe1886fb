"""What makes a number of a month doubtful: the nights it rests on, treatments not entered, a volume unlike the body."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from dosing.science.reasons import Reason
from dosing.services.course import fitted
from dosing.services.month.facts import MonthFacts
from dosing.services.night.treatments import ComputedNight
from dosing.services.numbers.number import Computation

USUALLY_BELOW, USUALLY_ABOVE = -0.041, 0.060
"""Between which the closed form lies around the two-pool model in 98 of 100 weeks, whatever the night of the bloods:
computed over 14 112 weeks of 2 to 7 treatments, V 24 to 52 L."""
Ask = Callable[[MonthFacts], Computation]
MonthDoubt = Callable[[MonthFacts], Iterator[Reason]]
MANY = 0.25
"""Share of doubtful nights from which what is made of all of them is doubtful (common practice, no source)."""


def doubted(ask: Ask, *doubts: MonthDoubt) -> Ask:
    """The same number with these doubts, where there is one."""

    def asked(facts: MonthFacts) -> Computation:
        found = ask(facts)
        if found.answer.number is None:
            return found
        more = (reason for doubt in doubts for reason in doubt(facts))
        return replace(found, doubts=tuple(dict.fromkeys([*found.doubts, *more])))

    return asked


def of_nights(key: str) -> MonthDoubt:
    """Where a number of the nights is doubtful in many of them."""

    def doubt(facts: MonthFacts) -> Iterator[Reason]:
        known = [night for night in facts.finished if night.value(key) is not None]
        bad = sum(bool(night.figure(key).doubts) for night in known)
        if known and bad >= MANY * len(known):
            yield Reason("nights_doubtful", count=bad, of=len(known))

    return doubt


def of_highest(key: str) -> MonthDoubt:
    """Where the night that is the highest is itself doubtful."""

    def doubt(facts: MonthFacts) -> Iterator[Reason]:
        known = [night for night in facts.finished if night.value(key) is not None]
        if known:
            yield from max(known, key=lambda night: night.value(key) or 0.0).figure(key).doubts

    return doubt


def newest_with(facts: MonthFacts, key: str) -> ComputedNight | None:
    """The last finished night on which a number is known."""
    return next((night for night in reversed(facts.finished) if night.value(key) is not None), None)


def of_newest(key: str) -> MonthDoubt:
    """Of the night whose number stands for the month; what only a weekly number of a night doubts is left out."""

    def doubt(facts: MonthFacts) -> Iterator[Reason]:
        night = newest_with(facts, key)
        yield from night.figure(key).doubts if night else ()

    return doubt


def not_entered(facts: MonthFacts) -> Iterator[Reason]:
    """Treatments that were due in the month and are not there: left out, or done and not written down."""
    if facts.in_treatment.missing:
        yield Reason("month_not_entered", count=len(facts.in_treatment.missing))


def of_volume(facts: MonthFacts) -> Iterator[Reason]:
    """Whether the volume of the fit is like the body."""
    weight = facts.prescription.target_weight_kg if facts.prescription else None
    return fitted.of_volume(facts.model, facts.course, weight_kg=weight, on=facts.span.month)


def of_body_alone(facts: MonthFacts) -> Iterator[Reason]:
    return fitted.of_body_alone(facts.model)


def of_forecast(facts: MonthFacts) -> Iterator[Reason]:
    return fitted.of_forecast(facts.model)


def unlike_fit(ask: Ask, part: str) -> MonthDoubt:
    """Whether the closed form lies further from the fit than the two usually do. part: of `DeliveredDose`."""

    def doubt(facts: MonthFacts) -> Iterator[Reason]:
        dose = facts.model.doses[0] if facts.model and facts.model.fitted else None
        closed = ask(facts).answer.number
        if closed is None or dose is None or isinstance(dose, Reason):
            return
        interval = dose.whole_interval if part == "whole" else dose.alone_interval
        if not interval.low * (1 + USUALLY_BELOW) <= closed <= interval.high * (1 + USUALLY_ABOVE):
            fitted = dose.whole if part == "whole" else dose.alone
            yield Reason("unlike_fitted", percent=round(100 * (closed / fitted - 1)))

    return doubt
