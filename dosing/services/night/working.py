"""What goes into the numbers of a night by symbol and name, and the steps between, each by its function of science."""

from __future__ import annotations

from collections.abc import Iterator
from statistics import median

from django.utils.translation import gettext_noop as _

from dosing.science import adequacy, body
from dosing.science import sources as k
from dosing.science.course import SampleWay
from dosing.science.flows import blood_processed_l
from dosing.science.results import Measure, measure
from dosing.services.course import fitted
from dosing.services.numbers import kidney
from dosing.services.numbers.number import Inputs
from dosing.services.numbers.quantity import Quantity, Steps, WorkingStep
from sessions.facts.choices import Analyte

QUANTITIES = {
    "pre": Quantity("C_pre", _("urea before"), "mmol/L", Analyte.UREA.value),
    "post": Quantity("C_post", _("urea after"), "mmol/L", Analyte.UREA.value),
    "minutes": Quantity("t", _("length of the treatment"), "min"),
    "uf_l": Quantity("UF", _("fluid removed"), "L"),
    "net_uf_l": Quantity("UF", _("fluid removed, less what came in meanwhile"), "L"),
    "fluid_by": Quantity("", _("Fluid by")),
    "post_weight_kg": Quantity("W", _("weight after"), "kg"),
    "pre_weight_kg": Quantity("W_pre", _("weight before"), "kg"),
    "last_post_weight_kg": Quantity("W_last", _("weight after the last treatment"), "kg"),
    "target_weight_kg": Quantity("W_target", _("target weight"), "kg"),
    "rinse_back_l": Quantity("V_rb", _("rinse-back"), "L"),
    "intake_l": Quantity("V_in", _("drinks and infusions during treatment"), "L"),
    "days_since_last": Quantity("PIDI", _("days since the last treatment, start to start"), "d"),
    "not_counted": Quantity("t_bo", _("length of treatments broken off since, which do not count"), "min"),
    "post_sample": Quantity("", _("How the sample after was drawn")),
    "per_week": Quantity("N", _("treatments a week"), "1/wk"),
    "done": Quantity("n", _("treatments done lately")),
    "days_in_treatment": Quantity("d", _("days in treatment in which they were done"), "d"),
    "delivered_minutes": Quantity("t", _("length of the treatment"), "min"),
    "prescribed_minutes": Quantity("t_p", _("length prescribed"), "min"),
    "systolic": Quantity("SBP", _("systolic pressure"), "mmHg"),
    "diastolic": Quantity("DBP", _("diastolic pressure"), "mmHg"),
    "pressures_mmhg": Quantity("SBP", _("systolic pressures before, during and after"), "mmHg"),
    "flows_ml_min": Quantity("Q_b", _("blood flow of the readings"), "mL/min"),
    "minutes_at": Quantity("t_r", _("minutes from the start to the reading"), "min"),
    "end_minute": Quantity("t", _("length of the treatment"), "min"),
    "volumes_l": Quantity("UF_r", _("fluid so far, as read"), "L"),
    "volume_minutes": Quantity("t_r", _("minutes from the start to the look at the volume"), "min"),
    "machine_l": Quantity("BV_m", _("blood processed by the machine's total"), "L"),
    "sex": Quantity("", _("Sex")),
    "age_years": Quantity("A", _("age"), "a"),
    "height_cm": Quantity("H", _("height"), "cm"),
    "weight_kg": Quantity("W", _("weight after"), "kg"),
    "method": Quantity("", _("Access")),
    **kidney.QUANTITIES,
    "clearance_ml_min": Quantity("K_ru", _("urea clearance by the kidneys"), "mL/min"),
}
"""What each input is called, by its name in the stored numbers; a number that calls one otherwise says so itself."""

RATIO = Quantity("R", _("urea after / before"))
GENERATION = Quantity("GFAC", _("generation factor"), "1/h")
SINGLE = Quantity("s", _("single-pool Kt/V"))
LATE = Quantity("e_l", _("equilibrated Kt/V by the late sample"))
REBOUND = Quantity("τ", _("time constant of the rebound"), "min")
EQUILIBRATED = Quantity("e", _("equilibrated Kt/V that the weekly equation takes"))
WATER = Quantity("V", _("body water by Watson"), "L")
WEEKLY_FLUID = Quantity("UF_w", _("fluid removed a week"), "L")
FIXED = Quantity("S", _("weekly standard Kt/V at a fixed volume"), "1/wk")
SURFACE = Quantity("BSA", _("body surface by Du Bois"), "m²")
BLOOD = Quantity("BV", _("blood processed"), "L")
USUAL_FLOW = Quantity("Q_m", _("median blood flow"), "mL/min")
SINGLE_POOL = "−ln(R − GFAC · t / 60) + (4 − 3.5 · R) · UF / W"
AT_FLOW = "median({0} | abs(Q_b − Q_m) ≤ 0.1 · Q_m)"
"""Typical of the readings at the flow of the treatment; {0}: the symbol of what was read."""


