"""Every number of the catalogue: worked by hand from its equation, and unknown with its reason, never zero.

The right-hand sides are the published equations written out with the numbers of the made-up night; none
of them comes from the code under test.
"""

from __future__ import annotations

import json
from datetime import timedelta
from math import exp, log
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.night.computing import numbers_of
from dosing.services.night.inputs import NightFacts
from sessions.models import Event
from tests.dosing.made_up import WHOLE, english, facts, night, ordered, reading
from tests.factories import A_NIGHT

# Daugirdas 1993 with the generation factor of 2013: 25 to 8 mmol/L in 4 h, 2.5 L off, 70 kg, two days after
# the last treatment. R = 0.32.
SINGLE = -log(0.32 - 0.0174 / 2 * 4) + (4 - 3.5 * 0.32) * 2.5 / 70
OF_DOSE = {"record": night(post_weight_kg=70, uf_removed_l=3.05)}
"""3.05 L taken off, 0.55 L given back and drunk: 2.5 L net."""
# Watson 1980 for a man; (2 March 2026 − 17 May 1970) is 20378 days.
WATER = 2.447 - 0.09516 * 20378 / 365.25 + 0.1074 * 175 + 0.3362 * 70


FITTED = {"fitted_week", "fitted_week_kidney"}
"""By no closed form: tests/truth holds them against an integration of what was done."""


def weekly(single: float, minutes: float, per_week: float, weekly_uf_l: float, volume_l: float) -> float:
    """Leypoldt 2004's closed form with the fluid term of Daugirdas 2010; e by t/(t + 30.7)."""
    e = single * minutes / (minutes + 30.7)
    fixed = 10080 * (1 - exp(-e)) / minutes / ((1 - exp(-e)) / e + 10080 / (per_week * minutes) - 1)
    return fixed / (1 - 0.74 / per_week * weekly_uf_l / volume_l)


def test_the_oracle_itself_gives_the_figures_worked_out_elsewhere() -> None:
    """By hand with a pocket calculator: 1.3574; 1.2412 for s 1.4 in 240 min; 2.3490 a week with 9 L from 35 L."""
    assert pytest.approx(1.357422, abs=5e-7) == SINGLE
    assert weekly(1.4, 240, 3, 9, 35) == pytest.approx(2.349041, abs=5e-7)


def named(given: Any) -> str:
    """A case by its words; facts have none of their own."""
    return given[:40] if isinstance(given, str) else "-"


A_DROP = {"events": [Event(kind="hypotension", systolic=84, diastolic=46), Event(kind="cramp")]}
AFTER_A_STOP = {
    "record": night(180, uf_removed_l=2.1, post_weight_kg=70),
    "readings": [reading(60, uf_volume_l=0.7), reading(120, uf_volume_l=0.7)],
}
KNOWN: list[Any] = [
    ("uf_volume", {}, 2.9, "as noted"),
    ("uf_rate", {"record": night(uf_removed_l=2.8, post_weight_kg=70)}, 10.0, "2800 mL in 4 h on 70 kg"),
    ("uf_rate", {"record": night(225, uf_removed_l=3.5, post_weight_kg=85)}, 3500 / 3.75 / 85, "225 min, 85 kg"),
    ("uf_rate_fastest", AFTER_A_STOP, 20.0, "1.4 L in the last hour on 70 kg; 10 in the mean"),
    (
        "uf_rate_fastest",
        {"record": night(uf_removed_l=2.8, post_weight_kg=70), "readings": []},
        10.0,
        "the total alone",
    ),
    ("uf_rate_by_weight", {"record": night(post_weight_kg=70)}, 710 / 70, "Mermelstein 2023: 710 mL/h at 70 kg"),
    ("gain", {}, 2.6, "72.6 from 70.0"),
    ("gain_percent", {}, 100 * 2.6 / 70, "3.714 % of 70 kg"),
    ("off_target", {}, 1.2, "71.2 against 70"),
    ("expected_weight", {}, 70.25, "72.6 − 2.9 + 0.30 + 0.25"),
    ("minutes", {}, 240, "21:30 to 01:30"),
    ("delivered", {"record": night(216)}, 0.9, "216 of 240"),
    ("blood_processed", {}, 71.5, "the machine's total"),
    ("mean_pressure_before", {}, 100, "140/80: 80 + 60/3"),
    ("mean_pressure_after", {}, 70 + 50 / 3, "120/70: 86.667"),
    ("lowest_systolic", {}, 96, "the second reading"),
    ("lowest_mean", {}, 72, "96/60: 60 + 36/3"),
    ("lowest_systolic", A_DROP, 84, "84/46 noted with the drop, under the 96 of the readings"),
    ("lowest_mean", A_DROP, 46 + 38 / 3, "84/46: 46 + 38/3"),
    ("blood_flow_median", {}, 300, "middle of 300, 300, 310; the 150 at the start is no treatment flow"),
    ("arterial_median", {}, -145, "middle of −140, −150, −145"),
    ("venous_median", {}, 135, "middle of 130, 140, 135"),
    ("bleeding", {}, 7, "as noted"),
    ("urr", {}, 68, "100 (1 − 8/25)"),
    ("single_pool_ktv", OF_DOSE, SINGLE, "Daugirdas 1993 and 2013"),
    ("equilibrated_ktv", OF_DOSE, SINGLE * 240 / 275, "Tattersall 1996, fistula: t/(t + 35)"),
    (
        "equilibrated_ktv",
        OF_DOSE | {"access_kind": "catheter"},
        SINGLE * 240 / 262,
        "Tattersall 1996, catheter: t/(t + 22)",
    ),
    ("standard_ktv", OF_DOSE, weekly(SINGLE, 240, 3, 7.5, WATER), "Leypoldt 2004, Daugirdas 2010, Watson 1980"),
    ("standard_ktv_kidney", OF_DOSE, weekly(SINGLE, 240, 3, 7.5, WATER), "no collection: the kidney adds nothing"),
    (
        "standard_ktv_kidney",
        OF_DOSE | {"kidney": 4.0},
        weekly(SINGLE, 240, 3, 7.5, WATER) + 0.93 * 4 * (0.974 / (SINGLE + 1.62) + 0.4) * 10.08 / WATER,
        "Daugirdas 2010, with 4 mL/min of plasma",
    ),
    (
        "kidney",
        OF_DOSE | {"kidney": 4.0},
        4 * 1.73 / (0.007184 * 175**0.725 * 70**0.425),
        "4 mL/min for 1.73 m2, Du Bois 1916",
    ),
]


