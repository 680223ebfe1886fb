"""What goes into the numbers of a month by symbol and name, and the steps between, each by its function of science."""

from __future__ import annotations

from collections.abc import Iterator

from django.utils.translation import gettext_noop as _

from dosing.science import sources as k
from dosing.science.body import expected_urea_volume
from dosing.science.nutrition import protein_catabolic_rate
from dosing.science.results import measure
from dosing.services.course import fitted
from dosing.services.night import working as of_night
from dosing.services.numbers import kidney
from dosing.services.numbers.blood_units import KEPT_ANALYTES
from dosing.services.numbers.number import Inputs
from dosing.services.numbers.quantity import Quantity, Steps, WorkingStep
from sessions.facts import plausible
from sessions.facts.choices import Analyte

NEWEST = _("the newest result of the month that was not drawn after a treatment")
QUANTITIES = (
    {"each_night": Quantity("", _("Night"))}
    | of_night.QUANTITIES
    | fitted.QUANTITIES
    | {
        "value": Quantity("x", NEWEST),
        "delivered": Quantity("n", _("treatments done")),
        "prescribed": Quantity("n_p", _("treatments prescribed")),
        "delivered_minutes": Quantity("t", _("length of the treatments together"), "min"),
        "prescribed_minutes": Quantity("t_p", _("length prescribed for them together"), "min"),
        "days": Quantity("d", _("days in treatment"), "d"),
        "delivered_each": Quantity("t", _("length of each treatment"), "min"),
        "prescribed_each": Quantity("t_p", _("length prescribed for it"), "min"),
        "done": Quantity("n", _("treatments done")),
        "prescribed_per_week": Quantity("N_p", _("treatments a week as prescribed"), "1/wk"),
        "done_minutes": Quantity("t_i", _("length of each treatment"), "min"),
        "done_net_uf_l": Quantity("UF_i", _("fluid removed, less what came in meanwhile"), "L"),
        "treatment": Quantity("", _("Night of the treatment")),
        "single_pool": Quantity("s", _("single-pool Kt/V of the last treatment with bloods")),
        "minutes": Quantity("t", _("mean length of the treatments"), "min"),
        "per_week": Quantity("N", _("treatments a week"), "1/wk"),
        "weekly_uf_l": Quantity("UF_w", _("fluid removed a week"), "L"),
        "rates": Quantity("UFR", _("UF rate of each treatment, as it is read"), "mL/kg/h"),
        "limits": Quantity("UFR_p", _("the limit of its prescription"), "mL/kg/h"),
        "minutes_each": Quantity("t", _("length of each treatment"), "min"),
        "pre_systolic": Quantity("SBP_pre", _("systolic pressure before each treatment"), "mmHg"),
        "lowest_systolic": Quantity("SBP_min", _("lowest systolic pressure of each treatment"), "mmHg"),
        "noted_low": Quantity("n_low", _("low pressure noted without a figure: 1, else 0"), ""),
        "pre_weights_kg": Quantity("W_pre", _("weight before each treatment"), "kg"),
        "post_weights_kg": Quantity("W", _("weight after each treatment"), "kg"),
        "target_weights_kg": Quantity("W_target", _("target weight of its prescription"), "kg"),
        "clearance_ml_min": Quantity("K_ru", _("urea clearance by the kidneys"), "mL/min"),
        "kidney_days": Quantity("d", _("days from the end of the collection to the end of the month"), "d"),
        "urine_ml": Quantity("V_u", _("urine collected"), "mL"),
        "standard": Quantity("S_k", _("weekly standard Kt/V measured, with the kidney"), "1/wk"),
        "target": Quantity("S_aim", _("weekly standard Kt/V aimed at"), "1/wk"),
        "calcium_mmol_l": Quantity("Ca", _("total calcium"), "mmol/L", Analyte.CALCIUM.value),
        "albumin_g_l": Quantity("Alb", _("albumin"), "g/L", Analyte.ALBUMIN.value),
        "serum_mmol_l": Quantity("K_pre", _("potassium before"), "mmol/L", Analyte.POTASSIUM.value),
        "dialysate_mmol_l": Quantity("K_d", _("potassium of the dialysate, as ordered"), "mmol/L"),
        "nights": Quantity("n", _("treatments that have it")),
        "times": Quantity("w", _("weeks from the first of them"), "wk"),
        "test": Quantity("", _("Water test")),
        "unit": Quantity("", _("Unit")),
        "action": Quantity("L_a", _("action level of the standard")),
        "limit": Quantity("L_m", _("limit of the standard")),
    }
)
"""What each input is called, by its name in the stored numbers; a number that calls one otherwise says so itself."""

