"""Where a formula does not hold it answers with a reason, and only there."""

from __future__ import annotations

import ast
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from dosing.science import (
    access,
    adequacy,
    bloods,
    body,
    dialyser,
    fluid,
    kidney,
    kinetics,
    robust,
    survival,
    trends,
    water,
)
from dosing.science import flows as circuit
from dosing.science.checks import within
from dosing.science.delivered import DeliveredTreatments
from dosing.science.delivered_fit import DeliveredPairs, UreaPrior, fit_delivered
from dosing.science.pressures import expected_change, published_flow_slope, usual_flow
from dosing.science.reasons import OF_SCIENCE, REASONS, WORDS, Reason, parts_of, reason_of
from dosing.science.results import Measure, as_float, measure, unknown
from dosing.science.schedule import PatientParameters, Schedule

TREATMENT: dict[str, Any] = {"pre": 20, "post": 6, "hours": 4, "uf_l": 2.5, "post_weight_kg": 70}


SINGLE_POOL: list[tuple[dict[str, Any], str]] = [
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
]


def single_pool(**changed: Any) -> Measure:
    return adequacy.single_pool_ktv(**(TREATMENT | changed))


@pytest.mark.parametrize(("changed", "reason"), SINGLE_POOL)
def test_single_pool_dose_says_why_it_is_unknown(changed: dict[str, Any], reason: str) -> None:
    answer = single_pool(**changed)
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
    (
        "fall of mean pressure is not given",
        fluid.intradialytic_hypotension(
            definition="fall_with_symptoms", pre_systolic=130, lowest_systolic=90, mean_fall=np.nan, symptoms=1
        ),
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
    ("enter the unit's own", water.classify(quantity="bacteria", fluid="dialysis_water", edition="iso_2024", value=10)),
    (
        "does not detect below",
        water.classify(quantity="bacteria", fluid="ultrapure_fluid", edition="iso_2019", value=1, below_detection=1),
    ),
]


@pytest.mark.parametrize(("reason", "answer"), UNKNOWN, ids=[reason for reason, _ in UNKNOWN])
def test_reason(reason: str, answer: Measure) -> None:
    assert answer.number is None
    assert np.isnan(answer.value)
    assert reason in str(answer.reason)


def test_water_below_the_detection_limit_passes_where_the_method_is_fine_enough() -> None:
    fine = water.classify(quantity="bacteria", fluid="dialysis_water", edition="iso_2019", value=1, below_detection=1)
    assert fine.number == water.Grade.PASS


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
    many = unknown("L", Reason("empty_schedule"), (3,))
    assert many.value.shape == (3,)
    with pytest.raises(ValueError, match=r"\(3,\) numbers"):
        _ = many.number
    with pytest.raises(ValueError, match=r"\(3,\) numbers"):
        _ = many.reason


def of_week(**changes: Any) -> Measure:
    """The steady week of a usual patient and schedule, with something changed."""
    patient = {"volume": 35, "generation": 0.19, "fluid_gain": 1, "kidney_clearance": 1}
    schedule = {"starts": [8, 56, 104], "hours": 4, "clearance": 230}
    own = {name: value for name, value in changes.items() if name in patient}
    week = kinetics.weekly_steady_state(
        schedule=Schedule(**(schedule | {name: each for name, each in changes.items() if name not in own})),
        patient=PatientParameters(**(patient | own)),
    )
    return week.standard_ktv


def of_course(period: tuple[float, float] = (0, 480), **changes: Any) -> Any:
    """The dose of a usual course, with something changed."""
    usual = {"starts": 24.0 * np.arange(20), "hours": 4.0, "clearance": 200.0, "fluid_before": 1.0}
    prior = UreaPrior(volume=35, generation=0.2)
    found = fit_delivered(treatments=DeliveredTreatments(**(usual | changes)), prior=prior, periods=[period])
    return found.dose.whole.why[0]


def of_pairs(**changes: Any) -> Any:
    """The dose of a course with bloods that only a body of a few litres explains."""
    usual = {"starts": 24.0 * np.arange(40), "hours": 4.0, "clearance": 200.0, "fluid_before": 5.0}
    found = fit_delivered(
        treatments=DeliveredTreatments(**(usual | changes)),
        prior=UreaPrior(volume=35, generation=0.2),
        pairs=DeliveredPairs(treatment=[20, 25, 30, 35], pre=[25.0] * 4, post=[1.0] * 4),
    )
    return found.volume.why.item()


def of_flows(flows: list[float], minutes: list[float], end: float = 240) -> Measure:
    return circuit.blood_processed_l(flows_ml_min=flows, minutes_at=minutes, end_minute=end)


def of_trend(values: list[float], segment: list[int] | int = 0) -> trends.Verdict:
    return trends.judge(watches=[trends.VENOUS_PRESSURE], values=[values], days=range(len(values)), segment=segment)[0]


WEEK: dict[str, Any] = {"single_pool": 1.4, "minutes": 240, "per_week": 3, "weekly_uf_l": 9, "volume_l": 35}
NAN = float("nan")