@pytest.mark.parametrize(("key", "changes", "value", "worked"), KNOWN, ids=named)
def test_a_known_number_is_the_one_worked_by_hand(key: str, changes: Any, value: float, worked: str) -> None:
    found = numbers_of(facts(**changes))[key]
    assert found["value"] == pytest.approx(value, rel=1e-9), worked
    assert found["why"] is None


def test_every_number_is_worked_by_hand_here() -> None:
    assert {key for key, *_ in KNOWN} | FITTED == set(NIGHT_NUMBERS)


def test_volume_and_blood_fall_back_on_the_readings() -> None:
    """No total and one weight: a volume read at the end, and the flow held to both ends: 60·150 + 60·(150+300)/2
    + 100·300 + 20·300 mL.
    """
    read = [reading(60, qb_ml_min=150, uf_volume_l=0.7), reading(120, qb_ml_min=300), reading(220, uf_volume_l=1.5)]
    bare = facts(night(uf_removed_l=None, blood_processed_l=None, pre_weight_kg=None), readings=read)
    found = numbers_of(bare)
    assert found["uf_volume"]["value"] == 1.5
    assert english(found["uf_volume"]["doubts"][0]).endswith("fluid is taken from a reading 20 minutes before the end")
    assert found["blood_processed"]["value"] == pytest.approx(58.5)


def test_before_the_first_of_all_treatments_the_interval_prescribed_is_taken_and_said() -> None:
    """Three a week: 7/3 days; without a prescription nothing is known of the interval, and nothing is guessed."""
    found = numbers_of(facts(last_record=None, **OF_DOSE))["single_pool_ktv"]
    assert found["value"] == pytest.approx(-log(0.32 - 0.0174 / (7 / 3) * 4) + (4 - 3.5 * 0.32) * 2.5 / 70)
    assert [each["code"] for each in found["doubts"]] == ["first_treatment"]
    assert numbers_of(facts(last_record=None, prescription=None, **OF_DOSE))["single_pool_ktv"]["value"] is None


def test_a_true_zero_is_a_zero() -> None:
    found = numbers_of(facts(night(uf_removed_l=0, post_weight_kg=72.6)))
    assert [found[key]["value"] for key in ("uf_volume", "uf_rate")] == [0, 0]
    assert numbers_of(facts(longest_bleeding=0))["bleeding"]["value"] == 0