E_IN_ONE = "s · t / (t + 30.7)"
IN_ONE = (
    f"10080 · (1 − exp(−{E_IN_ONE})) / t / ((1 − exp(−{E_IN_ONE})) / ({E_IN_ONE}) + 10080 / (N · t) − 1)"
    " / (1 − 0.74 / N · UF_w / V) + K_ru · (0.974 / (s + 1.62) + 0.4) · 10080 / (1000 · V)"
)
"""The weekly standard Kt/V with all its steps in one line, for the number that is found by trying."""
PROTEIN = Quantity("PCR", _("protein catabolic rate"), "g/d")


def of_week(given: Inputs) -> Iterator[WorkingStep]:
    """The mean treatment of the month, how often it was done, and e and S from these."""
    yield from of_assumed_volume(given)
    yield WorkingStep(QUANTITIES["per_week"], _how_often(given), measure(given["per_week"], "1/wk"))
    yield WorkingStep(QUANTITIES["minutes"], "mean(t_i | t_i > 0)", measure(given["minutes"], "min"))
    yield WorkingStep(QUANTITIES["weekly_uf_l"], "N · mean(UF_i | UF_i ≥ 0)", measure(given["weekly_uf_l"], "L"))
    yield from of_night.of_fixed_week(given["single_pool"], given["minutes"], given["per_week"])
    yield from kidney.of_kidney(given)


def _how_often(given: Inputs) -> str:
    """By the share done of those prescribed; by the days where nothing was due, or more was done."""
    if given["prescribed_per_week"] is None:
        return "min(7, 7 · n / d)"
    more = given["done"] > given["prescribed"]
    return "min(7, max(N_p, 7 · n / d))" if more else "min(7, N_p · n / n_p)"


def of_assumed_volume(given: Inputs) -> Iterator[WorkingStep]:
    """V without a fitted model: the usual share of the body water."""
    if "sex" in given:
        water = of_night.of_water(given)
        volume = expected_urea_volume(watson_l=water.value.value)
        yield WorkingStep(QUANTITIES["volume_l"], f"{float(k.MODELLED_OVER_WATSON):g} · ({water.written})", volume)


def of_volume_and_kidney(given: Inputs) -> Iterator[WorkingStep]:
    yield from of_assumed_volume(given)
    yield from kidney.of_kidney(given)


def of_protein(given: Inputs) -> Iterator[WorkingStep]:
    yield WorkingStep(PROTEIN, "9.35 · 28.014 · G + 0.294 · V", protein_catabolic_rate(**given))


def of_body(given: Inputs) -> Iterator[WorkingStep]:
    """Body water and surface; months that earlier science computed keep these two themselves."""
    if "sex" in given:
        yield of_night.of_water(given)
        yield from of_night.of_surface(given)


