"""The numbers computed of every record: what each is called, how it is written, where its equation comes from.

Each entry names one function of the science and says which facts go into it. Nothing else in the house computes
a dose or a fluid figure.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime
from functools import wraps
from typing import Any

from django.utils.translation import gettext_noop as _

from dosing.science import access, adequacy, body, fluid, gate
from dosing.science import flows as circuit
from dosing.science.bloods import BEDSIDE_CODES
from dosing.science.course import SampleWay
from dosing.science.course_fluid import FluidBy
from dosing.science.reasons import Reason
from dosing.science.results import Measure, measure, unknown
from dosing.services.course import fitted
from dosing.services.night.inputs import NightFacts
from dosing.services.night.working import STEPS, WORDS, WRITTEN
from dosing.services.numbers import kidney
from dosing.services.numbers.number import (
    Asked,
    Catalogue,
    Computation,
    Doubt,
    Equation,
    Inputs,
    Number,
    Scope,
    ShownIn,
)
from dosing.services.numbers.papers import (
    COLLECTION,
    DAUGIRDAS,
    EBPG,
    FLYTHE,
    KDOQI_2006,
    MERMELSTEIN,
    SEEN,
    TATTERSALL,
    WEEK,
)
from sessions.facts.choices import AccessKind, EventKind


def _target(facts: NightFacts) -> float | None:
    return facts.prescription.target_weight_kg if facts.prescription else None


def _fluid(facts: NightFacts) -> Inputs:
    """What was taken off, and by which way it is known."""
    found = facts.treatment.fluid
    return {"uf_l": found.taken_off, "fluid_by": found.by}


def _fluid_rate(facts: NightFacts) -> Inputs:
    record = facts.record
    return _fluid(facts) | {"minutes": record.minutes, "post_weight_kg": record.post_weight_kg}


def _taken_off(*, uf_l: float, fluid_by: str) -> Measure:
    return measure(uf_l, "L")


@wraps(fluid.uf_rate)
def _rate(*, fluid_by: str, **inputs: Any) -> Measure:
    """fluid_by: said beside the others, and no part of the equation."""
    return fluid.uf_rate(**inputs)


def _looks(facts: NightFacts) -> Inputs:
    """The machine's volume so far: nought at the start, then as it was read, and its total at the end."""
    record = facts.record
    read = [(_minute(facts, each.at), each.uf_volume_l) for each in facts.readings if each.uf_volume_l is not None]
    if record.uf_removed_l is not None and record.minutes is not None:
        read = [look for look in read if look[0] < record.minutes] + [(record.minutes, record.uf_removed_l)]
    looks = [(0.0, 0.0), *(look for look in read if look[0] > 0)]
    return {
        "volumes_l": [volume for _at, volume in looks],
        "volume_minutes": [at for at, _volume in looks],
        "post_weight_kg": record.post_weight_kg,
    }


def _minute(facts: NightFacts, at: datetime) -> float:
    return (at - facts.record.started_at).total_seconds() / 60


def _as_noted(value: float | None, *, unit: str, what: str) -> Measure:
    return unknown(unit, Reason("not_noted", what=what)) if value is None else measure(value, unit)


def _no_fluid(facts: NightFacts) -> Reason | None:
    fluid_of = facts.treatment.fluid
    return None if fluid_of.by else gate.why_no_fluid(fluid_of)


def _doubt_fluid(facts: NightFacts, asked: Asked) -> Iterator[Reason]:
    return gate.fluid_doubts(facts.treatment.fluid)


def _gain(facts: NightFacts) -> Inputs:
    last = facts.weighed_before
    return {
        "pre_weight_kg": facts.record.pre_weight_kg,
        "last_post_weight_kg": last.post_weight_kg if last else None,
    }


def _doubt_gain(facts: NightFacts, asked: Asked) -> Iterator[Reason]:
    """What was gained since a treatment after which others were due says nothing of one interval."""
    if facts.gap.not_entered:
        yield Reason("gain_over_missing", count=facts.gap.not_entered)
    yield from (each for each in facts.gap.others if each.code == "away_between")