MORE: dict[str, Callable[[], Any]] = {
    "no_finite_answer": lambda: measure(np.inf, "L"),
    "not_finite": lambda: fluid.uf_rate(uf_l=np.inf, minutes=240, post_weight_kg=70),
    "weekly_fluid_does_not_fit": lambda: adequacy.standard_weekly_ktv_with_fluid_and_kidney(
        **(WEEK | {"weekly_uf_l": 150})
    ),
    "no_blood_pressure": lambda: fluid.lowest_pressure(pressures_mmhg=[]),
    "flow_too_far_without_gauge": lambda: expected_change(
        flows_ml_min=400, reference_ml_min=300, gauge=NAN, side="venous"
    ),
    "no_blood_flow": lambda: usual_flow(flows_ml_min=[NAN]),
    "no_treatment_flow": lambda: access.median_at_treatment_flow(values=[NAN], flows_ml_min=[NAN]),
    "no_flow_reading": lambda: of_flows([NAN], [NAN]),
    "reading_incomplete": lambda: of_flows([300, 300], [10, NAN]),
    "reading_after_empty": lambda: of_flows([300, NAN, 300], [10, NAN, 30]),
    "no_stretch": lambda: fluid.fastest_uf_rate(volumes_l=[0, 1], volume_minutes=[0, 14], post_weight_kg=70),
    "readings_not_in_order": lambda: of_flows([300, 300], [30, 10]),
    "reading_outside": lambda: of_flows([300], [300]),
    "ends_do_not_fit": lambda: of_flows([300], [0], end=3000),
    "ultrafiltration_above_flow": lambda: dialyser.blood_water_clearance(koa=800, qb=300, qd=500, qf=300),
    "gauge_unknown": lambda: published_flow_slope(gauge=18, side="venous"),
    "flow_too_far": lambda: expected_change(flows_ml_min=450, reference_ml_min=200, gauge=15, side="venous"),
    "no_clearance": lambda: of_week(clearance=NAN),
    "treatments_overlap": lambda: of_week(starts=[8, 9, 104]),
    "drained_too_fast": lambda: of_week(fluid_gain=9.9, hours=0.5, clearance=20),
    "gain_too_large": lambda: of_week(fluid_gain=3.5),
    "cleared_too_much": lambda: of_week(hours=24, clearance=900),
    "fit_out_of_range": lambda: of_pairs(hours=12.0),
    "few_treatments": lambda: of_course(starts=[8.0, NAN]),
    "fluid_far_from_target": lambda: of_course(fluid_before=20.0),
    "no_treatment_then": lambda: of_course(period=(900, 999)),
    "balance_not_met": lambda: of_week(clearance=0, kidney_clearance=0, fluid_gain=0),
    "empty_schedule": lambda: of_week(starts=[NAN]),
    "no_treatment_here": lambda: kinetics.weekly_steady_state(
        schedule=Schedule(starts=[8, NAN], hours=4, clearance=230),
        patient=PatientParameters(volume=35, generation=0.19),
    ).pre_water.why[1],
    "not_whole": lambda: survival.poisson_rate(events=1.5, exposure=10).rate,
    "neither_0_nor_1": lambda: next(iter(survival.kaplan_meier(times=[8], observed=[2]).left_out)),
    "nobody_at_risk": lambda: survival.kaplan_meier(times=[5], observed=[1]).low.why[0],
    "few_points_for_slope": lambda: trends.theil_sen_slope(times=[1, 2], values=[1, 2], unit="1"),
    "few_points_for_trend": lambda: trends.mann_kendall(values=[1, 2]).why,
    "one_time_only": lambda: trends.theil_sen_slope(times=[1, 1, 1], values=[1, 2, 3], unit="1"),
    "all_equal": lambda: trends.mann_kendall(values=[1, 1, 1]).why,
    "no_usable_night": lambda: of_trend([NAN]).why,
    "few_nights": lambda: of_trend([140.0] * 4).why,
    "few_nights_since_change": lambda: of_trend([140.0] * 12, segment=[0] * 9 + [1] * 3).why,
}
"""The reasons that no case above has, each with a way to it: a measure with one number, or the reason itself."""
NEVER_SEEN = {"search_not_settled"}
"""No inputs were found on which the search goes on for so long; the check stands behind it all the same."""


@pytest.mark.parametrize("code", MORE)
def test_each_other_reason_is_given_where_it_holds(code: str) -> None:
    found = MORE[code]()
    why = found if isinstance(found, Reason) else found.reason
    assert why is not None
    assert why.code == code


@pytest.mark.filterwarnings("error")
def test_the_middle_of_huge_numbers_warns_nobody() -> None:
    huge = [1e308, 1e308, -1e308]
    assert robust.median(huge[:2]).shape == ()


def test_every_declared_reason_has_a_case() -> None:
    above = {answer.reason.code for _, answer in UNKNOWN if answer.reason}
    above |= {answer.reason.code for changed, _ in SINGLE_POOL if (answer := single_pool(**changed)).reason}
    assert set(OF_SCIENCE) == above | set(MORE) | NEVER_SEEN


@pytest.mark.parametrize("code", REASONS)
def test_a_reason_is_stored_and_read_back_with_its_parts(code: str) -> None:
    """As JSON keeps it, another reason among its parts as well."""
    parts = {name: Reason("never_noted") if name == "why" else 0.5 for name in parts_of(code)}
    reason = Reason(code, **parts)
    assert reason_of(json.loads(json.dumps(reason.as_json()))) == reason
    assert "%(" not in str(reason)
    assert "why" not in parts or "never noted" in str(reason)


def test_a_reason_has_the_parts_of_its_words_and_no_other() -> None:
    with pytest.raises(ValueError, match="no reason 'because' is declared"):
        Reason("because")
    with pytest.raises(ValueError, match=r"'not_given' takes \['what'\], not \['who'\]"):
        Reason("not_given", who="ana")


def test_every_input_that_a_check_names_has_words() -> None:
    """The names are the keywords that formulas give to the checks; they are words of the reasons."""
    named = set()
    for module in Path(access.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(module.read_text())):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") in CHECKS:
                named |= {keyword.arg for keyword in node.keywords if keyword.arg}
    assert len(named) > 60
    assert named - set(WORDS) == set()
    assert set(bloods.ANALYTES) <= set(WORDS)


CHECKS = {"given", "above_zero", "not_negative", "within"}
