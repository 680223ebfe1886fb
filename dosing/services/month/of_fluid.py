"""What a month says of fluid and pressure, treatment by treatment."""

from __future__ import annotations

from collections.abc import Iterator
from statistics import fmean

from dosing.science import fluid
from dosing.science.reasons import Reason
from dosing.science.results import Measure, measure, unknown
from dosing.services.month.facts import MonthFacts
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.night.low_pressure import noted_without_figure
from dosing.services.numbers.number import Computation, Inputs


def _share(hits: list[bool], inputs: Inputs, why: str) -> Computation:
    return Computation(inputs, measure(fmean(hits), "1") if hits else unknown("1", Reason(why)))


def high_uf_share(facts: MonthFacts) -> Computation:
    """Treatments that the US measure counts: 13 mL/kg/h or more in less than 240 minutes."""
    as_read = NIGHT_NUMBERS["uf_rate"].rounded
    known = [
        (as_read(rate), minutes, night.record.night.isoformat())
        for night in facts.finished
        if (rate := night.value("uf_rate")) is not None and (minutes := night.value("minutes")) is not None
    ]
    counted = [bool(rate >= fluid.HIGH_UF_RATE and minutes < fluid.HIGH_UF_MINUTES) for rate, minutes, _night in known]
    inputs = {
        "each_night": [each[2] for each in known],
        "rates": [each[0] for each in known],
        "minutes_each": [each[1] for each in known],
    }
    return _share(counted, inputs, "no_uf_rate")


def hypotension_share(facts: MonthFacts) -> Computation:
    """Treatments with a low pressure by its lowest value, or as it was noted without a figure, of those with a pressure
    before and later.
    """
    known = [
        (before, lowest, noted or found.number > 0, night, noted)
        for night, before, lowest, noted in _pressures(facts)
        if (found := _low(before, lowest)).number is not None
    ]
    inputs = {
        "each_night": [each[3] for each in known],
        "pre_systolic": [each[0] for each in known],
        "lowest_systolic": [each[1] for each in known],
        "noted_low": [float(each[4]) for each in known],
    }
    return _share([each[2] for each in known], inputs, "never_noted")


def _low(before: float, lowest: float) -> Measure:
    return fluid.intradialytic_hypotension(definition="nadir", pre_systolic=before, lowest_systolic=lowest)


def _pressures(facts: MonthFacts) -> Iterator[tuple[str, float, float, bool]]:
    """Night (ISO), systolic pressure before and lowest of each treatment that has both, and whether a lower one was
    noted without a figure.
    """
    for night in facts.finished:
        before, lowest = night.record.pre_systolic, night.value("lowest_systolic")
        if before is not None and lowest is not None:
            yield night.record.night.isoformat(), before, lowest, noted_without_figure(night.numbers)


def fluid_load(facts: MonthFacts) -> Computation:
    """Mean over the treatments of the fluid above target weight, half before and half after."""
    known = [
        (night.record.night.isoformat(), before, after, night.prescription.target_weight_kg)
        for night in facts.finished
        if night.prescription
        and (before := night.record.pre_weight_kg) is not None
        and (after := night.record.post_weight_kg) is not None
    ]
    loads = [(each, load) for each in known if (load := _load(*each[1:])) is not None]
    names = ("each_night", "pre_weights_kg", "post_weights_kg", "target_weights_kg")
    inputs = {name: [each[at] for each, _load in loads] for at, name in enumerate(names)}
    values = [load for _each, load in loads]
    return Computation(inputs, measure(fmean(values), "kg") if values else unknown("kg", Reason("no_night_has_it")))


def _load(before: float, after: float, target: float) -> float | None:
    weights = {"pre_weight_kg": before, "post_weight_kg": after, "target_weight_kg": target}
    return fluid.time_averaged_fluid_load_kg(**weights).number


def prescribed_minutes(facts: MonthFacts) -> Computation:
    """The mean of the lengths that were in force at each treatment done; before any, the length in force."""
    asked = [
        (night.record.night.isoformat(), night.prescription.minutes) for night in facts.finished if night.prescription
    ]
    if asked:
        minutes = [float(each) for _night, each in asked]
        inputs = {"each_night": [night for night, _each in asked], "prescribed_each": minutes}
        return Computation(inputs, measure(fmean(minutes), "min"))
    if facts.prescription is None:
        return Computation({}, unknown("min", Reason("no_prescription")))
    in_force = float(facts.prescription.minutes)
    return Computation({"prescribed_each": [in_force]}, measure(in_force, "min"))