def _expected_weight(facts: NightFacts) -> Inputs:
    """By the machine's own volume: what is taken from the weights cannot be held against them."""
    found, record = facts.treatment.fluid, facts.record
    saline = found.given - (record.rinse_back_l or 0.0) - (record.intake_l or 0.0)
    return {
        "pre_weight_kg": record.pre_weight_kg,
        "uf_l": None if found.by == FluidBy.WEIGHTS else found.taken_off,
        "rinse_back_l": record.rinse_back_l,
        "intake_l": None if record.intake_l is None else record.intake_l + saline,
    }


def _processed(facts: NightFacts) -> Inputs:
    read = [reading for reading in facts.readings if reading.qb_ml_min is not None]
    return {
        "machine_l": facts.record.blood_processed_l,
        "flows_ml_min": [reading.qb_ml_min for reading in read],
        "minutes_at": [_minute(facts, reading.at) for reading in read],
        "end_minute": facts.record.minutes,
    }


def _blood_processed(
    *, machine_l: float | None, flows_ml_min: list[float], minutes_at: list[float], end_minute: float | None
) -> Measure:
    """The machine's own total; without one, the readings of the blood flow added up over time."""
    if machine_l is not None:
        return measure(machine_l, "L")
    if not flows_ml_min:
        return unknown("L", Reason("no_blood_volume"))
    if end_minute is None:
        return unknown("L", Reason("not_noted", what="the_end"))
    return circuit.blood_processed_l(flows_ml_min=flows_ml_min, minutes_at=minutes_at, end_minute=end_minute)


def _pairs_of(facts: NightFacts) -> list[tuple[float | None, float | None]]:
    """Systolic and diastolic pressures of before, during and after; those noted with an event are often the lowest."""
    record = facts.record
    pairs = [(record.pre_systolic, record.pre_diastolic)]
    pairs += [(reading.systolic, reading.diastolic) for reading in (*facts.readings, *facts.events)]
    return [*pairs, (record.post_systolic, record.post_diastolic)]


def _systolic(facts: NightFacts) -> Inputs:
    return {"pressures_mmhg": [systolic for systolic, _low in _pairs_of(facts) if systolic is not None]}


def _doubt_lowest(facts: NightFacts, asked: Asked) -> Iterator[Reason]:
    """A low pressure that nobody measured, or whose figure was not noted, may have been lower than every figure."""
    drops = [each for each in facts.events if each.kind == EventKind.HYPOTENSION and each.systolic is None]
    read = [each.at for each in facts.readings if each.systolic is not None]
    return gate.pressure_doubts([each.at for each in drops], read)


def _whole_pressures(facts: NightFacts) -> Inputs:
    whole = [pair for pair in _pairs_of(facts) if None not in pair]
    return {"systolic": [high for high, _low in whole], "diastolic": [low for _high, low in whole]}


def _lowest_mean(*, systolic: list[float], diastolic: list[float]) -> Measure:
    means = fluid.mean_arterial_pressure(systolic=systolic, diastolic=diastolic)
    return fluid.lowest_pressure(pressures_mmhg=means.value)


def _at_flow(name: str) -> Callable[[NightFacts], Inputs]:
    def inputs(facts: NightFacts) -> Inputs:
        read = [reading for reading in facts.readings if None not in (getattr(reading, name), reading.qb_ml_min)]
        return {
            "values": [getattr(reading, name) for reading in read],
            "flows_ml_min": [reading.qb_ml_min for reading in read],
        }

    return inputs


def _urea(facts: NightFacts) -> Inputs:
    pair = facts.pair
    return {"pre": pair.pre if pair else None, "post": pair.post if pair else None}


def _no_pair(facts: NightFacts) -> Reason | None:
    """Say plainly that there were no bloods, before any equation complains of a missing part."""
    return None if facts.pair else Reason("no_urea_pair")


def _long_treatment(facts: NightFacts) -> Reason | None:
    minutes = facts.treatment.minutes
    if minutes is None:
        return Reason("length_not_noted")
    return Reason("urr_of_long") if minutes >= gate.SHORT_TREATMENT else None


