"""Numbers of a month that the fitted model gives: the dose as it was delivered, and protein broken down."""

from __future__ import annotations

import math
from collections.abc import Callable

from dosing.science import nutrition
from dosing.science import sources as k
from dosing.science.delivered_search import LEVEL, QUANTILE
from dosing.science.reasons import Reason
from dosing.science.results import unknown
from dosing.services.course import fitted
from dosing.services.month.facts import MonthFacts
from dosing.services.numbers.number import Computation
from dosing.services.numbers.standing import NumberInterval


def week(*, with_kidney: bool) -> Callable[[MonthFacts], Computation]:
    """Weekly standard Kt/V of the treatments of the month as they were, with its interval."""
    return lambda facts: fitted.week(facts.model, with_kidney=with_kidney)


def npcr(facts: MonthFacts) -> Computation:
    """Protein broken down, by G and V of the model, with its interval."""
    model = facts.model
    if model is None or not model.fitted:
        why = Reason("no_fitted_model", why=model.why) if model else Reason("no_prescription")
        return Computation({}, unknown("g/kg/d", why))
    inputs = {"generation_mmol_min": model.generation, "volume_l": model.volume}
    answer = nutrition.normalised_protein_catabolic_rate(**inputs)
    if answer.number is None:
        return Computation(inputs, answer)
    # The part that goes with G/V is as unsure as that; the rest is a constant of the equation.
    wide = math.exp(QUANTILE * model.spread_of(-1, 0, 1))
    fixed = float(k.PCR_PER_VOLUME * k.WATER_SHARE_OF_WEIGHT)
    moving = answer.number - fixed
    return Computation(inputs, answer, interval=NumberInterval(fixed + moving / wide, fixed + moving * wide, LEVEL))
