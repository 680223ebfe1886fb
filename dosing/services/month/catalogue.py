"""The numbers of a month: what each is called, how it is written, its equation and source, and the board's groups."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from statistics import fmean
from typing import Any

from dosing.science import adequacy, bloods, nutrition
from dosing.science.kidney import plasma_water_clearance
from dosing.science.results import Measure, measure, unknown
from dosing.science.trends import theil_sen_slope
from dosing.services.importing.units import OF_SCIENCE
from dosing.services.month.facts import MonthFacts
from dosing.services.planner.candidates import Candidate, try_out
from dosing.services.planner.patterns import pattern_of
from dosing.services.planner.urea_model import assumed_volume
from sessions.facts.choices import Analyte

RECORD = "the records of the month"
KDOQI = "KDOQI haemodialysis adequacy 2015, guidelines 3.1 and 3.2 (AJKD 66:884)"
FLYTHE = "Flythe, Kimmel and Brunelli, Kidney Int 79:250, 2011"
WEEK = "Daugirdas et al., Kidney Int 77:637, 2010"
LAST, MEAN = "of the last treatment with bloods", "mean over the treatments"
SLOPES = "median of the slopes between all pairs of nights"
MODEL = "two-pool urea model fitted to the bloods (dosing.science.kinetics)"


@dataclass(frozen=True, slots=True)
class Usual:
    """A range of the monthly review and who says so; None is open."""

    low: float | None
    high: float | None
    source: str


@dataclass(frozen=True, slots=True)
class Asked:
    """What a number of the month was computed from, and the answer."""

    inputs: dict[str, Any]
    answer: Measure
    at: str = ""
    """when it was measured (ISO), for results that can be old"""


@dataclass(frozen=True, slots=True)
class MonthNumber:
    """key: kept with the stored numbers; group: of the board's columns; percent: a share, read as per cent."""

    key: str
    label: str
    short: str
    unit: str
    decimals: int
    group: str
    equation: str
    source: str
    ask: Callable[[MonthFacts], Asked]
    usual: Usual | None = None
    percent: bool = False


def _mean(key: str, unit: str) -> Callable[[MonthFacts], Asked]:
    def ask(facts: MonthFacts) -> Asked:
        values = facts.values(key)
        answer = measure(fmean(values), unit) if values else unknown(unit, "no finished treatment has it")
        return Asked({"values": values}, answer)

    return ask


def _most(key: str, unit: str) -> Callable[[MonthFacts], Asked]:
    def ask(facts: MonthFacts) -> Asked:
        values = facts.values(key)
        answer = measure(max(values), unit) if values else unknown(unit, "no finished treatment has it")
        return Asked({"values": values}, answer)

    return ask


def _field_mean(name: str) -> Callable[[MonthFacts], Asked]:
    def ask(facts: MonthFacts) -> Asked:
        noted = [getattr(night.record, name) for night in facts.finished]
        values = [value for value in noted if value is not None]
        return Asked({"values": values}, measure(fmean(values), "mmHg") if values else unknown("mmHg", "never noted"))

    return ask


def _prescribed_nights(facts: MonthFacts) -> float:
    """Treatments that the prescriptions of the month ask for, by the days each was in force."""
    total = 0.0
    for each in facts.prescriptions:
        begin = max(each.in_force.lower, facts.span.since)
        end = min(each.in_force.upper or facts.span.until, facts.span.until)
        total += each.days_per_week * max(0.0, (end - begin).total_seconds()) / (7 * 86400)
    return total


def _nights(facts: MonthFacts) -> Asked:
    wanted, done = _prescribed_nights(facts), len(facts.finished)
    inputs = {"delivered": done, "prescribed": round(wanted, 1)}
    if wanted < 0.5:
        return Asked(inputs, unknown("1", "no prescription was in force"))
    return Asked(inputs, measure(done / wanted, "1"))


def _time(facts: MonthFacts) -> Asked:
    delivered = [night.value("minutes") or 0.0 for night in facts.finished]
    asked = [night.prescription.minutes for night in facts.finished if night.prescription]
    inputs = {"delivered_minutes": sum(delivered), "prescribed_minutes": sum(asked)}
    if not asked:
        return Asked(inputs, unknown("1", "no finished treatment under a prescription"))
    return Asked(inputs, measure(sum(delivered) / sum(asked), "1"))