def _doubt_ratio(facts: NightFacts, asked: Asked) -> Iterator[Reason]:
    """Of the ratio of two samples, whatever is computed from it."""
    if facts.pair and facts.pair.way == SampleWay.UNPROTECTED:
        yield Reason("reduction_reads_high")
    if facts.pair and facts.pair.way == SampleWay.LATE:
        yield Reason("sample_was_late")
    yield from _doubt_samples(facts, asked)


def _doubt_samples(facts: NightFacts, asked: Asked) -> Iterator[Reason]:
    if facts.pair:
        yield from gate.pre_sample_doubts(facts.pair, facts.treatment)
        yield from gate.post_sample_doubts(facts.pair)


def _no_interval(facts: NightFacts) -> Reason | None:
    return facts.gap.why


def _dose(facts: NightFacts) -> Inputs:
    """What a dose is computed from; the fluid is net, as the equations mean it."""
    treatment, pair = facts.treatment, facts.pair
    return _urea(facts) | {
        "minutes": treatment.minutes,
        "net_uf_l": treatment.fluid.net,
        "fluid_by": treatment.fluid.by,
        "post_weight_kg": facts.record.post_weight_kg,
        "days_since_last": facts.gap.days,
        "post_sample": pair.way if pair else None,
        "not_counted": [each.minutes for each in gate.not_counted_between(facts.course, treatment)],
    }


def _hours(minutes: float | None) -> float:
    """NaN where it is not known: the science says so."""
    return math.nan if minutes is None else minutes / 60


@wraps(adequacy.single_pool_ktv)
def _single_pool(
    *, minutes: float | None, net_uf_l: float, fluid_by: str, not_counted: list[float], **others: Any
) -> Measure:
    """fluid_by, not_counted: said beside the others, and no part of the equation."""
    return adequacy.single_pool_ktv(hours=_hours(minutes), uf_l=net_uf_l, **others)


def _doubt_interval(facts: NightFacts, asked: Asked) -> Iterator[Reason]:
    """Treatments that were due and are not entered: the number takes them as left out; it says what it were if done."""
    gap = facts.gap
    other = asked(days_since_last=gap.usual) if gap.not_entered and gap.usual else None
    if other is not None:
        yield Reason("due_not_entered", count=gap.not_entered, other=round(other, 2))
    yield from gap.others


def _doubt_length(facts: NightFacts, asked: Asked) -> Iterator[Reason]:
    return gate.length_doubts(facts.treatment)


def _doubt_volume(facts: NightFacts, asked: Asked) -> Iterator[Reason]:
    """Whether the samples fit the body, by the single-pool dose whatever number is asked for."""
    dose = _single_pool_of_week(**_dose(facts)).number
    return gate.volume_doubts(facts.course, facts.treatment, dose) if dose is not None else iter(())


def _doubt_access(facts: NightFacts, asked: Asked) -> Iterator[Reason]:
    return gate.access_doubts(facts.treatment)


def _equilibrated(facts: NightFacts) -> Inputs:
    method = "tattersall_venous" if facts.treatment.access == AccessKind.CATHETER else "tattersall_arterial"
    return _dose(facts) | {"method": method}


def _equilibrated_ktv(*, method: str, **dose: Any) -> Measure:
    """From the single-pool value, or straight from a late sample."""
    if dose["post_sample"] == SampleWay.LATE:
        return _from_late_sample(**dose)
    single = _single_pool(**dose)
    if not single.known:
        return single
    return adequacy.equilibrated_ktv(single_pool=single.value, minutes=dose["minutes"], method=method)


def _from_late_sample(**dose: Any) -> Measure:
    return adequacy.equilibrated_ktv_from_late_sample(
        pre=dose["pre"],
        late=dose["post"],
        hours=_hours(dose["minutes"]),
        uf_l=dose["net_uf_l"],
        post_weight_kg=dose["post_weight_kg"],
        days_since_last=dose["days_since_last"],
    )


def _weekly(facts: NightFacts) -> Inputs:
    patient, weight = facts.patient, facts.record.post_weight_kg
    return _dose(facts) | {
        "per_week": facts.frequency.per_week,
        "done": None if facts.frequency.as_prescribed else facts.frequency.done,
        "days_in_treatment": facts.frequency.days,
        "sex": patient.sex,
        "age_years": facts.age_years,
        "height_cm": patient.height_cm,
        "weight_kg": weight,
    }