OF_TARGET = ("kidney_clearance", "week_per_surface", "kidney_week", "measured_week", "measured_week_kidney")
"""Numbers of a body at its target weight."""
WORDS: dict[str, dict[str, Quantity]] = {
    "single_pool_ktv_last": {"value": Quantity("s", _("single-pool Kt/V of that treatment"))},
    "equilibrated_ktv_last": {"value": Quantity("e", _("equilibrated Kt/V of that treatment"))},
    "uf_rate_mean": {"values": Quantity("UFR", _("UF rate of each treatment"), "mL/kg/h")},
    "uf_rate_highest": {"values": Quantity("UFR", _("UF rate of each treatment"), "mL/kg/h")},
    "gain_mean": {"values": Quantity("IDWG", _("gain before each treatment"), "kg")},
    "off_target_mean": {"values": Quantity("W_off", _("weight after, off target, of each treatment"), "kg")},
    "pre_systolic_mean": {"values": Quantity("SBP", _("systolic pressure before each treatment"), "mmHg")},
    "pre_diastolic_mean": {"values": Quantity("DBP", _("diastolic pressure before each treatment"), "mmHg")},
    "venous_trend": {"values": Quantity("P_v", _("venous pressure of each treatment"), "mmHg")},
    "arterial_trend": {"values": Quantity("P_a", _("arterial pressure of each treatment"), "mmHg")},
    "urr_last": {"value": Quantity("URR", _("urea reduction ratio of that treatment"), "%")},
    "gain_percent_mean": {"values": Quantity("IDWG_p", _("gain of target weight before each treatment"), "%")},
    "post_systolic_mean": {"values": Quantity("SBP_post", _("systolic pressure after each treatment"), "mmHg")},
    "urine_day": {"minutes": Quantity("t", _("length of the collection"), "min")},
    "single_pool_needed": {
        "minutes": Quantity("t", _("length prescribed"), "min"),
        "per_week": Quantity("N", _("treatments a week prescribed"), "1/wk"),
        "weight_kg": Quantity("W", _("target weight"), "kg"),
    },
    **{key: {"weight_kg": Quantity("W", _("target weight"), "kg")} for key in OF_TARGET},
    "water": {"value": Quantity("x", _("the worst result"))},
    **{
        name: {"value": Quantity("x", NEWEST, plausible.BLOOD[analyte.value].unit, analyte.value)}
        for name, analyte in KEPT_ANALYTES.items()
    },
}
"""What a number calls an input that others call otherwise, by the key of the number."""

STEPS: dict[str, Steps] = {
    "measured_week": of_week,
    "measured_week_kidney": of_week,
    "npcr": of_protein,
    "kidney_clearance": of_night.of_surface,
    "week_per_surface": of_body,
    "kidney_week": of_volume_and_kidney,
    "single_pool_needed": of_volume_and_kidney,
}
"""The steps of a number by its key; all others come straight from what went in."""

WRITTEN = {
    "water": _("the worst of the newest results of each kind: action level from L_a on, over the limit above L_m"),
    "nights": "100 · n / n_p",
    "time": "100 · sum(t) / sum(t_p)",
    "weekly_hours": "t / 60 / d · 7",
    "single_pool_ktv_last": "s",
    "equilibrated_ktv_last": "e",
    "measured_week": "S / (1 − 0.74 / N · UF_w / V)",
    "measured_week_kidney": of_night.WITH_KIDNEY,
    "npcr": "0.58 · PCR / V",
    "uf_rate_mean": "mean(UFR)",
    "uf_rate_highest": "max(UFR)",
    "uf_over": "100 · count(UFR | UFR > UFR_p) / count(UFR)",
    "gain_mean": "mean(IDWG)",
    "off_target_mean": "mean(W_off)",
    "pre_systolic_mean": "mean(SBP)",
    "pre_diastolic_mean": "mean(DBP)",
    "venous_trend": "median(slopes(P_v, w))",
    "arterial_trend": "median(slopes(P_a, w))",
    "prescribed_minutes": "mean(t_p)",
    "urr_last": "URR",
    "single_pool_needed": f"s | S_aim = {IN_ONE}",
    "week_per_surface": "S_k · V / BSA / 20",
    "kidney_clearance": "1.73 · K_ru / BSA",
    "kidney_week": "10080 · K_ru / (1000 · V)",
    "urine_day": "1440 · V_u / t",
    "kidney_age": "d",
    "high_uf_share": "100 · count(UFR | UFR ≥ 13, t < 240) / count(UFR)",
    "gain_percent_mean": "mean(IDWG_p)",
    "fluid_load_mean": "mean((W_pre + W) / 2 − W_target)",
    "post_systolic_mean": "mean(SBP_post)",
    "hypotension_share": "100 · (count(SBP_min | n_low < 1, SBP_min < 90) + count(SBP_min | n_low < 1, SBP_min ≥ 90, "
    "SBP_min < 100, SBP_pre ≥ 160) + count(n_low | n_low > 0)) / count(SBP_min)",
    "potassium_gradient": "K_pre − K_d",
    "corrected_calcium": "Ca + 0.02 · (40 − Alb)",
    **dict.fromkeys(KEPT_ANALYTES, "x"),
    "modelled_week": fitted.ALONE,
    "modelled_week_kidney": fitted.WITH_KIDNEY,
}
"""The equation of each number in symbols, by its key; the left side is the number itself."""