def _weekly_hours(facts: MonthFacts) -> Asked:
    minutes = sum(facts.values("minutes"))
    inputs = {"delivered_minutes": minutes, "days": round(facts.span.days, 1)}
    if facts.span.days < 3:
        return Asked(inputs, unknown("h/wk", "the month has only begun"))
    return Asked(inputs, measure(minutes / 60 / facts.span.days * 7, "h/wk"))


def _newest_dose(key: str) -> Callable[[MonthFacts], Asked]:
    def ask(facts: MonthFacts) -> Asked:
        known = [night for night in facts.finished if night.value(key) is not None]
        if not known:
            whys = [night.why(key) for night in facts.finished]
            return Asked({}, unknown("1", whys[-1] if whys else "no finished treatment"))
        night = known[-1]
        value = night.value(key)
        assert value is not None
        return Asked(
            {"treatment": night.record.night.isoformat()}, measure(value, "1"), night.record.started_at.isoformat()
        )

    return ask


def _volume(facts: MonthFacts) -> float | None:
    """V after a treatment: of the fitted model, else as Watson and the share of it say."""
    if facts.model and facts.model.fitted:
        return facts.model.volume
    if facts.prescription is None:
        return None
    weight = facts.prescription.target_weight_kg
    return assumed_volume(facts.patient, weight_kg=weight, on=facts.span.month)


def _kidney(facts: MonthFacts) -> float:
    """Urea clearance of plasma water by the kidney [mL/min]; 0 without a collection."""
    clearance = facts.kidney.urea.number if facts.kidney else None
    return (plasma_water_clearance(clearance_ml_min=clearance).number or 0.0) if clearance is not None else 0.0


def _weekly_inputs(facts: MonthFacts, kidney: float) -> dict[str, Any] | str:
    """What the weekly standard Kt/V of the month is computed from, or why it cannot be."""
    doses = [night for night in facts.finished if night.value("single_pool_ktv") is not None]
    if not doses:
        return "no single-pool Kt/V was measured this month"
    volume = _volume(facts)
    if volume is None:
        return "neither a fitted volume nor a prescription"
    if facts.span.days < 7:
        return "the month has run for less than a week"
    per_week = min(7.0, len(facts.finished) / facts.span.days * 7)
    removed = sum(facts.values("uf_volume"))
    return {
        "single_pool": doses[-1].value("single_pool_ktv"),
        "minutes": fmean(facts.values("minutes")),
        "per_week": per_week,
        "weekly_uf_l": removed / facts.span.days * 7,
        "volume_l": volume,
        "kidney_clearance_ml_min": kidney,
    }


def _measured_week(*, with_kidney: bool) -> Callable[[MonthFacts], Asked]:
    def ask(facts: MonthFacts) -> Asked:
        inputs = _weekly_inputs(facts, _kidney(facts) if with_kidney else 0.0)
        if isinstance(inputs, str):
            return Asked({}, unknown("1/wk", inputs))
        return Asked(inputs, adequacy.standard_weekly_ktv_with_fluid_and_kidney(**inputs))

    return ask


def _modelled_week(*, with_kidney: bool) -> Callable[[MonthFacts], Asked]:
    def ask(facts: MonthFacts) -> Asked:
        model, prescription = facts.model, facts.prescription
        if model is None or prescription is None:
            return Asked({}, unknown("1/wk", "no prescription was in force"))
        if not model.fitted:
            return Asked({}, unknown("1/wk", f"no fitted model: {model.why}"))
        candidate = Candidate(
            pattern_of(prescription.days_per_week, prescription.weekdays),
            prescription.minutes,
            prescription.qb_ml_min,
            prescription.qd_ml_min,
            prescription.dialyser,
        )
        tried = try_out([candidate], model, weight_kg=prescription.target_weight_kg)
        inputs = {
            "volume_l": model.volume,
            "generation_mmol_min": model.generation,
            "kidney_clearance_ml_min": model.kidney,
            "per_week": prescription.days_per_week,
            "minutes": prescription.minutes,
        }
        if tried.why[0]:
            return Asked(inputs, unknown("1/wk", str(tried.why[0])))
        value = float(tried.dose[0] if with_kidney else tried.dose[0] - tried.of_kidney[0])
        return Asked(inputs, measure(value, "1/wk"))

    return ask