def _weekly_with_kidney(facts: NightFacts) -> Inputs:
    """The kidney as it was last measured, aged to that day; none where no collection counted then."""
    return _weekly(facts) | kidney.counted(facts.kidney)


def _kidney(facts: NightFacts) -> Inputs:
    return {
        "clearance_ml_min": facts.kidney.collection.clearance if facts.kidney else None,
        "height_cm": facts.patient.height_cm,
        "weight_kg": facts.record.post_weight_kg or _target(facts),
    }


def _weekly_ktv(
    *,
    per_week: float | None,
    done: int | None,
    days_in_treatment: int,
    sex: str,
    age_years: float,
    height_cm: float,
    weight_kg: float,
    kidney_clearance_ml_min: float = 0.0,
    kidney_measured_ml_min: float | None = None,
    kidney_age_days: float | None = None,
    **dose: Any,
) -> Measure:
    """done, days_in_treatment: where per_week comes from; kidney_measured_ml_min, kidney_age_days: where the clearance
    comes from. They are said beside the others."""
    minutes = dose["minutes"]
    single = _single_pool_of_week(**dose)
    volume = body.total_body_water_watson(sex=sex, age_years=age_years, height_cm=height_cm, weight_kg=weight_kg)
    if why := single.reason or volume.reason:
        return unknown("1/wk", why)
    if per_week is None:
        return unknown("1/wk", Reason("no_frequency"))
    return adequacy.standard_weekly_ktv_with_fluid_and_kidney(
        single_pool=single.value,
        minutes=minutes,
        per_week=per_week,
        weekly_uf_l=per_week * dose["net_uf_l"],
        volume_l=volume.value,
        kidney_clearance_ml_min=kidney_clearance_ml_min,
    )


def _single_pool_of_week(**dose: Any) -> Measure:
    """The single-pool value, or with a late sample the one whose equilibrated value the weekly equation takes."""
    if dose["post_sample"] != SampleWay.LATE:
        return _single_pool(**dose)
    late = _from_late_sample(**dose)
    return (
        adequacy.single_pool_of_equilibrated(equilibrated=late.value, minutes=dose["minutes"]) if late.known else late
    )


def _doubt_week(facts: NightFacts, asked: Asked) -> Iterator[Reason]:
    yield from gate.frequency_doubts(facts.frequency)
    yield from gate.week_doubts(facts.course, facts.treatment)


def _fitted(*, with_kidney: bool) -> Callable[[NightFacts], Computation]:
    """The dose of the four weeks up to this treatment by the fit; asked for where there are bloods, as every dose is.

    It answers where the logarithm refuses: long nights, after which hardly any urea is left.
    """

    def ask(facts: NightFacts) -> Computation:
        if why := _no_pair(facts):
            return Computation({}, unknown("1/wk", why))
        found = fitted.week(facts.fit, with_kidney=with_kidney)
        return found if found.answer.number is None else replace(found, doubts=tuple(_doubt_fit(facts)))

    return ask


def _doubt_fit(facts: NightFacts) -> Iterator[Reason]:
    yield from gate.frequency_doubts(facts.frequency)
    yield from fitted.of_body_alone(facts.fit)
    yield from fitted.of_volume(facts.fit, facts.course, weight_kg=_target(facts), on=facts.treatment.day)
    yield from fitted.of_forecast(facts.fit)


def _delivered(facts: NightFacts) -> Inputs:
    return {
        "delivered_minutes": facts.record.minutes,
        "prescribed_minutes": facts.prescription.minutes if facts.prescription else None,
    }


def _pressure_pair(when: str) -> Callable[[NightFacts], Inputs]:
    return lambda facts: {
        "systolic": getattr(facts.record, f"{when}_systolic"),
        "diastolic": getattr(facts.record, f"{when}_diastolic"),
    }


