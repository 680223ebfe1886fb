"""Why a number is unknown: a code and its parts. Every code is declared here, with its English.

A reason is kept and compared by its code and parts; words are made of it where somebody reads them, in their language
and with their decimal sign (`dosing.services.numbers.reasons`). Here is only English, for tests and for programmers.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

PLACEHOLDER = re.compile(r"%\((\w+)\)s")
ISO_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


def _(words: str) -> str:
    """Marks what translators put into other languages; it stays English here, where no language is known."""
    return words


WORDS = {
    # Inputs, by the names that the checks of `dosing.science.checks` give them.
    "age": _("age"),
    "blood_flow": _("blood flow"),
    "blood_processed": _("blood processed"),
    "blood_water_share": _("blood water share"),
    "body_surface": _("body surface"),
    "body_water": _("body water"),
    "clearance": _("clearance"),
    "conductivity": _("conductivity"),
    "confidence": _("confidence"),
    "creatinine_clearance": _("creatinine clearance"),
    "cycle": _("cycle"),
    "delivered_clearance": _("delivered over noted clearance"),
    "delivered_time": _("delivered time"),
    "dialysate_flow": _("dialysate flow"),
    "dialysate_potassium": _("dialysate potassium"),
    "diastolic_pressure": _("diastolic pressure"),
    "dose_of_a_treatment": _("dose of a treatment"),
    "end_of_treatment": _("end of treatment"),
    "events": _("events"),
    "exchange_between_the_pools": _("exchange between the pools"),
    "exposure": _("exposure"),
    "extracellular_share": _("extracellular share"),
    "fall_of_mean_pressure": _("fall of mean pressure"),
    "fluid_gain": _("fluid gain"),
    "fluid_removed": _("fluid removed"),
    "height": _("height"),
    "in_vivo_share": _("in vivo share"),
    "intake": _("intake"),
    "intervention": _("intervention"),
    "kidney_clearance": _("kidney clearance"),
    "koa": _("koa"),
    "kt_over_v_of_the_machine": _("kt over v of the machine"),
    "last_weight_after": _("last weight after"),
    "length_of_a_treatment": _("length of a treatment"),
    "length_of_the_collection": _("length of the collection"),
    "lowest_systolic": _("lowest systolic"),
    "mark_for_below_detection": _("mark for below detection"),
    "mass_transfer_coefficient": _("mass transfer coefficient"),
    "mean_arterial_pressure": _("mean arterial pressure"),
    "modelled_volume": _("modelled volume"),
    "needle_gauge": _("needle gauge"),
    "observed": _("observed"),
    "plasma_at_the_end": _("plasma at the end"),
    "plasma_at_the_start": _("plasma at the start"),
    "prescribed_time": _("prescribed time"),
    "pressure": _("pressure"),
    "reference_flow": _("reference flow"),
    "result": _("result"),
    "rinse_back": _("rinse back"),
    "serum_potassium": _("serum potassium"),
    "share_of_the_body_water": _("share of the body water"),
    "single_pool_dose": _("single pool dose"),
    "slope": _("slope"),
    "spread_of_prior_knowledge": _("spread of prior knowledge"),
    "start_of_treatment": _("start of treatment"),
    "symptoms": _("symptoms"),
    "systolic_before": _("systolic before"),
    "systolic_pressure": _("systolic pressure"),
    "target": _("target"),
    "target_weight": _("target weight"),
    "time": _("time"),
    "time_since_the_last_treatment": _("time since the last treatment"),
    "total_chlorine": _("total chlorine"),
    "treatment_length": _("treatment length"),
    "treatments_a_week": _("treatments a week"),
    "ultrafiltration": _("ultrafiltration"),
    "urea_after": _("urea after"),
    "urea_before": _("urea before"),
    "urea_clearance": _("urea clearance"),
    "urea_generation": _("urea generation"),
    "urea_volume": _("urea volume"),
    "urine_concentration": _("urine concentration"),
    "urine_volume": _("urine volume"),
    "volume": _("volume"),
    "weekly_dose": _("weekly dose"),
    "weekly_fluid": _("weekly fluid"),
    "weight": _("weight"),
    "weight_after": _("weight after"),
    "weight_before": _("weight before"),
    # Results of a laboratory.
    "albumin": _("albumin"),
    "bicarbonate": _("bicarbonate"),
    "beta_2_microglobulin": _("β2-microglobulin"),
    "c_reactive_protein": _("C-reactive protein"),
    "calcium": _("total calcium"),
    "creatinine": _("creatinine"),
    "ferritin": _("ferritin"),
    "glucose": _("glucose"),
    "haemoglobin": _("haemoglobin"),
    "iron": _("iron"),
    "haemoglobin_a1c": _("haemoglobin A1c"),
    "magnesium": _("magnesium"),
    "parathyroid_hormone": _("parathyroid hormone"),
    "phosphate": _("phosphate"),
    "potassium": _("potassium"),
    "sodium": _("sodium"),
    "transferrin_saturation": _("transferrin saturation"),
    "urea": _("urea"),
    # What else a reason speaks of.
    "the_end": _("the end"),
    "bleeding_time": _("bleeding time"),
    "equation": _("equation"),
    "method": _("method"),
    "line": _("line"),
    "definition": _("definition"),
    "analyte": _("analyte"),
    "way_to_draw": _("way to draw the sample after"),
    # Units that are words.
    "minutes": _("minutes"),
    "years": _("years"),
    "days": _("days"),
    "share_of_them": _("the share"),
    "number_of_them": _("how many they are"),
}
"""Words for the parts of reasons that are names."""

OF_SCIENCE: Mapping[str, str] = {
    # The checks that most equations share.
    "not_given": _("%(what)s is not given"),
    "not_finite": _("%(what)s is not a finite number"),
    "not_above_zero": _("%(what)s is not above zero"),
    "below_zero": _("%(what)s is below zero"),
    "outside": _("%(what)s is outside %(low)s to %(high)s %(unit)s"),
    "not_one_of": _("%(given)s is no %(what)s; known: %(known)s"),
    "no_finite_answer": _("the inputs do not give a finite number"),
    # Urea and dose of a treatment.
    "urea_did_not_fall": _("urea after is not below urea before"),
    "interval_not_usable": _("time since the last treatment is not given or outside 0.5 to 7 days"),
    "urea_ratio_outside": _("urea after/before is outside 0.1 to 0.8"),
    "much_fluid_for_weight": _("fluid removed is above a tenth of the weight"),
    "ratio_unlike_length": _("the urea ratio does not fit the length of the treatment"),
    "sample_was_late": _("a sample drawn 30 to 60 minutes after the end gives the equilibrated value directly"),
    "sample_not_protected": _("the sample after was not protected from recirculated blood and reads too low"),
    "weekly_fluid_does_not_fit": _("weekly fluid does not fit volume and treatments"),
    "target_not_reached": _("no dose up to 5 reaches the target"),
    # Body, kidney, fluid and pressures.
    "sex_needed": _("the formula needs the sex as male or female"),
    "clearance_too_high": _("the clearance is too high for a patient on dialysis"),
    "weights_differ": _("the weights differ by more than a fifth"),
    "pressures_swapped": _("diastolic pressure is not below systolic pressure"),
    "no_blood_pressure": _("no blood pressure was noted"),
    # Access and circuit.
    "flow_too_far": _("the flow is too far from the reference flow"),
    "flow_too_far_without_gauge": _("without a needle gauge the flow is too far from the reference flow"),
    "gauge_unknown": _("needle gauge is not 14, 15, 16 or 17"),
    "no_blood_flow": _("no blood flow was noted"),
    "no_treatment_flow": _("no reading at treatment flow was noted"),
    "no_flow_reading": _("no reading of the blood flow"),
    "reading_incomplete": _("a reading lacks its flow or its time"),
    "reading_after_empty": _("a reading follows an empty one"),
    "no_stretch": _("the fluid so far was not noted at two times a quarter of an hour apart"),
    "readings_not_in_order": _("the readings are not in order of time"),
    "reading_outside": _("a reading lies outside the treatment"),
    "ends_do_not_fit": _("start and end of treatment do not fit"),
    # Dialyser.
    "ultrafiltration_above_flow": _("ultrafiltration is not below the blood flow"),
    # The urea model and its fit.
    "no_clearance": _("no clearance is given and %(why)s"),
    "treatments_overlap": _("treatments overlap, or leave no time between them"),
    "drained_too_fast": _("ultrafiltration per minute is above %(most)s of clearance and exchange"),
    "gain_too_large": _("fluid between treatments is above %(most)s of the volume"),
    "cleared_too_much": _("a treatment clears over %(most)s urea volumes"),
    "empty_schedule": _("the schedule holds no treatment"),
    "no_treatment_here": _("the schedule has no treatment in this place"),
    "search_not_settled": _("the search for the volume did not settle in %(steps)s steps"),
    "fit_out_of_range": _("the fit is out of range: %(why)s"),
    "balance_not_met": _("what is made and what is removed differ: the inputs are beyond what the model can carry"),
    "fluid_far_from_target": _("the fluid beyond the target weight is outside %(low)s to %(high)s of the urea volume"),
    "few_treatments": _("fewer than %(least)s treatments"),
    "no_treatment_then": _("no treatment that counts in this time"),
    # Bloods and water.
    "no_water_limit": _("no limit for %(given)s in %(fluid)s is held for edition %(edition)s: enter the unit's own"),
    "method_too_coarse": _("the method does not detect below the limit"),
    # Trends and rates.
    "not_whole": _("%(what)s is not a whole number"),
    "neither_0_nor_1": _("%(what)s is neither 0 nor 1"),
    "nobody_at_risk": _("nobody is left at risk"),
    "few_points_for_slope": _("a slope needs %(least)s points, there are %(points)s"),
    "few_points_for_trend": _("a trend needs %(least)s points, there are %(points)s"),
    "one_time_only": _("all points lie at one time"),
    "all_equal": _("all values are equal"),
    "no_usable_night": _("no treatment has a usable value"),
    "few_nights": _("%(nights)s usable treatments, %(least)s are needed"),
    "few_nights_since_change": _("%(nights)s usable treatments since the last change, %(least)s are needed"),
}
"""Reasons of the functions of the science."""

OF_RECORDS: Mapping[str, str] = {
    # What the record of a night lacks.
    "not_noted": _("%(what)s was not noted"),
    "no_blood_volume": _("neither the machine's total nor a blood flow was noted"),
    "no_urea_pair": _("no urea before and after belongs to this treatment"),
    "no_interval": _("no treatment before this one is recorded and no prescription says the interval"),
    "fluid_read_early": _(
        "neither a total nor both weights were noted, and the last reading is from minute %(minute)s of %(length)s"
    ),
    "length_not_noted": _("the end of the treatment was not noted"),
    "urr_of_long": _("it says nothing of the dose of treatments of 5 hours and more"),
    "no_frequency": _("no prescription says how often a week"),
    "not_computed": _("not computed yet"),
    # What a month lacks.
    "no_night_has_it": _("no finished treatment has it"),
    "never_noted": _("never noted"),
    "no_prescription": _("no prescription was in force"),
    "no_prescribed_night": _("no finished treatment under a prescription"),
    "few_days_in_treatment": _("less than %(least)s days in treatment"),
    "nothing_due_yet": _("no treatment was due in the time in treatment"),
    "week_not_in_treatment": _("less than a week in treatment"),
    "no_finished_night": _("no finished treatment"),
    "no_dose_measured": _("no single-pool Kt/V was measured this month"),
    "no_volume": _("neither a fitted volume nor a prescription"),
    "no_fitted_model": _("no fitted model: %(why)s"),
    "no_uf_rate": _("no UF rate is known"),
    "few_nights_have_it": _("fewer than %(least)s treatments have it"),
    "no_result": _("no result in half a year"),
    # Reviews that were signed with it keep it; numbers of now tell the day, as the next one does.
    "old_result": _("not measured this month; %(value)s %(unit)s %(days)s days before"),
    "result_of": _("not measured this month; %(value)s %(unit)s on %(day)s"),
    "no_potassium_this_month": _("potassium was not measured this month"),
    "only_a_bound": _("the laboratory only says %(bound)s %(value)s %(unit)s"),
    "no_water_test": _("no water test in three months that a limit is held for"),
    "nobody_so_long": _("nobody was in the programme for so long"),
    "nobody_went_back": _("nobody went back to a centre yet"),
    # What the kidney's clearance and the planner's patient lack.
    "no_urea_pair_lately": _("no urea before and after one treatment in the last %(days)s days"),
    "no_collection": _("no urine collection of the last half year gave a clearance"),
    "no_albumin_with_it": _("no albumin within a month of it: total calcium alone says little"),
    "no_gradient": _("no potassium of the dialysate is prescribed"),
    "few_bloods_lately": _("fewer than %(least)s results before treatment in the last %(days)s days"),
    "not_settled": _("schedule or binders changed in the last %(days)s days: the level has not settled"),
    "bloods_apart": _("the last results are more than %(percent)s %% apart"),
    "outside_model": _("the level lies outside %(low)s to %(high)s mmol/L, for which the model holds"),
    "no_kidney_measured": _("no kidney clearance was measured in half a year"),
    "no_b2m_of_dialyser": _("the dialyser’s own clearance of β2-microglobulin is not entered"),
    "judged_by_treatment": _("three a week: each treatment is judged by itself"),
    "not_in_urine": _("%(what)s in the urine was not entered"),
    "no_blood_at_beginning": _("no blood %(what)s within %(hours)s hours of the beginning"),
    "no_blood_at_end": _("no blood %(what)s within %(hours)s hours of the end"),
}
"""Reasons of whoever gathers what the science is asked: a record, a month or a collection lacks something."""

OF_DOUBT: Mapping[str, str] = {
    # Of the interval before a treatment.
    "first_treatment": _("no treatment before this one is recorded; the interval prescribed, %(days)s days, is taken"),
    "away_between": _("not in treatment at home since the last one; the interval prescribed, %(days)s days, is taken"),
    "due_not_entered": _(
        "treatments due since the last one and not entered: %(count)s; had they been done, it would be %(other)s"
    ),
    "gain_over_missing": _("treatments due since the last weight and not entered: %(count)s"),
    "short_before": _("the treatment before lasted %(minutes)s of %(prescribed)s minutes"),
    "open_before": _("the record of the treatment before has no end"),
    # Of fluid and length.
    "fluid_by_weights": _("the machine's total was not noted; fluid is taken from the weights"),
    "fluid_by_reading": _(
        "neither a total nor both weights were noted; fluid is taken from a reading %(minutes)s minutes before the end"
    ),
    "fluid_off_balance": _("the machine's total is %(total)s L, the weights say %(weights)s L"),
    "stood_still": _("for %(minutes)s of %(length)s minutes the blood was not pumped at treatment flow"),
    "written_twice": _("another record of the same treatment counts instead"),
    "needle_with_catheter": _(
        "a needle of %(gauge)s G was noted, and the access is a catheter: one of the two is wrong"
    ),
    "drop_without_figure": _("low pressures noted without a figure: %(count)s; the lowest may have been lower"),
    # Of the samples.
    "reduction_reads_high": _(
        "the sample after was not protected from recirculated blood: it reads too low, and the reduction too high"
    ),
    "pre_sample_late": _("the sample before was drawn %(minutes)s minutes after the start"),
    "pre_sample_early": _("the sample before was drawn %(hours)s hours before the start"),
    "post_sample_off": _("the sample after was drawn %(minutes)s minutes after the end"),
    "late_sample_off": _("a late sample belongs 30 to 60 minutes after the end, this one came after %(minutes)s"),
    "late_sample_without_time": _("it is not known how long after the end the late sample was drawn"),
    "volume_unlike_body": _(
        "with the clearance delivered it stands for a urea volume of %(litres)s L, %(percent)s %% of the body water by "
        "Watson: look for a wrong sample, flow or time"
    ),
    # Of a month.
    "nights_doubtful": _("doubtful in %(count)s of %(of)s treatments"),
    "known_of_body_alone": _("%(why)s: computed for a usual patient of this body, which the interval holds"),
    "forecast_missed": _("urea after/before was %(percent)s %% off what the earlier bloods foretold"),
    "unlike_fitted": _("%(percent)s %% off the fitted dose, more than the closed form usually is"),
    "month_not_entered": _("treatments due and not entered: %(count)s"),
    # Of the week.
    "prescribed_frequency": _("less than %(days)s days in treatment are recorded; treatments a week as prescribed"),
    "due_not_entered_lately": _("treatments due in the last %(days)s days and not entered: %(count)s"),
    "last_of_week": _(
        "bloods of the last treatment before the longest interval of the week: the equation reads high, by 3 %% in the "
        "middle and by 11 %% at most"
    ),
}
"""Reasons to doubt a number that there is."""

REASONS: Mapping[str, str] = {**OF_SCIENCE, **OF_RECORDS, **OF_DOUBT}
"""The English of every reason by its code; the placeholders are its parts."""


@dataclass(frozen=True, slots=True, init=False)
class Reason:
    """Why there is no number. parts: names and values of the placeholders, in their order of name.

    A part is a key of `WORDS`, a literal text, a day (ISO 8601), a number, or another reason. Raises ValueError for a
    code that is not declared, or parts that are not those of its words.
    """

    code: str
    parts: tuple[tuple[str, Any], ...]

    def __init__(self, code: str, /, **parts: Any) -> None:
        if code not in REASONS:
            raise ValueError(f"no reason {code!r} is declared in dosing.science.reasons")
        if set(parts) != parts_of(code):
            raise ValueError(f"reason {code!r} takes {sorted(parts_of(code))}, not {sorted(parts)}")
        object.__setattr__(self, "code", code)
        object.__setattr__(self, "parts", tuple(sorted(parts.items())))

    def __str__(self) -> str:
        return self.words()

    def words(
        self,
        say: Callable[[str], str] = str,
        number: Callable[[float], str] = "{:g}".format,
        day: Callable[[date], str] = str,
    ) -> str:
        """In words. say: puts a text of this module into a language; number and day: write them as readers do."""
        said = {name: _said(part, say, number, day) for name, part in self.parts}
        return (say(REASONS[self.code]) % said).strip()

    def as_json(self) -> dict[str, Any]:
        """As it is stored: {"code", and each part by its name}."""
        plain = {name: part.as_json() if isinstance(part, Reason) else part for name, part in self.parts}
        return {"code": self.code, **plain}


def _said(part: Any, say: Callable[[str], str], number: Callable[[float], str], day: Callable[[date], str]) -> str:
    if isinstance(part, Reason):
        return part.words(say, number, day)
    if isinstance(part, str) and ISO_DAY.fullmatch(part):
        return day(date.fromisoformat(part))
    if isinstance(part, str):
        return say(WORDS[part]) if part in WORDS else part
    return number(part)


def parts_of(code: str) -> frozenset[str]:
    """The names of the parts that a reason of this code has."""
    return _PARTS[code]


_PARTS = {code: frozenset(PLACEHOLDER.findall(words)) for code, words in REASONS.items()}


def reason_of(stored: Mapping[str, Any]) -> Reason:
    """A stored reason. Raises ValueError and KeyError as `Reason` does: what is stored belongs to one science."""
    parts: dict[str, Any] = {
        name: reason_of(part) if isinstance(part, Mapping) else part for name, part in stored.items()
    }
    return Reason(parts.pop("code"), **parts)
