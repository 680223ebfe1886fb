"""The numbers of a month: what each is called, how it is written, its equation and source, and the board's groups."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from statistics import fmean
from typing import Any

from django.utils.translation import gettext_lazy, override
from django.utils.translation import gettext_noop as _

from dosing.science import adequacy, bloods
from dosing.science.guidance import GUIDANCE
from dosing.science.reasons import Reason
from dosing.science.results import measure, unknown
from dosing.science.trends import theil_sen_slope
from dosing.services.course.fitted import MODEL
from dosing.services.month import of_bloods, of_fluid, of_kidney, of_model, of_time
from dosing.services.month.doubts import (
    doubted,
    newest_with,
    not_entered,
    of_body_alone,
    of_forecast,
    of_highest,
    of_newest,
    of_nights,
    of_volume,
    unlike_fit,
)
from dosing.services.month.facts import MonthFacts
from dosing.services.month.working import STEPS, WORDS, WRITTEN
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.numbers import kidney
from dosing.services.numbers.blood_units import KEPT_ANALYTES, written_unit
from dosing.services.numbers.guidance import usual_of
from dosing.services.numbers.number import GRADE, Catalogue, Computation, Inputs, Number, Scope, ShownIn, UsualRange
from dosing.services.numbers.papers import (
    COLLECTION,
    DAUGIRDAS,
    FLYTHE,
    KDOQI_2006,
    NADIR,
    PAYNE,
    SEEN,
    SLOPES,
    SURFACE,
    TATTERSALL,
    US_MEASURE,
    WEEK,
)
from dosing.services.planner.urea_model import assumed_volume
from sessions.facts.choices import Analyte

FEWEST_NIGHTS = 5
"""For a slope over the nights of a month (common practice, no source)."""
PRACTICE = _("common practice, no source")
RECORD = _("the records of the month")


def _mean(key: str, unit: str, *, of_sure: bool = False) -> Callable[[MonthFacts], Computation]:
    """of_sure: without the nights on which it is doubtful."""

    def ask(facts: MonthFacts) -> Computation:
        nights, values = facts.known(lambda night: None if of_sure and night.figure(key).doubts else night.value(key))
        answer = measure(fmean(values), unit) if values else unknown(unit, Reason("no_night_has_it"))
        return Computation({"each_night": nights, "values": values}, answer)

    return ask


def _most(key: str, unit: str) -> Callable[[MonthFacts], Computation]:
    def ask(facts: MonthFacts) -> Computation:
        nights, values = facts.known(lambda night: night.value(key))
        answer = measure(max(values), unit) if values else unknown(unit, Reason("no_night_has_it"))
        return Computation({"each_night": nights, "values": values}, answer)

    return ask


def _field_mean(name: str) -> Callable[[MonthFacts], Computation]:
    def ask(facts: MonthFacts) -> Computation:
        nights, values = facts.known(lambda night: getattr(night.record, name))
        answer = measure(fmean(values), "mmHg") if values else unknown("mmHg", Reason("never_noted"))
        return Computation({"each_night": nights, "values": values}, answer)

    return ask


def _newest_dose(key: str) -> Callable[[MonthFacts], Computation]:
    unit = NIGHT_NUMBERS[key].unit

    def ask(facts: MonthFacts) -> Computation:
        night = newest_with(facts, key)
        value = night.value(key) if night else None
        if night is None or value is None:
            return Computation({}, unknown(unit, _why_no_dose(facts, key)))
        return Computation(
            {"value": value, "treatment": night.record.night.isoformat()},
            measure(value, unit),
            night.record.started_at.isoformat(),
            doubts=tuple(night.figure(key).doubts),
        )

    return ask


def _why_no_dose(facts: MonthFacts, key: str) -> Reason:
    """By the newest treatment that had bloods; by the newest of all where none had."""
    whys = [why for night in facts.finished if (why := night.figure(key).reason)]
    with_bloods = [why for why in whys if why.code != "no_urea_pair"]
    return ([Reason("no_finished_night")] + (with_bloods or whys))[-1]


def _volume(facts: MonthFacts) -> float | None:
    """V after a treatment: of the fitted model, else as Watson and the share of it say."""
    if facts.model and facts.model.fitted:
        return facts.model.volume
    if facts.prescription is None:
        return None
    weight = facts.prescription.target_weight_kg
    return assumed_volume(facts.patient, weight_kg=weight, on=facts.span.month)


def _behind_volume(facts: MonthFacts) -> Inputs:
    """What the volume is made from where it is not that of the fitted model."""
    return {} if facts.model and facts.model.fitted else facts.body


def _weekly_inputs(facts: MonthFacts, *, with_kidney: bool) -> dict[str, Any] | Reason:
    """What the weekly standard Kt/V of the month is computed from, or why it cannot be."""
    dose, done, days = newest_with(facts, "single_pool_ktv"), facts.in_treatment.done, facts.in_treatment.days
    if dose is None:
        return Reason("no_dose_measured")
    volume = _volume(facts)
    if volume is None:
        return Reason("no_volume")
    if days < 7:
        return Reason("week_not_in_treatment")
    per_week = facts.in_treatment.per_week
    removed = [each.fluid.net for each in done if each.fluid.net is not None]
    return {
        "single_pool": dose.value("single_pool_ktv"),
        "minutes": fmean(each.minutes for each in done if each.minutes),
        "per_week": per_week,
        "weekly_uf_l": per_week * fmean(removed) if removed else None,
        "volume_l": volume,
        "kidney_clearance_ml_min": kidney.counted(facts.kidney)["kidney_clearance_ml_min"] if with_kidney else 0.0,
    }


def _behind_week(facts: MonthFacts) -> dict[str, Any]:
    """What the means of a week are made of, treatment by treatment."""
    done = facts.in_treatment.done
    return {
        "done": len(done),
        "prescribed": facts.in_treatment.prescribed,
        "prescribed_per_week": facts.in_treatment.prescribed_per_week,
        "days": facts.in_treatment.days,
        "each_night": [each.day.isoformat() for each in done],
        "done_minutes": [each.minutes for each in done],
        "done_net_uf_l": [each.fluid.net for each in done],
    }


def _measured_week(*, with_kidney: bool) -> Callable[[MonthFacts], Computation]:
    def ask(facts: MonthFacts) -> Computation:
        inputs = _weekly_inputs(facts, with_kidney=with_kidney)
        if isinstance(inputs, Reason):
            return Computation({}, unknown("1/wk", inputs))
        answer = adequacy.standard_weekly_ktv_with_fluid_and_kidney(**inputs)
        shown = {name: inputs[name] for name in inputs if name != "kidney_clearance_ml_min"}
        shown |= kidney.counted(facts.kidney) if with_kidney else {}
        return Computation(shown | _behind_volume(facts) | _behind_week(facts), answer)

    return ask


def _kidney_week(facts: MonthFacts) -> Computation:
    return _with_body(facts, of_kidney.weekly(facts, volume_l=_volume(facts)))


def _with_body(facts: MonthFacts, found: Computation) -> Computation:
    """With what its volume is made from, where it has one."""
    return replace(found, inputs=found.inputs | _behind_volume(facts)) if "volume_l" in found.inputs else found


def _week_per_surface(facts: MonthFacts) -> Computation:
    return of_kidney.per_surface(facts, _measured_week(with_kidney=True)(facts))


def _single_pool_needed(facts: MonthFacts) -> Computation:
    return _with_body(facts, of_kidney.single_pool_needed(facts, _weekly_inputs(facts, with_kidney=True)))


def _over_limit(facts: MonthFacts) -> Computation:
    judged = [
        (night.record.night.isoformat(), rate, night.prescription.uf_rate_limit_ml_kg_h)
        for night in facts.finished
        if night.prescription and (rate := night.value("uf_rate")) is not None
    ]
    rates = [NIGHT_NUMBERS["uf_rate"].rounded(rate) for _night, rate, _limit in judged]
    limits = [limit for _night, _rate, limit in judged]
    over = sum(rate > limit for rate, limit in zip(rates, limits, strict=True))
    inputs = {"each_night": [night for night, _rate, _limit in judged], "rates": rates, "limits": limits}
    return Computation(inputs, measure(over / len(judged), "1") if judged else unknown("1", Reason("no_uf_rate")))


def _slope(key: str) -> Callable[[MonthFacts], Computation]:
    def ask(facts: MonthFacts) -> Computation:
        seen = [(night.record.started_at, value) for night in facts.finished if (value := night.value(key)) is not None]
        if len(seen) < FEWEST_NIGHTS:
            return Computation(
                {"nights": len(seen)}, unknown("mmHg/wk", Reason("few_nights_have_it", least=FEWEST_NIGHTS))
            )
        weeks = [(at - seen[0][0]).total_seconds() / (7 * 86400) for at, _ in seen]
        values = [value for _, value in seen]
        nights = facts.known(lambda night: night.value(key))[0]
        inputs = {"each_night": nights, "times": weeks, "values": values}
        return Computation(inputs, theil_sen_slope(times=weeks, values=values, unit="mmHg/wk"))

    return ask


def _blood(analyte: Analyte) -> Callable[[MonthFacts], Computation]:
    unit = written_unit(bloods.ANALYTES[_NAMES[analyte]].unit)

    def ask(facts: MonthFacts) -> Computation:
        beyond = facts.newest_bound(analyte)
        if beyond is not None and beyond.drawn_at >= facts.span.since:
            why = Reason("only_a_bound", bound=beyond.bound, value=float(f"{beyond.value:.3g}"), unit=unit)
            return Computation({}, unknown(unit, why), beyond.drawn_at.isoformat())
        found = facts.newest(analyte)
        if found is None:
            return Computation({}, unknown(unit, Reason("no_result")))
        at = found.drawn_at
        if at < facts.span.since:
            why = of_bloods.told_as_old(facts, found, found.value, unit)
            return Computation({"value": found.value}, unknown(unit, why), at.isoformat())
        return Computation({"value": found.value}, measure(found.value, unit), at.isoformat())

    return ask


_NAMES = {analyte: name for name, analyte in KEPT_ANALYTES.items()}


def _water(facts: MonthFacts) -> Computation:
    grade, test = facts.worst_water()
    if grade is None or test is None:
        return Computation({}, unknown("grade", Reason("no_water_test")))
    held = facts.standard.limit(test.fluid, test.kind)
    limits = {"action": held.action, "limit": held.limit} if held else {}
    inputs = {"test": test.kind, "value": test.value, "unit": test.unit} | limits
    return Computation(inputs, measure(grade, "grade"), test.sampled_at.isoformat())


def _number(
    key: str,
    names: tuple[str, str],
    unit: str,
    decimals: int,
    group: str,
    origin: str,
    ask: Callable[[MonthFacts], Computation],
    usual: UsualRange | None = None,
    *,
    percent: bool = False,
    chart: str = "",
    reported: bool = False,
    analyte: str = "",
) -> Number[MonthFacts]:
    return Number(
        *(key, *names, unit, decimals, WRITTEN[key], origin, ask),
        scope=Scope.MONTH, group=group, usual=usual, percent=percent, chart=chart,
        places=frozenset({ShownIn.UNIT_REPORT} if reported else ()), seen=SEEN.get(origin),
        words=WORDS.get(key, {}), steps=STEPS.get(key), note=kidney.note_of(key), analyte=analyte,
    )  # fmt: skip


def _of_blood(
    analyte: Analyte, short: str, decimals: int, *, drawn: bool = False, reported: bool = False
) -> Number[MonthFacts]:
    known = bloods.ANALYTES[_NAMES[analyte]]
    return _number(
        _NAMES[analyte],
        (_name_of(analyte), short),
        written_unit(known.unit),
        decimals,
        BLOODS,
        _("the laboratory"),
        _blood(analyte),
        usual_of(_NAMES[analyte]) if _NAMES[analyte] in GUIDANCE else None,
        chart=_NAMES[analyte] if drawn else "",
        reported=reported,
        analyte=analyte,
    )


def _name_of(analyte: Analyte) -> str:
    """The English name, which the catalogues of words know as the label of a choice."""
    with override("en"):
        return str(analyte.label)


OF_MODEL = (of_body_alone, of_volume, of_forecast, not_entered)
"""What makes the fitted dose of the treatments doubtful."""
OF_WEEK = (of_newest("single_pool_ktv"), not_entered)
"""What makes a weekly dose doubtful that is made of one measured dose and the treatments done."""
TIME, DOSE, KIDNEY, UF = _("Time"), _("Dose"), _("Kidneys"), _("Fluid")
ACCESS, BLOODS, WATER = _("Access and pressure"), _("Bloods"), _("Water")

# fmt: off
MONTH_NUMBERS: Catalogue[MonthFacts] = Catalogue(
    _number("nights", (_("Treatments, of prescribed"), _("Nights")), "1", 0, TIME,
            RECORD, doubted(of_time.nights, not_entered), usual_of("nights"),
            percent=True, chart="time", reported=True),
    _number("time", (_("Time, of prescribed"), _("Time")), "1", 0, TIME,
            RECORD, of_time.length, usual_of("time"),
            percent=True, chart="time", reported=True),
    _number("weekly_hours", (_("Hours a week"), _("Hours")), "h/wk", 1, TIME,
            RECORD, doubted(of_time.weekly_hours, not_entered), usual_of("weekly_hours")),
    _number("prescribed_minutes", (_("Length prescribed"), _("Length ordered")), "min", 0, TIME,
            RECORD, of_fluid.prescribed_minutes,
            usual_of("prescribed_minutes")),
    _number("single_pool_ktv_last", (_("Single-pool Kt/V, last of the month"), _("spKt/V, last")), "1", 2, DOSE,
            DAUGIRDAS, _newest_dose("single_pool_ktv"), usual_of("single_pool_ktv")),
    _number("equilibrated_ktv_last", (_("Equilibrated Kt/V, last of the month"), _("eKt/V, last")), "1", 2, DOSE,
            TATTERSALL, _newest_dose("equilibrated_ktv"), usual_of("equilibrated_ktv")),
    _number("urr_last", (_("Urea reduction ratio, last of the month"), _("URR, last")), "%", 0, DOSE,
            KDOQI_2006, _newest_dose("urr"), usual_of("urr")),
    _number("measured_week", (_("Weekly standard Kt/V measured, dialysis alone"), "stdKt/V"), "1/wk", 2, DOSE,
            WEEK, doubted(_measured_week(with_kidney=False), *OF_WEEK,
                          unlike_fit(_measured_week(with_kidney=False), "alone"))),
    _number("measured_week_kidney",
            (_("Weekly standard Kt/V measured, with the kidney"), _("stdKt/V + kidney")), "1/wk", 2, DOSE,
            WEEK, doubted(_measured_week(with_kidney=True), *OF_WEEK,
                          unlike_fit(_measured_week(with_kidney=True), "whole")), usual_of("weekly_standard_ktv"),
            chart="week", reported=True),
    _number("modelled_week", (_("Weekly standard Kt/V modelled, dialysis alone"), _("modelled")), "1/wk", 2, DOSE,
            MODEL, doubted(of_model.week(with_kidney=False), *OF_MODEL)),
    _number("modelled_week_kidney",
            (_("Weekly standard Kt/V modelled, with the kidney"), _("modelled + kidney")), "1/wk", 2, DOSE,
            MODEL, doubted(of_model.week(with_kidney=True), *OF_MODEL), usual_of("weekly_standard_ktv"),
            chart="week", reported=True),
    _number("npcr", ("nPCR", "nPCR"), "g/kg/d", 2, DOSE, MODEL,
            doubted(of_model.npcr, of_volume, of_forecast),
            usual_of("npcr")),
    _number("single_pool_needed", (_("Single-pool Kt/V that the aimed week needs"), _("spKt/V needed")), "1", 2, DOSE,
            WEEK, _single_pool_needed),
    _number("week_per_surface",
            (_("Weekly standard Kt/V for the body surface, with the kidney"), _("stdKt/V by surface")), "1/wk", 2, DOSE,
            SURFACE, _week_per_surface),
    _number("kidney_clearance", (_("Urea clearance of the kidneys"), _("Kidney, Kru")), "mL/min/1.73 m2", 1, KIDNEY,
            COLLECTION, of_kidney.clearance, chart="kidney"),
    _number("kidney_week", (_("Urea cleared by the kidneys in a week"), _("Kidney a week")), "1/wk", 2, KIDNEY,
            _("definition of Kt/V"), _kidney_week),
    _number("urine_day", (_("Urine of a day"), _("Urine")), "mL/d", 0, KIDNEY, RECORD,
            of_kidney.urine),
    _number("kidney_age", (_("Age of the urine collection"), _("Urine, age")), "d", 0, KIDNEY,
            RECORD, of_kidney.age, usual_of("kidney_age")),
    _number("uf_rate_mean", (_("UF rate, mean of the month"), _("UF rate, mean")), "mL/kg/h", 1, UF, FLYTHE,
            doubted(_mean("uf_rate", "mL/kg/h"), of_nights("uf_rate")), usual_of("uf_rate"), chart="uf_rate"),
    _number("uf_rate_highest", (_("UF rate, highest of the month"), _("UF rate, highest")), "mL/kg/h", 1, UF,
            FLYTHE, doubted(_most("uf_rate", "mL/kg/h"), of_highest("uf_rate")), usual_of("uf_rate"),
            chart="uf_rate", reported=True),
    _number("uf_over", (_("Treatments over the UF-rate limit"), _("UF over limit")), "1", 0, UF,
            RECORD, doubted(_over_limit, of_nights("uf_rate")), usual_of("uf_over"), percent=True),
    _number("high_uf_share", (_("Treatments at 13 mL/kg/h or more and under 4 hours"), _("UF fast and short")), "1", 0,
            UF, US_MEASURE,
            doubted(of_fluid.high_uf_share, of_nights("uf_rate")), usual_of("high_uf_share"), percent=True),
    _number("gain_mean", (_("Gain between treatments, mean of the month"), _("Gain, mean")), "kg", 1, UF, RECORD,
            doubted(_mean("gain", "kg", of_sure=True), of_nights("gain"))),
    _number("gain_percent_mean", (_("Gain of target weight, mean of the month"), _("Gain of target, mean")), "%", 1, UF,
            RECORD, doubted(_mean("gain_percent", "%", of_sure=True), of_nights("gain_percent")),
            usual_of("gain_percent")),
    _number("fluid_load_mean", (_("Fluid above target, mean over the cycle"), _("Fluid load, mean")), "kg", 1, UF,
            RECORD, of_fluid.fluid_load, usual_of("fluid_load")),
    _number("off_target_mean",
            (_("Weight after, off target, mean of the month"), _("Off target, mean")), "kg", 1, UF,
            RECORD, _mean("off_target", "kg"), usual_of("off_target"), chart="off_target"),
    _number("pre_systolic_mean",
            (_("Systolic pressure before, mean of the month"), _("BP before, mean")), "mmHg", 0, ACCESS, RECORD,
            _field_mean("pre_systolic"), usual_of("pre_systolic"), chart="pressure", reported=True),
    _number("post_systolic_mean",
            (_("Systolic pressure after, mean of the month"), _("BP after, mean")), "mmHg", 0, ACCESS, RECORD,
            _field_mean("post_systolic"), usual_of("post_systolic"), chart="pressure"),
    _number("hypotension_share", (_("Treatments with a low pressure"), _("Low pressure")), "1", 0, ACCESS,
            NADIR, of_fluid.hypotension_share,
            usual_of("hypotension_share"), percent=True, reported=True),
    _number("pre_diastolic_mean",
            (_("Diastolic pressure before, mean of the month"), _("diastolic, mean")), "mmHg", 0, ACCESS, RECORD,
            _field_mean("pre_diastolic")),
    _number("venous_trend", (_("Venous pressure, change a week"), _("venous a week")), "mmHg/wk", 1, ACCESS,
            SLOPES, _slope("venous_median"), usual_of("venous_trend")),
    _number("arterial_trend", (_("Arterial pressure, change a week"), _("arterial a week")), "mmHg/wk", 1, ACCESS,
            SLOPES, _slope("arterial_median"), usual_of("arterial_trend")),
    _of_blood(Analyte.POTASSIUM, "K", 1, drawn=True, reported=True),
    _number("potassium_gradient", (_("Potassium less that of the dialysate"), _("K less bath")), "mmol/L", 1, BLOODS,
            PRACTICE, of_bloods.potassium_gradient,
            usual_of("potassium_gradient")),
    _of_blood(Analyte.PHOSPHATE, _("Phosphate"), 2, drawn=True, reported=True),
    _of_blood(Analyte.BICARBONATE, "HCO₃", 0, drawn=True, reported=True),
    _of_blood(Analyte.CALCIUM, "Ca", 2),
    _number("corrected_calcium", (_("Calcium, corrected by albumin"), _("Ca, corrected")), "mmol/L", 2, BLOODS,
            PAYNE, of_bloods.corrected_calcium,
            usual_of("corrected_calcium"), chart="corrected_calcium", reported=True, analyte=Analyte.CALCIUM),
    _of_blood(Analyte.PTH, "PTH", 0, drawn=True),
    _of_blood(Analyte.ALBUMIN, _("Albumin"), 0, drawn=True, reported=True),
    _of_blood(Analyte.HAEMOGLOBIN, "Hb", 0, drawn=True, reported=True),
    _of_blood(Analyte.FERRITIN, _("Ferritin"), 0),
    _of_blood(Analyte.TRANSFERRIN_SATURATION, "TSAT", 0),
    _number("water", (_("Water"), _("Water")), GRADE, 0, WATER, _("the standard that the unit works by"), _water,
            UsualRange(None, 0, gettext_lazy("the standard's action level"))),
)
# fmt: on
