"""What a month says of fluid and pressure, treatment by treatment."""

from __future__ import annotations

from collections.abc import Iterator
from statistics import fmean

from dosing.science import fluid
from dosing.science.reasons import Reason
from dosing.science.results import measure, unknown
from dosing.services.month.facts import MonthFacts
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.numbers.number import Computation


def _share(hits: list[bool], counted: str, why: str) -> Computation:
    inputs = {counted: sum(hits), "nights_judged": len(hits)}
    return Computation(inputs, measure(fmean(hits), "1") if hits else unknown("1", Reason(why)))


def high_uf_share(facts: MonthFacts) -> Computation:
    """Treatments that the US measure counts: 13 mL/kg/h or more in less than 240 minutes."""
    known = ((night.value("uf_rate"), night.value("minutes")) for night in facts.finished)
    as_read = NIGHT_NUMBERS["uf_rate"].rounded
    judged = [
        bool(as_read(rate) >= fluid.HIGH_UF_RATE and minutes < fluid.HIGH_UF_MINUTES)
        for rate, minutes in known
        if rate is not None and minutes is not None
    ]
    return _share(judged, "nights_fast_and_short", "no_uf_rate")


def hypotension_share(facts: MonthFacts) -> Computation:
    """Treatments with a low pressure by its lowest value, of those with a pressure before and later."""
    return _share(list(_low_or_not(facts)), "nights_low", "never_noted")


def _low_or_not(facts: MonthFacts) -> Iterator[bool]:
    for night in facts.finished:
        before, lowest = night.record.pre_systolic, night.value("lowest_systolic")
        if before is None or lowest is None:
            continue
        found = fluid.intradialytic_hypotension(definition="nadir", pre_systolic=before, lowest_systolic=lowest)
        if found.number is not None:
            yield found.number > 0


def fluid_load(facts: MonthFacts) -> Computation:
    """Mean over the treatments of the fluid above target weight, half before and half after."""
    values = []
    for night in facts.finished:
        record, orders = night.record, night.prescription
        if record.pre_weight_kg is None or record.post_weight_kg is None or orders is None:
            continue
        found = fluid.time_averaged_fluid_load_kg(
            pre_weight_kg=record.pre_weight_kg,
            post_weight_kg=record.post_weight_kg,
            target_weight_kg=orders.target_weight_kg,
        )
        values += [] if found.number is None else [found.number]
    answer = measure(fmean(values), "kg") if values else unknown("kg", Reason("no_night_has_it"))
    return Computation({"values": values}, answer)


def prescribed_minutes(facts: MonthFacts) -> Computation:
    """The length in force at the end of the month."""
    if facts.prescription is None:
        return Computation({}, unknown("min", Reason("no_prescription")))
    return Computation({}, measure(float(facts.prescription.minutes), "min"))
