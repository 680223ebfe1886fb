"""The numbers computed of every record: what each is called, how it is written, where its equation comes from.

Each entry names one function of the science and says which facts go into it. Nothing else in the house computes
a dose or a fluid figure.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from dosing.science import access, adequacy, body, fluid
from dosing.science import flows as circuit
from dosing.science.results import Measure, measure, unknown
from dosing.services.night.inputs import Facts, has_catheter

Inputs = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Number:
    """key in the stored numbers; name (English), unit, decimals for people; written and origin for the derivation."""

    key: str
    name: str
    unit: str
    decimals: int
    written: str
    origin: str
    inputs: Callable[[Facts], Inputs]
    compute: Callable[..., Measure]
    percent: bool = False
    """Whether people read this share of one as per cent."""

    @property
    def label(self) -> str:
        """The name in the language of the reader."""
        return gettext(self.name)

    @property
    def equation(self) -> str:
        return gettext(self.written)

    @property
    def source(self) -> str:
        return gettext(self.origin)

    @property
    def function(self) -> str:
        """The function that computes it, by its place in the code."""
        name = self.compute.__qualname__
        return self.compute.__module__ if "<" in name else f"{self.compute.__module__}.{name}"


def _target(facts: Facts) -> float | None:
    return facts.prescription.target_weight_kg if facts.prescription else None


def _fluid_rate(facts: Facts) -> Inputs:
    record = facts.record
    return {"uf_l": uf_volume(facts), "minutes": record.minutes, "post_weight_kg": record.post_weight_kg}


def uf_volume(facts: Facts) -> float | None:
    """What the machine took off: its total, else the last reading of the volume."""
    if facts.record.uf_removed_l is not None:
        return facts.record.uf_removed_l
    read = [reading.uf_volume_l for reading in facts.readings if reading.uf_volume_l is not None]
    return read[-1] if read else None


def _as_noted(value: float | None, *, unit: str, what: str) -> Measure:
    return unknown(unit, f"{what} was not noted") if value is None else measure(value, unit)


def _gain(facts: Facts) -> Inputs:
    last = facts.last_record
    return {
        "pre_weight_kg": facts.record.pre_weight_kg,
        "last_post_weight_kg": last.post_weight_kg if last else None,
    }


def _expected_weight(facts: Facts) -> Inputs:
    record = facts.record
    return {
        "pre_weight_kg": record.pre_weight_kg,
        "uf_l": uf_volume(facts),
        "rinse_back_l": record.rinse_back_l,
        "intake_l": record.intake_l,
    }


def _processed(facts: Facts) -> Inputs:
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
        return unknown("L", "neither the machine's total nor a blood flow was noted")
    if end_minute is None:
        return unknown("L", "the end was not noted")
    return circuit.blood_processed_l(flows_ml_min=flows_ml_min, minutes_at=minutes_at, end_minute=end_minute)


def _pairs_of(facts: Facts) -> list[tuple[float | None, float | None]]:
    """Systolic and diastolic pressures of before, during and after."""
    record = facts.record
    pairs = [(record.pre_systolic, record.pre_diastolic)]
    pairs += [(reading.systolic, reading.diastolic) for reading in facts.readings]
    return [*pairs, (record.post_systolic, record.post_diastolic)]


def _systolic(facts: Facts) -> Inputs:
    return {"pressures_mmhg": [systolic for systolic, _low in _pairs_of(facts) if systolic is not None]}


def _whole_pressures(facts: Facts) -> Inputs:
    whole = [pair for pair in _pairs_of(facts) if None not in pair]
    return {"systolic": [high for high, _low in whole], "diastolic": [low for _high, low in whole]}


def _lowest_mean(*, systolic: list[float], diastolic: list[float]) -> Measure:
    means = fluid.mean_arterial_pressure(systolic=systolic, diastolic=diastolic)
    return fluid.lowest_pressure(pressures_mmhg=means.value)


def _at_flow(name: str) -> Callable[[Facts], Inputs]:
    def inputs(facts: Facts) -> Inputs:
        read = [reading for reading in facts.readings if None not in (getattr(reading, name), reading.qb_ml_min)]
        return {
            "values": [getattr(reading, name) for reading in read],
            "flows_ml_min": [reading.qb_ml_min for reading in read],
        }

    return inputs


def _urea(facts: Facts) -> Inputs:
    return {"pre": facts.urea_pre, "post": facts.urea_post}


def _single_pool(facts: Facts) -> Inputs:
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
            return unknown("1", "no urea before and after belongs to this treatment")
        return compute(pre=pre, post=post, **others)

    return checked


def _equilibrated(facts: Facts) -> Inputs:
    method = "tattersall_venous" if has_catheter(facts) else "tattersall_arterial"
    return _single_pool(facts) | {"minutes": facts.record.minutes, "method": method}


def _equilibrated_ktv(*, minutes: float, method: str, **others: Any) -> Measure:
    single = adequacy.single_pool_ktv(**others)
    if not single.known:
        return single
    return adequacy.equilibrated_ktv(single_pool=single.value, minutes=minutes, method=method)


def _weekly(facts: Facts) -> Inputs:
    patient, weight = facts.patient, facts.record.post_weight_kg
    return _single_pool(facts) | {
        "minutes": facts.record.minutes,
        "per_week": facts.prescription.days_per_week if facts.prescription else None,
        "sex": patient.sex,
        "age_years": facts.age_years,
        "height_cm": patient.height_cm,
        "weight_kg": weight,
    }


def _weekly_ktv(
    *,
    minutes: float,
    per_week: float | None,
    sex: str,
    age_years: float,
    height_cm: float,
    weight_kg: float,
    **others: Any,
) -> Measure:
    single = adequacy.single_pool_ktv(**others)
    volume = body.total_body_water_watson(sex=sex, age_years=age_years, height_cm=height_cm, weight_kg=weight_kg)
    for part in (single, volume):
        if not part.known:
            return unknown("1/wk", part.reason)
    if per_week is None:
        return unknown("1/wk", "no prescription says how often a week")
    return adequacy.standard_weekly_ktv_with_fluid_and_kidney(
        single_pool=single.value,
        minutes=minutes,
        per_week=per_week,
        weekly_uf_l=per_week * others["uf_l"],
        volume_l=volume.value,
    )


def _delivered(facts: Facts) -> Inputs:
    return {
        "delivered_minutes": facts.record.minutes,
        "prescribed_minutes": facts.prescription.minutes if facts.prescription else None,
    }


def _pressure_pair(when: str) -> Callable[[Facts], Inputs]:
    return lambda facts: {
        "systolic": getattr(facts.record, f"{when}_systolic"),
        "diastolic": getattr(facts.record, f"{when}_diastolic"),
    }


BALANCE = _("mass balance")
RECORD = _("as the record says")
PRACTICE = _("common practice, no source")
FLYTHE = "Flythe, Kimmel and Brunelli, Kidney Int 2011;79:250-7 (rate on weight after treatment)"
DAUGIRDAS = "Daugirdas, J Am Soc Nephrol 1993;4:1205-13; generation factor 2013 (NDT 28:2156-60)"

NUMBERS: tuple[Number, ...] = (
    Number("uf_volume", _("Fluid removed (UF)"), "L", 2, _("the machine's total, else the last reading"), RECORD,
           lambda facts: {"value": uf_volume(facts)}, lambda value: _as_noted(value, unit="L", what="fluid removed")),
    Number("uf_rate", _("UF rate"), "mL/kg/h", 1, _("60000 · UF / (t · W after)"), FLYTHE, _fluid_rate, fluid.uf_rate),
    Number("uf_rate_by_weight", _("UF rate line that grows with weight"), "mL/kg/h", 1,
           _("(3 · W after + 500) / W after"),
           "Mermelstein et al., Clin J Am Soc Nephrol 2023;18:767: risk raised by a fifth; three a week, in centre",
           lambda facts: {"post_weight_kg": facts.record.post_weight_kg}, fluid.weight_scaled_uf_limit_per_kg),
    Number("gain", _("Gained since last treatment"), "kg", 1, _("W before − W after last time"), BALANCE,
           _gain, fluid.interdialytic_gain_kg),
    Number("gain_percent", _("Gained, of target weight"), "%", 1, _("100 · gain / W target"),
           "EBPG haemodynamics 2007 (from memory)",
           lambda facts: _gain(facts) | {"target_weight_kg": _target(facts)}, fluid.interdialytic_gain_percent),
    Number("off_target", _("Weight after, off target"), "kg", 1, _("W after − W target"), BALANCE,
           lambda facts: {"post_weight_kg": facts.record.post_weight_kg, "target_weight_kg": _target(facts)},
           fluid.target_deviation_kg),
    Number("expected_weight", _("Weight after, as fluid says"), "kg", 1,
           _("W before − UF + rinse-back + drinks"), BALANCE,
           _expected_weight, fluid.expected_post_weight),
    Number("minutes", _("Length"), "min", 0, _("end − start"), RECORD,
           lambda facts: {"value": facts.record.minutes},
           lambda value: _as_noted(value, unit="min", what="the end")),
    Number("delivered", _("Length, of prescribed"), "1", 2, _("t delivered / t prescribed"), RECORD,
           _delivered, fluid.delivered_fraction, percent=True),
    Number("blood_processed", _("Blood processed"), "L", 1, _("the machine's total, else ∫ Qb dt over the readings"),
           _("integral by the trapezoid rule"), _processed, _blood_processed),
    Number("mean_pressure_before", _("Mean pressure before"), "mmHg", 0, "D + (S − D) / 3", PRACTICE,
           _pressure_pair("pre"), fluid.mean_arterial_pressure),
    Number("mean_pressure_after", _("Mean pressure after"), "mmHg", 0, "D + (S − D) / 3", PRACTICE,
           _pressure_pair("post"), fluid.mean_arterial_pressure),
    Number("lowest_systolic", _("Lowest systolic pressure"), "mmHg", 0, _("lowest of before, during and after"), RECORD,
           _systolic, fluid.lowest_pressure),
    Number("lowest_mean", _("Lowest mean pressure"), "mmHg", 0, _("lowest of D + (S − D) / 3"), PRACTICE,
           _whole_pressures, _lowest_mean),
    Number("blood_flow", _("Blood flow (middle of the readings)"), "mL/min", 0,
           _("median of Qb at treatment flow"), RECORD,
           _at_flow("qb_ml_min"), access.median_at_treatment_flow),
    Number("arterial", _("Arterial pressure (middle)"), "mmHg", 0, _("median at treatment flow"), RECORD,
           _at_flow("arterial_mmhg"), access.median_at_treatment_flow),
    Number("venous", _("Venous pressure (middle)"), "mmHg", 0, _("median at treatment flow"), RECORD,
           _at_flow("venous_mmhg"), access.median_at_treatment_flow),
    Number("bleeding", _("Longest bleeding after needles"), "min", 0, _("longest of the sites"), RECORD,
           lambda facts: {"value": facts.longest_bleeding},
           lambda value: _as_noted(value, unit="min", what="bleeding time")),
    Number("urr", _("Urea reduction ratio"), "%", 0, _("100 · (1 − C after / C before)"),
           "KDOQI 2006 haemodialysis adequacy, guideline 2", _urea, _with_bloods(adequacy.urea_reduction_ratio)),
    Number("single_pool_ktv", _("Single-pool Kt/V"), "1", 2, "−ln(R − GFAC · t) + (4 − 3.5 R) · UF / W", DAUGIRDAS,
           _single_pool, _with_bloods(adequacy.single_pool_ktv)),
    Number("equilibrated_ktv", _("Equilibrated Kt/V"), "1", 2, _("spKt/V · t / (t + 35); catheter: t / (t + 22)"),
           "Tattersall et al., Kidney Int 1996;50:2094-102", _equilibrated, _with_bloods(_equilibrated_ktv)),
    Number("standard_ktv", _("Weekly standard Kt/V, no kidney"), "1/wk", 2,
           _("S / (1 − 0.74/N · UFw / V), V by Watson"),
           "Daugirdas et al., Kidney Int 2010;77:637-44 (from memory, confirmed by simulation)",
           _weekly, _with_bloods(_weekly_ktv)),
)  # fmt: skip

BY_KEY = {number.key: number for number in NUMBERS}
