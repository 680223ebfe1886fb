"""Numbers of a month that the fitted model gives: the dose as it was delivered, and protein broken down."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from dosing.science import nutrition
from dosing.science import sources as k
from dosing.science.delivered_search import LEVEL, QUANTILE
from dosing.science.reasons import Reason
from dosing.science.results import measure, unknown
from dosing.services.month.facts import MonthFacts
from dosing.services.numbers.number import Computation
from dosing.services.numbers.standing import NumberInterval
from dosing.services.planner.urea_model import UreaModel

MINUTES = float(k.MINUTES_PER_WEEK)


def week(*, with_kidney: bool) -> Callable[[MonthFacts], Computation]:
    """Weekly standard Kt/V of the treatments of the month as they were, with its interval."""

    def ask(facts: MonthFacts) -> Computation:
        model = facts.model
        if model is None:
            return Computation({}, unknown("1/wk", Reason("no_prescription")))
        dose = model.doses[0]
        if isinstance(dose, Reason):
            return Computation(_inputs(model), unknown("1/wk", dose))
        value, interval = (dose.whole, dose.whole_interval) if with_kidney else (dose.alone, dose.alone_interval)
        mean_pre = MINUTES * model.generation / (model.volume * dose.whole)
        inputs = _inputs(model) | {"mean_pre_mmol_l": mean_pre, "kidney_share": dose.of_kidney / dose.whole}
        return Computation(inputs, measure(value, "1/wk"), interval=interval)

    return ask


def _inputs(model: UreaModel) -> dict[str, Any]:
    return {
        "volume_l": model.volume,
        "volume_spread_l": model.volume_spread,
        "generation_mmol_min": model.generation,
        "kidney_clearance_ml_min": model.kidney,
        "clearance_share": model.person.clearance_factor,
        "pairs": model.pairs,
    }


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