BALANCE = _("mass balance")
RECORD = _("as the record says")
PRACTICE = _("common practice, no source")
OF_DOSE: tuple[Doubt[NightFacts], ...] = (_doubt_samples, _doubt_interval, _doubt_fluid, _doubt_length, _doubt_volume)
"""What makes every dose doubtful."""
NO_DOSE = (_no_pair, _no_fluid, _no_interval)
TABLE, ANSWER, PHONE = ShownIn.TREATMENTS, ShownIn.ANSWER, ShownIn.PHONE


def _noted(value: Callable[[NightFacts], float | None], unit: str, what: str) -> Equation[NightFacts]:
    """A number that is taken over as it was noted."""
    return Equation(lambda facts: {"value": value(facts)}, lambda value: _as_noted(value, unit=unit, what=what))


def _number(
    key: str,
    names: tuple[str, str],
    unit: str,
    decimals: int,
    origin: str,
    ask: Equation[NightFacts] | Callable[[NightFacts], Computation],
    *places: ShownIn,
    percent: bool = False,
    loinc: str = "",
) -> Number[NightFacts]:
    return Number(
        *(key, *names, unit, decimals, WRITTEN[key], origin, ask),
        scope=Scope.NIGHT, places=frozenset(places), percent=percent, loinc=loinc, seen=SEEN.get(origin),
        words=WORDS.get(key, {}), steps=STEPS.get(key), note=kidney.note_of(key),
    )  # fmt: skip