def _over_limit(facts: MonthFacts) -> Asked:
    judged = [
        (rate, night.prescription.uf_rate_limit_ml_kg_h)
        for night in facts.finished
        if night.prescription and (rate := night.value("uf_rate")) is not None
    ]
    over = sum(round(rate, 1) > limit for rate, limit in judged)
    inputs = {"nights_over": over, "nights_judged": len(judged)}
    return Asked(inputs, measure(over / len(judged), "1") if judged else unknown("1", "no UF rate is known"))


def _slope(key: str) -> Callable[[MonthFacts], Asked]:
    def ask(facts: MonthFacts) -> Asked:
        seen = [(night.record.started_at, value) for night in facts.finished if (value := night.value(key)) is not None]
        if len(seen) < 5:
            return Asked({"nights": len(seen)}, unknown("mmHg/wk", "fewer than five nights have it"))
        weeks = [(at - seen[0][0]).total_seconds() / (7 * 86400) for at, _ in seen]
        values = [value for _, value in seen]
        return Asked({"times": weeks, "values": values}, theil_sen_slope(times=weeks, values=values, unit="mmHg/wk"))

    return ask


def _blood(analyte: Analyte) -> Callable[[MonthFacts], Asked]:
    unit = bloods.ANALYTES[_NAMES[analyte]].unit

    def ask(facts: MonthFacts) -> Asked:
        found = facts.newest(analyte)
        if found is None:
            return Asked({}, unknown(unit, "no result in half a year"))
        at = found.drawn_at
        if at < facts.span.since:
            days = (facts.span.until - at).days
            why = f"not measured this month; {found.value:.3g} {unit} {days} days ago"
            return Asked({"value": found.value}, unknown(unit, why), at.isoformat())
        return Asked({"value": found.value}, measure(found.value, unit), at.isoformat())

    return ask


_NAMES = {analyte: name for name, analyte in OF_SCIENCE.items()}


def _npcr(facts: MonthFacts) -> Asked:
    model = facts.model
    if model is None or not model.fitted:
        return Asked(
            {}, unknown("g/kg/d", f"no fitted model: {model.why}" if model else "no prescription was in force")
        )
    inputs = {"generation_mmol_min": model.generation, "volume_l": model.volume}
    return Asked(inputs, nutrition.normalised_protein_catabolic_rate(**inputs))


def _water(facts: MonthFacts) -> Asked:
    grade, test = facts.worst_water()
    if grade is None or test is None:
        return Asked({}, unknown("grade", "no water test in three months that a limit is held for"))
    inputs = {"test": test.get_kind_display(), "value": test.value, "unit": test.unit}
    return Asked(
        {name: str(value) for name, value in inputs.items()}, measure(grade, "grade"), test.sampled_at.isoformat()
    )


def _of_blood(analyte: Analyte, short: str, decimals: int) -> MonthNumber:
    known = bloods.ANALYTES[_NAMES[analyte]]
    band = known.band
    return MonthNumber(
        key=_NAMES[analyte],
        label=str(analyte.label),
        short=short,
        unit=known.unit.replace("ug/", "µg/"),
        decimals=decimals,
        group="Bloods",
        equation="the newest result of the month that was not drawn after a treatment",
        source="the laboratory",
        ask=_blood(analyte),
        usual=Usual(band.low, band.high, f"{band.source} ({band.status.value})") if band else None,
    )


UF = "Fluid"
DOSE = "Dose"
TIME = "Time"
ACCESS = "Access and pressure"