def of_ratio(given: Inputs) -> Iterator[WorkingStep]:
    """R and GFAC, which every dose starts from."""
    yield WorkingStep(RATIO, "C_post / C_pre", measure(given["post"] / given["pre"], "1"))
    yield WorkingStep(GENERATION, "0.0174 / PIDI", adequacy.generation_factor(days_since_last=given["days_since_last"]))


def of_single(given: Inputs) -> Iterator[WorkingStep]:
    """Up to the Kt/V by the ratio of the samples; of a late sample it is the equilibrated one already."""
    yield from of_ratio(given)
    late = given["post_sample"] == SampleWay.LATE
    yield WorkingStep(LATE if late else SINGLE, SINGLE_POOL, by_ratio(given))


def by_ratio(given: Inputs) -> Measure:
    """The equation of the single-pool Kt/V, whatever the way in which the sample after was drawn."""
    found: Measure = adequacy.single_pool_ktv(
        pre=given["pre"],
        post=given["post"],
        hours=given["minutes"] / 60,
        uf_l=given["net_uf_l"],
        post_weight_kg=given["post_weight_kg"],
        days_since_last=given["days_since_last"],
    )
    return found


def of_equilibrated(given: Inputs) -> Iterator[WorkingStep]:
    """Up to the rebound of this access; after a late sample there is none left."""
    yield from of_ratio(given)
    yield WorkingStep(SINGLE, SINGLE_POOL, by_ratio(given))
    venous = given["method"] == "tattersall_venous"
    minutes = float(k.TATTERSALL_VENOUS if venous else k.TATTERSALL_ARTERIAL)
    minutes = 0.0 if given["post_sample"] == SampleWay.LATE else minutes
    yield WorkingStep(REBOUND, f"{minutes:g}", measure(minutes, "min"))


def of_week(given: Inputs) -> Iterator[WorkingStep]:
    """Up to the week at a fixed volume; its eKt/V is the one that the weekly equation was made with."""
    yield from of_single(given)
    single = by_ratio(given)
    if given["post_sample"] == SampleWay.LATE:
        single = adequacy.single_pool_of_equilibrated(equilibrated=single.value, minutes=given["minutes"])
        yield WorkingStep(SINGLE, "e_l · (t + 30.7) / t", single)
    if given["done"] is not None:
        yield WorkingStep(QUANTITIES["per_week"], "min(7, 7 · n / d)", measure(given["per_week"], "1/wk"))
    yield from of_fixed_week(single.number or 0.0, given["minutes"], given["per_week"])
    yield WorkingStep(WEEKLY_FLUID, "N · UF", measure(given["per_week"] * given["net_uf_l"], "L"))
    yield of_water(given)
    yield from kidney.of_kidney(given)


def of_fixed_week(single: float, minutes: float, per_week: float) -> Iterator[WorkingStep]:
    """e and S, from the single-pool Kt/V, the length [min] and the treatments a week."""
    equilibrated = adequacy.equilibrated_ktv(single_pool=single, minutes=minutes, method="tattersall_hemo")
    yield WorkingStep(EQUILIBRATED, "s · t / (t + 30.7)", equilibrated)
    week = adequacy.standard_weekly_ktv(equilibrated=equilibrated.value, minutes=minutes, per_week=per_week)
    yield WorkingStep(FIXED, "10080 · (1 − exp(−e)) / t / ((1 − exp(−e)) / e + 10080 / (N · t) − 1)", week)


def of_water(given: Inputs) -> WorkingStep:
    """V by Watson's equation for the sex."""
    person = {name: given[name] for name in ("sex", "age_years", "height_cm", "weight_kg")}
    man = "2.447 − 0.09516 · A + 0.1074 · H + 0.3362 · W"
    woman = "0.1069 · H + 0.2466 · W − 2.097"
    return WorkingStep(WATER, man if given["sex"] == "male" else woman, body.total_body_water_watson(**person))