# In the order in which a patient asks: how long, how much, how the pressures were, how much of a dose.
NIGHT_NUMBERS: Catalogue[NightFacts] = Catalogue(
    _number("minutes", (_("Length"), _("Length")), "min", 0, RECORD,
            _noted(lambda facts: facts.record.minutes, "min", "the_end"), ANSWER, TABLE),
    _number("delivered", (_("Length, of prescribed"), _("Length of prescribed")), "1", 2,
            RECORD, Equation(_delivered, fluid.delivered_fraction), percent=True),
    _number("uf_volume", (_("Fluid removed (UF)"), _("UF")), "L", 2,
            RECORD, Equation(_fluid, _taken_off, (_no_fluid,), (_doubt_fluid,)), ANSWER, TABLE, PHONE),
    _number("uf_rate", (_("UF rate"), _("UF rate")), "mL/kg/h", 1, FLYTHE,
            Equation(_fluid_rate, _rate, (_no_fluid,), (_doubt_fluid,)), ANSWER, TABLE, PHONE),
    _number("uf_rate_fastest", (_("UF rate, fastest between two looks"), _("UF rate, fastest")), "mL/kg/h", 1, FLYTHE,
            Equation(_looks, fluid.fastest_uf_rate), ANSWER),
    _number("uf_rate_by_weight", (_("UF rate line that grows with weight"), _("UF rate line by weight")), "mL/kg/h", 1,
            MERMELSTEIN, Equation(lambda facts: {"post_weight_kg": facts.record.post_weight_kg},
                     fluid.weight_scaled_uf_limit_per_kg)),
    _number("gain", (_("Gained since last treatment"), _("Gained")), "kg", 1, BALANCE,
            Equation(_gain, fluid.interdialytic_gain_kg, doubts=(_doubt_gain,)), ANSWER, TABLE, PHONE),
    _number("gain_percent", (_("Gained, of target weight"), _("Gained of target")), "%", 1, EBPG,
            Equation(lambda facts: _gain(facts) | {"target_weight_kg": _target(facts)},
                     fluid.interdialytic_gain_percent, doubts=(_doubt_gain,))),
    _number("off_target", (_("Weight after, off target"), _("Off target")), "kg", 1, BALANCE,
            Equation(lambda facts: {"post_weight_kg": facts.record.post_weight_kg, "target_weight_kg": _target(facts)},
                     fluid.target_deviation_kg), ANSWER, TABLE),
    _number("expected_weight", (_("Weight after, as fluid says"), _("Weight after by fluid")), "kg", 1,
            BALANCE, Equation(_expected_weight, fluid.expected_post_weight)),
    _number("mean_pressure_before", (_("Mean pressure before"), _("Mean pressure before")), "mmHg", 0,
            PRACTICE, Equation(_pressure_pair("pre"), fluid.mean_arterial_pressure)),
    _number("mean_pressure_after", (_("Mean pressure after"), _("Mean pressure after")), "mmHg", 0,
            PRACTICE, Equation(_pressure_pair("post"), fluid.mean_arterial_pressure)),
    _number("lowest_systolic", (_("Lowest systolic pressure, standing not counted"), _("Lowest systolic")), "mmHg", 0,
            RECORD, Equation(_systolic, fluid.lowest_pressure, doubts=(_doubt_lowest,)), ANSWER, TABLE),
    _number("lowest_mean", (_("Lowest mean pressure"), _("Lowest mean pressure")), "mmHg", 0,
            PRACTICE, Equation(_whole_pressures, _lowest_mean, doubts=(_doubt_lowest,))),
    _number("blood_flow_median", (_("Blood flow, median of the treatment"), _("Blood flow, median")), "mL/min", 0,
            RECORD, Equation(_at_flow("qb_ml_min"), access.median_at_treatment_flow)),
    _number("venous_median", (_("Venous pressure, median of the treatment"), _("Venous, median")), "mmHg", 0,
            RECORD, Equation(_at_flow("venous_mmhg"), access.median_at_treatment_flow), ANSWER, TABLE, PHONE),
    _number("arterial_median", (_("Arterial pressure, median of the treatment"), _("Arterial, median")), "mmHg", 0,
            RECORD, Equation(_at_flow("arterial_mmhg"), access.median_at_treatment_flow), ANSWER, TABLE, PHONE),
    _number("blood_processed", (_("Blood processed"), _("Blood processed")), "L", 1,
            _("integral by the trapezoid rule"),
            Equation(_processed, _blood_processed), ANSWER),
    _number("bleeding", (_("Longest bleeding after needles"), _("Bleeding")), "min", 0, RECORD,
            _noted(lambda facts: facts.longest_bleeding, "min", "bleeding_time"), ANSWER),
    _number("urr", (_("Urea reduction ratio"), "URR"), "%", 0, KDOQI_2006,
            Equation(_urea, adequacy.urea_reduction_ratio, (_no_pair, _long_treatment), (_doubt_ratio,))),
    _number("single_pool_ktv", (_("Single-pool Kt/V"), "spKt/V"), "1", 2, DAUGIRDAS,
            Equation(_dose, _single_pool, NO_DOSE, OF_DOSE),
            loinc=BEDSIDE_CODES["single_pool_ktv"][0]),
    _number("equilibrated_ktv", (_("Equilibrated Kt/V"), "eKt/V"), "1", 2,
            TATTERSALL, Equation(_equilibrated, _equilibrated_ktv, NO_DOSE, (*OF_DOSE, _doubt_access))),
    _number("standard_ktv", (_("Weekly standard Kt/V, no kidney"), _("Weekly stdKt/V")), "1/wk", 2,
            WEEK, Equation(_weekly, _weekly_ktv, NO_DOSE, (*OF_DOSE, _doubt_week)), ANSWER, TABLE, PHONE),
    _number("standard_ktv_kidney", (_("Weekly standard Kt/V, with the kidney"), _("Weekly stdKt/V + kidney")), "1/wk",
            2, WEEK,
            Equation(_weekly_with_kidney, _weekly_ktv, NO_DOSE, (*OF_DOSE, _doubt_week))),
    _number("fitted_week", (_("Weekly standard Kt/V of four weeks modelled, no kidney"), _("modelled stdKt/V")), "1/wk",
            2, fitted.MODEL, _fitted(with_kidney=False), ANSWER, TABLE, PHONE),
    _number("fitted_week_kidney",
            (_("Weekly standard Kt/V of four weeks modelled, with the kidney"), _("modelled stdKt/V + kidney")), "1/wk",
            2, fitted.MODEL, _fitted(with_kidney=True)),
    _number("kidney", (_("Urea clearance of the kidneys at the time"), _("Kidney then")), "mL/min/1.73 m2", 1,
            COLLECTION, Equation(_kidney, kidney.per_surface)),
)  # fmt: skip