# fmt: off
MONTH_NUMBERS: tuple[MonthNumber, ...] = (
    MonthNumber("nights", "Treatments, of prescribed", "Nights", "1", 0, TIME, "treatments done / prescribed", RECORD,
                _nights, Usual(0.9, None, "common practice, no source"), percent=True),
    MonthNumber("time", "Time, of prescribed", "Time", "1", 0, TIME, "minutes delivered / prescribed", RECORD,
                _time, Usual(0.9, None, "common practice, no source"), percent=True),
    MonthNumber("weekly_hours", "Hours a week", "Hours", "h/wk", 1, TIME, "minutes of the month / its weeks", RECORD,
                _weekly_hours),
    MonthNumber("single_pool_ktv", "Single-pool Kt/V", "spKt/V", "1", 2, DOSE, LAST,
                "Daugirdas 1993 and 2013, per treatment", _newest_dose("single_pool_ktv")),
    MonthNumber("equilibrated_ktv", "Equilibrated Kt/V", "eKt/V", "1", 2, DOSE, LAST,
                "Tattersall 1996, per treatment", _newest_dose("equilibrated_ktv")),
    MonthNumber("measured_week", "Weekly standard Kt/V measured, dialysis alone", "stdKt/V", "1/wk", 2, DOSE,
                "S / (1 − 0.74/N · UFw / V)", WEEK,
                _measured_week(with_kidney=False)),
    MonthNumber("measured_week_kidney", "Weekly standard Kt/V measured, with the kidney", "stdKt/V + kidney", "1/wk", 2,
                DOSE,
                "S / (1 − 0.74/N · UFw / V) + kidney", WEEK,
                _measured_week(with_kidney=True), Usual(2.1, None, KDOQI)),
    MonthNumber("modelled_week", "Weekly standard Kt/V modelled, dialysis alone", "modelled", "1/wk", 2, DOSE,
                "10080 G / (V · mean C before), without the kidney's share", MODEL, _modelled_week(with_kidney=False)),
    MonthNumber("modelled_week_kidney", "Weekly standard Kt/V modelled, with the kidney", "modelled + kidney", "1/wk",
                2, DOSE,
                "10080 G / (V · mean C before)", MODEL, _modelled_week(with_kidney=True), Usual(2.1, None, KDOQI)),
    MonthNumber("npcr", "nPCR", "nPCR", "g/kg/d", 2, DOSE, "PCR / (V / 0.58), G of the model", MODEL, _npcr,
                Usual(0.8, 1.4, "KDOQI nutrition 2000 (from memory)")),
    MonthNumber("uf_rate", "UF rate, mean", "UF rate", "mL/kg/h", 1, UF, MEAN, FLYTHE,
                _mean("uf_rate", "mL/kg/h"), Usual(None, 10, FLYTHE)),
    MonthNumber("uf_rate_highest", "UF rate, highest", "UF highest", "mL/kg/h", 1, UF, "highest of the treatments",
                FLYTHE,
                _most("uf_rate", "mL/kg/h"), Usual(None, 13, FLYTHE)),
    MonthNumber("uf_over", "Treatments over the UF-rate limit", "UF over limit", "1", 0, UF,
                "treatments over the limit of their prescription / judged", RECORD, _over_limit,
                Usual(None, 0.1, "common practice, no source"), percent=True),
    MonthNumber("gain", "Gain between treatments", "Gain", "kg", 1, UF, MEAN, RECORD,
                _mean("gain", "kg")),
    MonthNumber("off_target", "Weight after, off target", "weight off target", "kg", 1, UF,
                "mean of W after − W target",
                RECORD,
                _mean("off_target", "kg"), Usual(-0.5, 0.5, "common practice, no source")),
    MonthNumber("pre_systolic", "Systolic pressure before", "BP before", "mmHg", 0, ACCESS, MEAN,
                RECORD, _field_mean("pre_systolic"), Usual(100, 160, "common practice, no source")),
    MonthNumber("pre_diastolic", "Diastolic pressure before", "diastolic", "mmHg", 0, ACCESS, MEAN,
                RECORD, _field_mean("pre_diastolic")),
    MonthNumber("venous_trend", "Venous pressure, change a week", "venous a week", "mmHg/wk", 1, ACCESS,
                SLOPES, "Theil 1950; Sen 1968", _slope("venous"),
                Usual(None, 5, "common practice, no source")),
    MonthNumber("arterial_trend", "Arterial pressure, change a week", "arterial a week", "mmHg/wk", 1, ACCESS,
                SLOPES, "Theil 1950; Sen 1968", _slope("arterial"),
                Usual(-5, None, "common practice, no source")),
    _of_blood(Analyte.POTASSIUM, "K", 1),
    _of_blood(Analyte.PHOSPHATE, "Phosphate", 2),
    _of_blood(Analyte.BICARBONATE, "HCO₃", 0),
    _of_blood(Analyte.CALCIUM, "Ca", 2),
    _of_blood(Analyte.PTH, "PTH", 0),
    _of_blood(Analyte.ALBUMIN, "Albumin", 0),
    _of_blood(Analyte.HAEMOGLOBIN, "Hb", 0),
    _of_blood(Analyte.FERRITIN, "Ferritin", 0),
    _of_blood(Analyte.TRANSFERRIN_SATURATION, "TSAT", 0),
    MonthNumber("water", "Water", "Water", "grade", 0, "Water", "worst grade among the newest test of each kind",
                "the standard that the unit works by", _water, Usual(None, 0, "the standard's action level")),
)
# fmt: on
BY_MONTH_KEY = {number.key: number for number in MONTH_NUMBERS}
