"""What a month says of two numbers held together: calcium with albumin, potassium with the bath."""

from __future__ import annotations

from dosing.science import bloods
from dosing.science.reasons import Reason
from dosing.science.results import Measure, unknown
from dosing.services.month.facts import MonthFacts
from dosing.services.numbers.number import Computation
from dosing.services.results.calcium import albumin_with
from sessions.facts.choices import Analyte
from sessions.models import BloodResult

UNIT = "mmol/L"


def corrected_calcium(facts: MonthFacts) -> Computation:
    """The newest total calcium of the month as it would be at an albumin of 40 g/L."""
    found = facts.newest(Analyte.CALCIUM)
    if found is None:
        return Computation({}, unknown(UNIT, Reason("no_result")))
    albumin = albumin_with(found, facts.bloods)
    if albumin is None:
        return Computation({}, unknown(UNIT, Reason("no_albumin_with_it")), found.drawn_at.isoformat())
    inputs = {"calcium_mmol_l": found.value, "albumin_g_l": albumin.value}
    return Computation(
        inputs, _of_this_month(facts, found, bloods.corrected_calcium(**inputs)), found.drawn_at.isoformat()
    )


def _of_this_month(facts: MonthFacts, found: BloodResult, answer: Measure) -> Measure:
    """An answer from a result of an earlier month is told as that, and not taken for the month's."""
    if found.drawn_at >= facts.span.since or answer.number is None:
        return answer
    return unknown(UNIT, told_as_old(facts, found, answer.number, UNIT))


def told_as_old(facts: MonthFacts, found: BloodResult, value: float, unit: str) -> Reason:
    """Of what was not measured in the month: the value and its day, which stays right whenever it is read."""
    day = found.drawn_at.astimezone(facts.span.zone).date().isoformat()
    return Reason("result_of", value=float(f"{value:.3g}"), unit=unit, day=day)


def potassium_gradient(facts: MonthFacts) -> Computation:
    """The newest potassium of the month before a treatment, less what the prescription has in the dialysate."""
    found, orders = facts.newest(Analyte.POTASSIUM), facts.prescription
    bath = orders.dialysate_k_mmol_l if orders else None
    if found is None:
        return Computation({}, unknown(UNIT, Reason("no_result")))
    if found.drawn_at < facts.span.since:
        return Computation({}, unknown(UNIT, Reason("no_potassium_this_month")), found.drawn_at.isoformat())
    if bath is None:
        return Computation({}, unknown(UNIT, Reason("no_gradient")))
    inputs = {"serum_mmol_l": found.value, "dialysate_mmol_l": bath}
    return Computation(inputs, bloods.potassium_gradient(**inputs), found.drawn_at.isoformat())
