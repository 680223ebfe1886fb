"""Where each thing that went into the numbers of a night comes from; what is not named here, from its own record."""

from __future__ import annotations

from collections.abc import Callable

from dosing.services.course import fitted
from dosing.services.night.inputs import NightFacts
from dosing.services.numbers import kidney
from dosing.services.numbers.number import Inputs
from dosing.services.numbers.origin import Origin, OriginKind

Found = Callable[[NightFacts], Origin | None]


def _before(facts: NightFacts) -> Origin | None:
    """The interval: from the treatment that counts before this one, else as prescribed."""
    last = facts.course.before(facts.treatment)
    if last is None or facts.gap.days != (facts.treatment.start - last.start).total_seconds() / 86400:
        return _order(facts)
    return Origin(OriginKind.BEFORE, last.start)


def _weighed(facts: NightFacts) -> Origin | None:
    last = facts.weighed_before
    return Origin(OriginKind.BEFORE, last.start) if last else None


def _order(facts: NightFacts) -> Origin | None:
    order = facts.prescription
    return Origin(OriginKind.ORDER, order.in_force.lower) if order and order.in_force else None


def _pre(facts: NightFacts) -> Origin | None:
    return Origin(OriginKind.BLOOD, facts.pair.pre_at) if facts.pair else None


def _post(facts: NightFacts) -> Origin | None:
    return Origin(OriginKind.BLOOD, facts.pair.post_at) if facts.pair else None


def _often(facts: NightFacts) -> Origin | None:
    return _order(facts) if facts.frequency.as_prescribed else Origin(OriginKind.LATELY)


def _lately(facts: NightFacts) -> Origin:
    return Origin(OriginKind.LATELY)


def _urine(facts: NightFacts) -> Origin | None:
    return Origin(OriginKind.URINE, facts.kidney.collection.ended) if facts.kidney else Origin(OriginKind.NO_URINE)


def _person(facts: NightFacts) -> Origin:
    return Origin(OriginKind.PERSON)


def _model(facts: NightFacts) -> Origin:
    return Origin(OriginKind.MODEL)


def _access(facts: NightFacts) -> Origin:
    return Origin(OriginKind.ACCESS)


OF_INPUT: dict[str, Found] = {
    "pre": _pre,
    "post": _post,
    "post_sample": _post,
    "days_since_last": _before,
    "last_post_weight_kg": _weighed,
    "target_weight_kg": _order,
    "prescribed_minutes": _order,
    "per_week": _often,
    "done": _often,
    "days_in_treatment": _lately,
    "sex": _person,
    "age_years": _person,
    "height_cm": _person,
    "method": _access,
    "clearance_ml_min": _urine,
    **dict.fromkeys(kidney.QUANTITIES, _urine),
    **dict.fromkeys(fitted.QUANTITIES, _model),
}


def origins_of(facts: NightFacts, inputs: Inputs) -> dict[str, Origin]:
    """Of the inputs of one number, by their names."""
    found = ((name, OF_INPUT[name](facts)) for name, value in inputs.items() if name in OF_INPUT and value is not None)
    return {name: origin for name, origin in found if origin}