def of_surface(given: Inputs) -> Iterator[WorkingStep]:
    """Body surface by Du Bois."""
    surface = body.surface_area_du_bois(height_cm=given["height_cm"], weight_kg=given["weight_kg"])
    yield WorkingStep(SURFACE, "0.007184 · H ^ 0.725 · W ^ 0.425", surface)


def of_blood(given: Inputs) -> Iterator[WorkingStep]:
    """The machine's total, or the area under the flows that were read."""
    if given["machine_l"] is not None:
        yield WorkingStep(BLOOD, "BV_m", measure(given["machine_l"], "L"))
        return
    read = {name: given[name] for name in ("flows_ml_min", "minutes_at", "end_minute")}
    yield WorkingStep(BLOOD, "area(Q_b, t_r, t) / 1000", blood_processed_l(**read))


def of_flow(given: Inputs) -> Iterator[WorkingStep]:
    """The flow of the treatment, around which readings count."""
    flows = [flow for flow in given["flows_ml_min"] if flow]
    yield WorkingStep(USUAL_FLOW, "median(Q_b | Q_b > 0)", measure(median(flows), "mL/min"))


WORDS: dict[str, dict[str, Quantity]] = {
    "minutes": {"value": Quantity("t", _("from start to end"), "min")},
    "uf_volume": {"value": Quantity("UF", _("fluid removed"), "L")},
    "bleeding": {"value": Quantity("t_b", _("longest bleeding of the needle sites"), "min")},
    "blood_flow_median": {"values": Quantity("Q_b", _("blood flow of the readings"), "mL/min")},
    "venous_median": {"values": Quantity("P_v", _("venous pressure of the readings"), "mmHg")},
    "fitted_week": fitted.QUANTITIES,
    "fitted_week_kidney": fitted.QUANTITIES,
    "arterial_median": {"values": Quantity("P_a", _("arterial pressure of the readings"), "mmHg")},
}
"""What a number calls an input that others call otherwise, by the key of the number."""

STEPS: dict[str, Steps] = {
    "blood_processed": of_blood,
    "blood_flow_median": of_flow,
    "venous_median": of_flow,
    "arterial_median": of_flow,
    "single_pool_ktv": of_ratio,
    "equilibrated_ktv": of_equilibrated,
    "standard_ktv": of_week,
    "standard_ktv_kidney": of_week,
    "kidney": of_surface,
}
"""The steps of a number by its key; all others come straight from what went in."""

WITH_KIDNEY = "S / (1 − 0.74 / N · UF_w / V) + K_ru · (0.974 / (s + 1.62) + 0.4) · 10080 / (1000 · V)"
WRITTEN = {
    "standard_ktv_kidney": WITH_KIDNEY,
    "fitted_week": fitted.ALONE,
    "fitted_week_kidney": fitted.WITH_KIDNEY,
    "kidney": "1.73 · K_ru / BSA",
    "minutes": "t",
    "delivered": "100 · t / t_p",
    "uf_volume": "UF",
    "uf_rate": "60000 · UF / (t · W)",
    "uf_rate_fastest": "60000 · steepest(UF_r, t_r, 15) / W",
    "uf_rate_by_weight": "(3 · W + 500) / W",
    "gain": "W_pre − W_last",
    "gain_percent": "100 · (W_pre − W_last) / W_target",
    "off_target": "W − W_target",
    "expected_weight": "W_pre − UF + V_rb + V_in",
    "mean_pressure_before": "DBP + (SBP − DBP) / 3",
    "mean_pressure_after": "DBP + (SBP − DBP) / 3",
    "lowest_systolic": "min(SBP)",
    "lowest_mean": "min(DBP + (SBP − DBP) / 3)",
    "blood_flow_median": AT_FLOW.format("Q_b"),
    "venous_median": AT_FLOW.format("P_v"),
    "arterial_median": AT_FLOW.format("P_a"),
    "blood_processed": "BV",
    "bleeding": "t_b",
    "urr": "100 · (1 − C_post / C_pre)",
    "single_pool_ktv": SINGLE_POOL,
    "equilibrated_ktv": "s · t / (t + τ)",
    "standard_ktv": "S / (1 − 0.74 / N · UF_w / V)",
}
"""The equation of each number in symbols, by its key; the left side is the number itself."""