NO_END = {"record": night(None)}
NO_WEIGHT = {"record": night(post_weight_kg=None)}
NO_BEFORE = {"record": night(pre_weight_kg=None)}
NO_UF = {"record": night(uf_removed_l=None, pre_weight_kg=None)}
NO_ORDER = {"prescription": None}
NO_LAST = {"last_record": None}
LAST_UNWEIGHED = {"last_record": night(start=A_NIGHT - timedelta(days=2), post_weight_kg=None)}
LONG_AGO = {"last_record": night(start=A_NIGHT - timedelta(days=8))}
NO_PRE, NO_POST = {"urea_pre": None}, {"urea_post": None}
UNPROTECTED = {"post_sample": "neither"}
NO_PRESSURE = {"record": night(pre_systolic=None, post_systolic=None), "readings": []}
NO_BLOODS = "no urea before and after belongs to this treatment"
NO_FLOW = "no reading at treatment flow was noted"
MIXED = "the sample after was not protected from recirculated blood and reads too low"

UNKNOWN: list[Any] = [
    ("uf_volume", NO_UF, "fluid removed was not noted"),
    ("uf_rate", NO_UF, "fluid removed was not noted"),
    ("uf_rate", NO_END, "treatment length is not given"),
    ("uf_rate", NO_WEIGHT, "weight after is not given"),
    ("uf_rate", {"record": night(29)}, "treatment length is outside 30 to 900 minutes"),
    ("uf_rate_fastest", NO_WEIGHT, "weight after is not given"),
    (
        "uf_rate_fastest",
        {"record": night(uf_removed_l=None), "readings": []},
        "the fluid so far was not noted at two times a quarter of an hour apart",
    ),
    ("uf_rate_by_weight", NO_WEIGHT, "weight after is not given"),
    ("gain", NO_BEFORE, "weight before is not given"),
    ("gain", NO_LAST, "last weight after is not given"),
    ("gain", LAST_UNWEIGHED, "last weight after is not given"),
    ("gain", {"record": night(pre_weight_kg=90)}, "the weights differ by more than a fifth"),
    ("gain_percent", NO_LAST, "last weight after is not given"),
    ("gain_percent", NO_ORDER, "target weight is not given"),
    ("off_target", NO_WEIGHT, "weight after is not given"),
    ("off_target", NO_ORDER, "target weight is not given"),
    ("expected_weight", NO_BEFORE, "weight before is not given"),
    ("expected_weight", {"record": night(uf_removed_l=None)}, "fluid removed is not given"),
    ("expected_weight", {"record": night(rinse_back_l=None)}, "rinse back is not given"),
    ("expected_weight", {"record": night(intake_l=None)}, "intake is not given"),
    ("minutes", NO_END, "the end was not noted"),
    ("delivered", NO_END, "delivered time is not given"),
    ("delivered", NO_ORDER, "prescribed time is not given"),
    (
        "blood_processed",
        {"record": night(blood_processed_l=None), "readings": []},
        "neither the machine's total nor a blood flow was noted",
    ),
    ("blood_processed", {"record": night(None, blood_processed_l=None)}, "the end was not noted"),
    (
        "blood_processed",
        {"record": night(blood_processed_l=None), "readings": [reading(250, qb_ml_min=300)]},
        "a reading lies outside the treatment",
    ),
    ("mean_pressure_before", {"record": night(pre_systolic=None)}, "systolic pressure is not given"),
    ("mean_pressure_after", {"record": night(post_diastolic=None)}, "diastolic pressure is not given"),
    ("lowest_systolic", NO_PRESSURE, "no blood pressure was noted"),
    ("lowest_mean", NO_PRESSURE, "no blood pressure was noted"),
    ("blood_flow_median", {"readings": []}, NO_FLOW),
    ("arterial_median", {"readings": [reading(60, qb_ml_min=300)]}, NO_FLOW),
    ("venous_median", {"readings": [reading(60, venous_mmhg=130)]}, NO_FLOW),
    ("bleeding", {"longest_bleeding": None}, "bleeding time was not noted"),
    ("urr", NO_PRE, NO_BLOODS),
    ("urr", NO_POST, NO_BLOODS),
    ("urr", {"urea_post": 26}, "urea after is not below urea before"),
    *((key, NO_PRE, NO_BLOODS) for key in ("single_pool_ktv", "equilibrated_ktv", "standard_ktv")),
    *((key, NO_POST, NO_BLOODS) for key in ("single_pool_ktv", "equilibrated_ktv", "standard_ktv")),
    *((key, NO_END, "treatment length is not given") for key in ("single_pool_ktv", "equilibrated_ktv")),
    *((key, NO_UF, "fluid removed was not noted") for key in ("single_pool_ktv", "standard_ktv")),
    *((key, NO_WEIGHT, "weight after is not given") for key in ("single_pool_ktv", "standard_ktv")),
    *((key, UNPROTECTED, MIXED) for key in ("single_pool_ktv", "equilibrated_ktv", "standard_ktv")),
    (
        "single_pool_ktv",
        LONG_AGO,
        "time since the last treatment is not given or outside 0.5 to 7 days",
    ),
    ("single_pool_ktv", {"urea_post": 2}, "urea after/before is outside 0.1 to 0.8"),
    ("equilibrated_ktv", {"record": night(59)}, "treatment length is outside 1 to 12 h"),
    ("standard_ktv", NO_END, "treatment length is not given"),
    ("standard_ktv", NO_ORDER, "no prescription says how often a week"),
    ("standard_ktv_kidney", NO_PRE, NO_BLOODS),
    ("standard_ktv_kidney", NO_ORDER, "no prescription says how often a week"),
    ("fitted_week", NO_PRE, NO_BLOODS),
    ("fitted_week_kidney", NO_ORDER, "no prescription was in force"),
    ("kidney", {}, "no urine collection of the last half year gave a clearance"),
    ("urr", {"record": night(300)}, "it says nothing of the dose of treatments of 5 hours and more"),
]


