"""Where each thing that went into the numbers of a month comes from; what is not named here, from its treatments."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from dosing.services.course import fitted
from dosing.services.month.doubts import newest_with
from dosing.services.month.facts import MonthFacts
from dosing.services.numbers import kidney
from dosing.services.numbers.number import Computation
from dosing.services.numbers.origin import Origin, OriginKind

Found = Callable[[MonthFacts, Computation], Origin | None]


def _order(facts: MonthFacts, found: Computation) -> Origin | None:
    order = facts.prescription
    return Origin(OriginKind.ORDER, order.in_force.lower) if order and order.in_force else None


def _urine(facts: MonthFacts, found: Computation) -> Origin | None:
    return Origin(OriginKind.URINE, facts.kidney.collection.ended) if facts.kidney else Origin(OriginKind.NO_URINE)


def _volume(facts: MonthFacts, found: Computation) -> Origin:
    return Origin(OriginKind.MODEL if facts.model and facts.model.fitted else OriginKind.PERSON)


def _asked(facts: MonthFacts, found: Computation) -> Origin | None:
    """Length and number of what is needed are those prescribed; of what was done they come from the treatments."""
    return _order(facts, found) if "target" in found.inputs else None


def _guidance(facts: MonthFacts, found: Computation) -> Origin:
    return Origin(OriginKind.GUIDANCE)


def _model(facts: MonthFacts, found: Computation) -> Origin:
    return Origin(OriginKind.MODEL)


def _person(facts: MonthFacts, found: Computation) -> Origin:
    return Origin(OriginKind.PERSON)


def _dose(facts: MonthFacts, found: Computation) -> Origin | None:
    night = newest_with(facts, "single_pool_ktv")
    return Origin(OriginKind.BEFORE, night.record.started_at) if night else None


def _blood(facts: MonthFacts, found: Computation) -> Origin | None:
    return Origin(OriginKind.BLOOD, datetime.fromisoformat(found.at)) if found.at else None


def _measured(facts: MonthFacts, found: Computation) -> Origin | None:
    """A single value: of a treatment, else of a sample of water or of blood."""
    if not found.at:
        return None
    kind = OriginKind.BEFORE if "treatment" in found.inputs else OriginKind.BLOOD
    return Origin(OriginKind.WATER if "test" in found.inputs else kind, datetime.fromisoformat(found.at))


OF_INPUT: dict[str, Found] = {
    **dict.fromkeys(("prescribed", "prescribed_per_week", "prescribed_minutes", "dialysate_mmol_l"), _order),
    **dict.fromkeys((*kidney.QUANTITIES, "clearance_ml_min", "kidney_days", "urine_ml"), _urine),
    **dict.fromkeys(("calcium_mmol_l", "albumin_g_l", "serum_mmol_l"), _blood),
    **dict.fromkeys(fitted.QUANTITIES, _model),
    **dict.fromkeys(("sex", "age_years", "height_cm"), _person),
    "weight_kg": _order,
    **dict.fromkeys(("value", "test", "unit", "action", "limit", "treatment"), _measured),
    **dict.fromkeys(("minutes", "per_week"), _asked),
    "target": _guidance,
    "volume_l": _volume,
    "single_pool": _dose,
}


def origins_of(facts: MonthFacts, found: Computation) -> dict[str, Origin]:
    """Of the inputs of one number, by their names."""
    made = ((name, OF_INPUT[name](facts, found)) for name in found.inputs if name in OF_INPUT)
    return {name: origin for name, origin in made if origin}
