"""The numbers computed of every record: what each is called, how it is written, where its equation comes from.

Each entry names one function of the science and says which facts go into it. Nothing else in the house computes
a dose or a fluid figure.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.utils.translation import gettext_noop as _

from dosing.science import access, adequacy, body, fluid
from dosing.science import flows as circuit
from dosing.science.bloods import BEDSIDE_CODES
from dosing.science.kidney import clearance_per_surface, plasma_water_clearance
from dosing.science.reasons import Reason
from dosing.science.results import Measure, measure, unknown
from dosing.services.night.inputs import NightFacts, has_catheter
from dosing.services.numbers.number import Catalogue, Equation, Inputs, Number, Scope, ShownIn
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


def _target(facts: NightFacts) -> float | None:
    return facts.prescription.target_weight_kg if facts.prescription else None


def _fluid_rate(facts: NightFacts) -> Inputs:
    record = facts.record
    return {"uf_l": uf_volume(facts), "minutes": record.minutes, "post_weight_kg": record.post_weight_kg}


def uf_volume(facts: NightFacts) -> float | None:
    """What the machine took off: its total, else the last reading of the volume."""
    if facts.record.uf_removed_l is not None:
        return facts.record.uf_removed_l
    read = [reading.uf_volume_l for reading in facts.readings if reading.uf_volume_l is not None]
    return read[-1] if read else None


def _as_noted(value: float | None, *, unit: str, what: str) -> Measure:
    return unknown(unit, Reason("not_noted", what=what)) if value is None else measure(value, unit)


def _gain(facts: NightFacts) -> Inputs:
    last = facts.last_record
    return {
        "pre_weight_kg": facts.record.pre_weight_kg,
        "last_post_weight_kg": last.post_weight_kg if last else None,
    }


def _expected_weight(facts: NightFacts) -> Inputs:
    record = facts.record
    return {
        "pre_weight_kg": record.pre_weight_kg,
        "uf_l": uf_volume(facts),
        "rinse_back_l": record.rinse_back_l,
        "intake_l": record.intake_l,
    }


def _processed(facts: NightFacts) -> Inputs:
    start = facts.record.started_at
    read = [reading for reading in facts.readings if reading.qb_ml_min is not None]
    return {
        "machine_l": facts.record.blood_processed_l,
        "flows_ml_min": [reading.qb_ml_min for reading in read],
        "minutes_at": [(reading.at - start).total_seconds() / 60 for reading in read],
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
    """Systolic and diastolic pressures of before, during and after."""
    record = facts.record
    pairs = [(record.pre_systolic, record.pre_diastolic)]
    pairs += [(reading.systolic, reading.diastolic) for reading in facts.readings]
    return [*pairs, (record.post_systolic, record.post_diastolic)]


def _systolic(facts: NightFacts) -> Inputs:
    return {"pressures_mmhg": [systolic for systolic, _low in _pairs_of(facts) if systolic is not None]}


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
    return {"pre": facts.urea_pre, "post": facts.urea_post}


def _single_pool(facts: NightFacts) -> Inputs:
    minutes = facts.record.minutes
    return _urea(facts) | {
        "hours": None if minutes is None else minutes / 60,
        "uf_l": uf_volume(facts),
        "post_weight_kg": facts.record.post_weight_kg,
        "days_since_last": facts.days_since_last,
        "post_sample": facts.post_sample,
    }


def _with_bloods(compute: Callable[..., Measure]) -> Callable[..., Measure]:
    """Say plainly that there were no bloods, before any equation complains of a missing part."""

    @wraps(compute)
    def checked(*, pre: float | None, post: float | None, **others: Any) -> Measure:
        if pre is None or post is None:
            return unknown("1", Reason("no_urea_pair"))
        return compute(pre=pre, post=post, **others)

    return checked


def _equilibrated(facts: NightFacts) -> Inputs:
    method = "tattersall_venous" if has_catheter(facts) else "tattersall_arterial"
    return _single_pool(facts) | {"minutes": facts.record.minutes, "method": method}


def _equilibrated_ktv(*, minutes: float, method: str, **others: Any) -> Measure:
    single = adequacy.single_pool_ktv(**others)
    if not single.known:
        return single
    return adequacy.equilibrated_ktv(single_pool=single.value, minutes=minutes, method=method)


def _weekly(facts: NightFacts) -> Inputs:
    patient, weight = facts.patient, facts.record.post_weight_kg
    return _single_pool(facts) | {
        "minutes": facts.record.minutes,
        "per_week": facts.prescription.days_per_week if facts.prescription else None,
        "sex": patient.sex,
        "age_years": facts.age_years,
        "height_cm": patient.height_cm,
        "weight_kg": weight,
    }


def _weekly_with_kidney(facts: NightFacts) -> Inputs:
    """The kidney as it was last measured; none where no collection counted then."""
    clearance = facts.kidney.urea.number if facts.kidney else None
    water = 0.0 if clearance is None else plasma_water_clearance(clearance_ml_min=clearance).number
    return _weekly(facts) | {"kidney_clearance_ml_min": water}


def _kidney(facts: NightFacts) -> Inputs:
    return {
        "clearance_ml_min": facts.kidney.urea.number if facts.kidney else None,
        "height_cm": facts.patient.height_cm,
        "weight_kg": facts.record.post_weight_kg or _target(facts),
    }


def _kidney_per_surface(*, clearance_ml_min: float | None, height_cm: float, weight_kg: float | None) -> Measure:
    if clearance_ml_min is None:
        return unknown("mL/min/1.73 m2", Reason("no_collection"))
    if weight_kg is None:
        return unknown("mL/min/1.73 m2", Reason("not_given", what="weight_after"))
    surface = body.surface_area_du_bois(height_cm=height_cm, weight_kg=weight_kg)
    return clearance_per_surface(clearance_ml_min=clearance_ml_min, surface_m2=surface.value)


def _weekly_ktv(
    *,
    minutes: float,
    per_week: float | None,
    sex: str,
    age_years: float,
    height_cm: float,
    weight_kg: float,
    kidney_clearance_ml_min: float = 0.0,
    **others: Any,
) -> Measure:
    single = adequacy.single_pool_ktv(**others)
    volume = body.total_body_water_watson(sex=sex, age_years=age_years, height_cm=height_cm, weight_kg=weight_kg)
    if why := single.reason or volume.reason:
        return unknown("1/wk", why)
    if per_week is None:
        return unknown("1/wk", Reason("no_frequency"))
    return adequacy.standard_weekly_ktv_with_fluid_and_kidney(
        single_pool=single.value,
        minutes=minutes,
        per_week=per_week,
        weekly_uf_l=per_week * others["uf_l"],
        volume_l=volume.value,
        kidney_clearance_ml_min=kidney_clearance_ml_min,
    )


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
TABLE, ANSWER, PHONE = ShownIn.TREATMENTS, ShownIn.ANSWER, ShownIn.PHONE


def _noted(value: Callable[[NightFacts], float | None], unit: str, what: str) -> Equation[NightFacts]:
    """A number that is taken over as it was noted."""
    return Equation(lambda facts: {"value": value(facts)}, lambda value: _as_noted(value, unit=unit, what=what))


def _number(
    key: str,
    names: tuple[str, str],
    unit: str,
    decimals: int,
    written: str,
    origin: str,
    ask: Equation[NightFacts],
    *places: ShownIn,
    percent: bool = False,
    loinc: str = "",
) -> Number[NightFacts]:
    return Number(
        *(key, *names, unit, decimals, written, origin, ask),
        scope=Scope.NIGHT, places=frozenset(places), percent=percent, loinc=loinc, seen=SEEN.get(origin),
    )  # fmt: skip


# In the order in which a patient asks: how long, how much, how the pressures were, how much of a dose.
NIGHT_NUMBERS: Catalogue[NightFacts] = Catalogue(
    _number("minutes", (_("Length"), _("Length")), "min", 0, _("end − start"), RECORD,
            _noted(lambda facts: facts.record.minutes, "min", "the_end"), ANSWER, TABLE),
    _number("delivered", (_("Length, of prescribed"), _("Length of prescribed")), "1", 2,
            _("t delivered / t prescribed"), RECORD, Equation(_delivered, fluid.delivered_fraction), percent=True),
    _number("uf_volume", (_("Fluid removed (UF)"), _("UF")), "L", 2, _("the machine's total, else the last reading"),
            RECORD, _noted(uf_volume, "L", "fluid_removed"), ANSWER, TABLE, PHONE),
    _number("uf_rate", (_("UF rate"), _("UF rate")), "mL/kg/h", 1, _("60000 · UF / (t · W after)"), FLYTHE,
            Equation(_fluid_rate, fluid.uf_rate), ANSWER, TABLE, PHONE),
    _number("uf_rate_by_weight", (_("UF rate line that grows with weight"), _("UF rate line by weight")), "mL/kg/h", 1,
            _("(3 · W after + 500) / W after"),
            MERMELSTEIN,
            Equation(lambda facts: {"post_weight_kg": facts.record.post_weight_kg},
                     fluid.weight_scaled_uf_limit_per_kg)),
    _number("gain", (_("Gained since last treatment"), _("Gained")), "kg", 1, _("W before − W after last time"),
            BALANCE, Equation(_gain, fluid.interdialytic_gain_kg), ANSWER, TABLE, PHONE),
    _number("gain_percent", (_("Gained, of target weight"), _("Gained of target")), "%", 1, _("100 · gain / W target"),
            EBPG,
            Equation(lambda facts: _gain(facts) | {"target_weight_kg": _target(facts)},
                     fluid.interdialytic_gain_percent)),
    _number("off_target", (_("Weight after, off target"), _("Off target")), "kg", 1, _("W after − W target"), BALANCE,
            Equation(lambda facts: {"post_weight_kg": facts.record.post_weight_kg, "target_weight_kg": _target(facts)},
                     fluid.target_deviation_kg), ANSWER, TABLE),
    _number("expected_weight", (_("Weight after, as fluid says"), _("Weight after by fluid")), "kg", 1,
            _("W before − UF + rinse-back + drinks"), BALANCE,
            Equation(_expected_weight, fluid.expected_post_weight)),
    _number("mean_pressure_before", (_("Mean pressure before"), _("Mean pressure before")), "mmHg", 0,
            "D + (S − D) / 3", PRACTICE, Equation(_pressure_pair("pre"), fluid.mean_arterial_pressure)),
    _number("mean_pressure_after", (_("Mean pressure after"), _("Mean pressure after")), "mmHg", 0,
            "D + (S − D) / 3", PRACTICE, Equation(_pressure_pair("post"), fluid.mean_arterial_pressure)),
    _number("lowest_systolic", (_("Lowest systolic pressure"), _("Lowest systolic")), "mmHg", 0,
            _("lowest of before, during and after"), RECORD,
            Equation(_systolic, fluid.lowest_pressure), ANSWER, TABLE),
    _number("lowest_mean", (_("Lowest mean pressure"), _("Lowest mean pressure")), "mmHg", 0,
            _("lowest of D + (S − D) / 3"), PRACTICE, Equation(_whole_pressures, _lowest_mean)),
    _number("blood_flow_median", (_("Blood flow, median of the night"), _("Blood flow, median")), "mL/min", 0,
            _("median of Qb at treatment flow"), RECORD,
            Equation(_at_flow("qb_ml_min"), access.median_at_treatment_flow)),
    _number("venous_median", (_("Venous pressure, median of the night"), _("Venous, median")), "mmHg", 0,
            _("median at treatment flow"), RECORD,
            Equation(_at_flow("venous_mmhg"), access.median_at_treatment_flow), ANSWER, TABLE, PHONE),
    _number("arterial_median", (_("Arterial pressure, median of the night"), _("Arterial, median")), "mmHg", 0,
            _("median at treatment flow"), RECORD,
            Equation(_at_flow("arterial_mmhg"), access.median_at_treatment_flow), ANSWER, TABLE, PHONE),
    _number("blood_processed", (_("Blood processed"), _("Blood processed")), "L", 1,
            _("the machine's total, else ∫ Qb dt over the readings"), _("integral by the trapezoid rule"),
            Equation(_processed, _blood_processed), ANSWER),
    _number("bleeding", (_("Longest bleeding after needles"), _("Bleeding")), "min", 0, _("longest of the sites"),
            RECORD, _noted(lambda facts: facts.longest_bleeding, "min", "bleeding_time"), ANSWER),
    _number("urr", (_("Urea reduction ratio"), "URR"), "%", 0, _("100 · (1 − C after / C before)"),
            KDOQI_2006,
            Equation(_urea, _with_bloods(adequacy.urea_reduction_ratio))),
    _number("single_pool_ktv", (_("Single-pool Kt/V"), "spKt/V"), "1", 2, "−ln(R − GFAC · t) + (4 − 3.5 R) · UF / W",
            DAUGIRDAS, Equation(_single_pool, _with_bloods(adequacy.single_pool_ktv)),
            loinc=BEDSIDE_CODES["single_pool_ktv"][0]),
    _number("equilibrated_ktv", (_("Equilibrated Kt/V"), "eKt/V"), "1", 2,
            _("spKt/V · t / (t + 35); catheter: t / (t + 22)"),
            TATTERSALL, Equation(_equilibrated, _with_bloods(_equilibrated_ktv))),
    _number("standard_ktv", (_("Weekly standard Kt/V, no kidney"), _("Weekly stdKt/V")), "1/wk", 2,
            _("S / (1 − 0.74/N · UFw / V), V by Watson"),
            WEEK,
            Equation(_weekly, _with_bloods(_weekly_ktv)), ANSWER, TABLE, PHONE),
    _number("standard_ktv_kidney", (_("Weekly standard Kt/V, with the kidney"), _("Weekly stdKt/V + kidney")), "1/wk",
            2, _("S / (1 − 0.74/N · UFw / V) + kidney, V by Watson"), WEEK,
            Equation(_weekly_with_kidney, _with_bloods(_weekly_ktv))),
    _number("kidney", (_("Urea clearance of the kidneys at the time"), _("Kidney then")), "mL/min/1.73 m2", 1,
            _("U · Vol / (t · mean of C) · 1.73 / S"), COLLECTION,
            Equation(_kidney, _kidney_per_surface)),
)  # fmt: skip
