"""Where a formula does not hold it answers with a reason, and only there."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from dosing.science import access, adequacy, bloods, body, dialyser, fluid, kidney, nutrition, water
from dosing.science.checks import within
from dosing.science.reasons import Reason
from dosing.science.results import Measure, as_float, measure, unknown

TREATMENT: dict[str, Any] = {"pre": 20, "post": 6, "hours": 4, "uf_l": 2.5, "post_weight_kg": 70}


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        ({"post": 20}, "urea after is not below urea before"),
        ({"post": 21}, "urea after is not below urea before"),
        ({"pre": 0}, "urea before is not above zero"),
        ({"pre": None}, "urea before is not given"),
        ({"hours": 0.5}, "treatment length is outside 1 to 12 h"),
        ({"post": 1.5}, "urea after/before is outside 0.1 to 0.8"),
        ({"post": 17}, "urea after/before is outside 0.1 to 0.8"),
        ({"uf_l": 7.5}, "fluid removed is above a tenth of the weight"),
        ({"uf_l": -0.1}, "fluid removed is below zero"),
        ({"post_weight_kg": 0}, "weight after is not above zero"),
        ({"post": 2.4, "hours": 8, "days_since_last": 1}, "the urea ratio does not fit the length"),
        ({"days_since_last": 9}, "time since the last treatment"),
        ({"days_since_last": np.nan}, "time since the last treatment"),
        ({"post_sample": "late"}, "gives the equilibrated value directly"),
        ({"post_sample": "unprotected"}, "reads too low"),
        ({"post_sample": "somehow"}, "no way to draw the sample"),
    ],
)
def test_single_pool_dose_says_why_it_is_unknown(changed: dict[str, Any], reason: str) -> None:
    answer = adequacy.single_pool_ktv(**(TREATMENT | changed))
    assert answer.number is None
    assert reason in str(answer.reason)


def test_single_pool_dose_from_a_well_drawn_sample() -> None:
    for sample in ("slow_flow", "stop_dialysate"):
        answer = adequacy.single_pool_ktv(**TREATMENT, post_sample=sample)
        assert answer.number == adequacy.single_pool_ktv(**TREATMENT).number
        assert answer.reason is None


UNKNOWN: list[tuple[str, Measure]] = [
    ("no method", adequacy.equilibrated_ktv(single_pool=1.4, minutes=240, method="magic")),
    ("60 to 720", adequacy.equilibrated_ktv(single_pool=1.4, minutes=30, method="tattersall_hemo")),
    ("90 to 480", adequacy.equilibrated_ktv(single_pool=1.4, minutes=540, method="rate_arterial")),
    ("0 to 7", adequacy.standard_weekly_ktv(equilibrated=1.2, minutes=240, per_week=8)),
    ("no dose up to 5", adequacy.single_pool_ktv_needed(target=2.1, minutes=240, per_week=2)),
    ("not below both flows", dialyser.koa_from_clearance(clearance=310, qb=300, qd=500)),
    ("below a blood flow of 1000", dialyser.blood_flow_for_clearance(clearance=505, koa=800, qd=500)),
    ("not reached", dialyser.blood_flow_for_clearance(clearance=399, koa=800, qd=500)),
    ("must be below 1", dialyser.clearance_with_recirculation(clearance=200, qb=300, recirculation=10)),
    ("nothing to take off", fluid.uf_volume_plan(pre_weight_kg=69, target_weight_kg=70, rinse_back_l=0.3)),
    ("more than a fifth", fluid.target_deviation_kg(post_weight_kg=160, target_weight_kg=72.6)),
    ("30 to 900", fluid.uf_rate(uf_l=2, minutes=0, post_weight_kg=70)),
    ("35 to 180", fluid.weight_scaled_uf_limit_per_kg(post_weight_kg=20)),
    ("no line", fluid.weight_scaled_uf_limit(post_weight_kg=70, line="risk_10")),
    ("not below systolic", fluid.mean_arterial_pressure(systolic=80, diastolic=140)),
    ("no definition", fluid.intradialytic_hypotension(definition="low", pre_systolic=130, lowest_systolic=90)),
    (
        "symptoms is not given",
        fluid.intradialytic_hypotension(definition="fall_with_symptoms", pre_systolic=130, lowest_systolic=90),
    ),
    ("no equation", access.static_pressure(chamber_mmhg=40, height_cm=30, equation="both")),
    ("error of measurement", access.recirculation(systemic=60, arterial=61, venous=20)),
    ("error of measurement", access.recirculation(systemic=60, arterial=18, venous=20)),
    ("not below systemic", access.recirculation(systemic=60, arterial=55, venous=60)),
    ("fraction", access.line_reversal_flow(qb=300, recirculation_share=30)),
    ("14, 15, 16 or 17", access.highest_needle_flow(gauge=18)),
    ("too far", access.pressure_at_flow(pressure_mmhg=100, flow_ml_min=450, reference_ml_min=200, slope=0.4)),
    (
        "too far",
        access.median_pressure_at_flow(
            pressures_mmhg=[60, 80, 100], flows_ml_min=[200, 250, 300], reference_ml_min=400
        ),
    ),
    (
        "do not differ enough",
        access.median_pressure_at_flow(pressures_mmhg=[60, 62, 61], flows_ml_min=[200, 201, 202], reference_ml_min=240),
    ),
    ("sex as male or female", body.total_body_water_watson(sex="unknown", age_years=50, height_cm=170, weight_kg=70)),
    ("18 to 110", body.total_body_water_watson(sex="male", age_years=12, height_cm=150, weight_kg=40)),
    ("720 to 10080", kidney.urea_clearance(urine=100, urine_ml=500, minutes=60, plasma_start=10, plasma_end=20)),
    (
        "too high",
        kidney.creatinine_clearance(
            urine_mmol_l=60, urine_ml=9000, minutes=1440, plasma_start_umol_l=200, plasma_end_umol_l=300
        ),
    ),
    (
        "use modelled generation",
        nutrition.npcr_from_predialysis_urea(
            pre_urea_mmol_l=20, single_pool=0.6, place_in_week="second_of_three", per_week=5, weekly_fluid_gain_l=8
        ),
    ),
    (
        "weekly fluid gain",
        nutrition.npcr_from_predialysis_urea(
            pre_urea_mmol_l=20, single_pool=1.4, place_in_week="second_of_three", per_week=3, weekly_fluid_gain_l=0
        ),
    ),
    (
        "did not rise",
        nutrition.generation_between_treatments(
            post_urea_mmol_l=20, pre_urea_mmol_l=15, post_volume_l=40, pre_volume_l=41, hours=44
        ),
    ),
    ("enter the unit's own", water.classify(quantity="bacteria", fluid="dialysis_water", edition="iso_2024", value=10)),
    (
        "does not detect below",
        water.classify(quantity="bacteria", fluid="ultrapure_fluid", edition="iso_2019", value=1, below_detection=1),
    ),
    ("total chlorine is not given", water.chlorine_before_treatment(first_bed_mg_l=np.nan)),
    ("no range", water.dialysate_grade(quantity="colour", value=1)),
    ("no analyte", bloods.convert(analyte="gold", value=1, from_unit="g", to_unit="kg")),
    ("no unit of urea", bloods.convert(analyte="urea", value=70, from_unit="mg/dL", to_unit="mmol/L")),
    ("no review range", bloods.classify(analyte="sodium", value=140)),
]


@pytest.mark.parametrize(("reason", "answer"), UNKNOWN, ids=[reason for reason, _ in UNKNOWN])
def test_reason(reason: str, answer: Measure) -> None:
    assert answer.number is None
    assert np.isnan(answer.value)
    assert reason in str(answer.reason)


def test_water_below_the_detection_limit_passes_where_the_method_is_fine_enough() -> None:
    fine = water.classify(quantity="bacteria", fluid="dialysis_water", edition="iso_2019", value=1, below_detection=1)
    assert fine.number == water.Grade.PASS


@pytest.mark.parametrize(
    ("first", "second", "grade"),
    [(0.02, None, 0), (0.06, None, 1), (0.2, None, 2), (0.02, 0.2, 2), (0.2, 0.05, 1), (0.2, 0.11, 2)],
)
def test_chlorine_after_one_or_two_beds(first: float, second: float | None, grade: int) -> None:
    assert water.chlorine_before_treatment(first_bed_mg_l=first, second_bed_mg_l=second).number == grade


def test_a_review_range_of_the_unit_replaces_the_default() -> None:
    own = bloods.Band(3.5, 6.0, "the unit", bloods.Status.PRACTICE)
    assert bloods.classify(analyte="potassium", value=5.8).number == 1
    assert bloods.classify(analyte="potassium", value=5.8, band=own).number == 0


@pytest.mark.parametrize("text", ["", "8460", "-8", "8460-", "8460-88", "a460-8", "¹-1"])
def test_what_is_no_code_is_not_well_formed(text: str) -> None:
    assert not bloods.loinc_is_well_formed(text)


def test_a_code_with_letters_has_no_check_digit() -> None:
    with pytest.raises(ValueError, match="digits only"):
        bloods.loinc_check_digit("84a0")


def test_codes_lead_to_an_analyte_or_to_nothing() -> None:
    assert bloods.analyte_of_loinc("11064-3") == ("urea", "mg/dL urea nitrogen")
    assert bloods.analyte_of_loinc("3091-6") == ("urea", "mg/dL urea")
    assert bloods.analyte_of_loinc("1234-5") is None


def test_hypotension_by_mean_pressure_and_by_help() -> None:
    felt = {"pre_systolic": 130, "lowest_systolic": 118, "mean_fall": 10, "symptoms": 1}
    assert fluid.intradialytic_hypotension(definition="fall_with_symptoms", **felt).number == 1
    strict = "fall_with_symptoms_and_help"
    assert fluid.intradialytic_hypotension(definition=strict, **felt, intervention=0).number == 0
    assert fluid.intradialytic_hypotension(definition=strict, **felt, intervention=1).number == 1


def test_the_first_failing_check_gives_the_reason() -> None:
    (x,) = as_float([1.0, np.nan, np.inf, -5.0])
    answer = measure(x, "L", within(0, 10, "L", volume=x))
    assert answer.why.tolist() == [
        None,
        Reason("not_given", what="volume"),
        Reason("not_finite", what="volume"),
        Reason("outside", what="volume", low=0, high=10, unit="L"),
    ]
    assert answer.unknown_rows()[Reason("not_given", what="volume")].tolist() == [1]


def test_a_number_that_is_not_finite_is_never_passed_on() -> None:
    answer = measure([1.0, np.inf], "L")
    assert answer.why.tolist() == [None, Reason("no_finite_answer")]
    assert np.isnan(answer.value[1])


def test_an_array_is_not_one_number() -> None:
    many = unknown("L", Reason("no_pair"), (3,))
    assert many.value.shape == (3,)
    with pytest.raises(ValueError, match=r"\(3,\) numbers"):
        _ = many.number
    with pytest.raises(ValueError, match=r"\(3,\) numbers"):
        _ = many.reason