@pytest.mark.parametrize(("key", "changes", "why"), UNKNOWN, ids=named)
def test_an_unknown_number_says_why_and_is_no_zero(key: str, changes: Any, why: str) -> None:
    found = numbers_of(facts(**changes))[key]
    assert found["value"] is None
    assert english(found["why"]) == why


def test_every_number_can_be_unknown_and_is_tried_here() -> None:
    assert {key for key, *_ in UNKNOWN} == set(NIGHT_NUMBERS)


def test_of_an_empty_record_everything_is_unknown_with_a_reason() -> None:
    nothing = dict.fromkeys(NOTED)
    bare = facts(
        night(None, **nothing), readings=[], last_record=None, prescription=None, **NO_PRE, longest_bleeding=None
    )
    found = numbers_of(bare)
    assert [key for key, each in found.items() if each["value"] is not None or not each["why"]] == []


NOTED = (
    "pre_weight_kg",
    "post_weight_kg",
    "uf_removed_l",
    "rinse_back_l",
    "intake_l",
    "pre_systolic",
    "pre_diastolic",
    "post_systolic",
    "post_diastolic",
    "blood_processed_l",
)


@st.composite
def any_facts(draw: st.DrawFn) -> NightFacts:
    """The made-up night with anything missing, and with numbers from anywhere in their hard limits."""
    weights, volumes = st.none() | st.floats(20, 300), st.none() | st.floats(0, 10)
    noted = {name: draw(st.none() | st.floats(40, 300)) for name in NOTED[5:9]}
    noted |= {name: draw(weights if "weight" in name else volumes) for name in NOTED[:5]}
    noted["blood_processed_l"] = draw(st.none() | st.floats(0, 300))
    readings = WHOLE["readings"]
    return facts(
        night(draw(st.none() | st.floats(1, 1440)), **noted),
        readings=draw(st.sampled_from([[], readings, readings[:1]])),
        prescription=draw(st.sampled_from([None, WHOLE["prescription"]])),
        last_record=draw(st.sampled_from([None, WHOLE["last_record"]])),
        access_kind=draw(st.sampled_from(["", "fistula", "catheter"])),
        post_sample=draw(st.sampled_from(["", "slow_flow", "neither"])),
        urea_pre=draw(st.none() | st.floats(0.1, 120)),
        urea_post=draw(st.none() | st.floats(0.1, 120)),
        longest_bleeding=draw(st.none() | st.floats(0, 240)),
    )


@settings(max_examples=60, deadline=None)
@given(any_facts())
def test_whatever_is_missing_a_number_is_known_or_says_why(some: NightFacts) -> None:
    found = numbers_of(some)
    for key, each in found.items():
        assert (each["value"] is None) == bool(each["why"]), key
    assert json.loads(json.dumps(found, allow_nan=False)) == found, "it is kept as JSON"


def test_each_number_names_its_equation_and_its_source() -> None:
    for number in NIGHT_NUMBERS.values():
        assert number.label, number.key
        assert number.equation, number.key
        assert number.source, number.key
        assert number.decimals in (0, 1, 2), number.key


def test_a_prescription_of_every_other_day_counts_three_and_a_half() -> None:
    order = ordered(minutes=480, max_minutes=480, days_per_week=3.5)
    found = numbers_of(facts(prescription=order, **OF_DOSE))["standard_ktv"]["value"]
    assert found == pytest.approx(weekly(SINGLE, 240, 3.5, 3.5 * 2.5, WATER))
