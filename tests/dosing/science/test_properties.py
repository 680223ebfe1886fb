"""What must hold for any input: order, limits, round trips, and that the unit of urea does not matter."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dosing.science import adequacy, bloods, body, dialyser, fluid, kidney, survival, water

few = settings(max_examples=60, deadline=None, database=None)


def between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False)


ratios, hours = between(0.15, 0.6), between(2, 8)
koas, flows = between(200, 1600), between(100, 500)
doses, minutes, times = between(0.2, 3), between(90, 540), between(1, 7)


def single_pool(ratio: float, length: float, uf: float = 2.0, scale: float = 20.0) -> float:
    answer = adequacy.single_pool_ktv(
        pre=scale, post=scale * ratio, hours=length, uf_l=uf, post_weight_kg=70, days_since_last=2
    )
    assert answer.number is not None, answer.reason
    return answer.number


@few
@given(ratio=ratios, length=hours, scale=between(0.5, 500))
def test_the_unit_of_urea_does_not_change_the_dose(ratio: float, length: float, scale: float) -> None:
    assert single_pool(ratio, length, scale=scale) == pytest.approx(single_pool(ratio, length), rel=1e-9)


@few
@given(ratio=ratios, length=hours, less=between(0, 3), more=between(3, 6))
def test_more_fluid_removed_never_lowers_the_dose(ratio: float, length: float, less: float, more: float) -> None:
    assert single_pool(ratio, length, uf=more) >= single_pool(ratio, length, uf=less)


@few
@given(ratio=ratios, lower=between(0.5, 1), length=hours)
def test_lower_urea_after_never_lowers_the_dose(ratio: float, lower: float, length: float) -> None:
    if ratio * lower > 0.12:
        assert single_pool(ratio * lower, length) >= single_pool(ratio, length)


@few
@given(days=between(0.5, 6.9), ratio=between(0.35, 0.8))
def test_a_longer_gap_means_less_urea_made_during_treatment(days: float, ratio: float) -> None:
    common = {"pre": 1.0, "post": ratio, "hours": 4, "uf_l": 2, "post_weight_kg": 70}
    first = adequacy.single_pool_ktv(**common, days_since_last=days)
    later = adequacy.single_pool_ktv(**common, days_since_last=days + 0.1)
    assert later.value <= first.value


@few
@given(dose=doses, length=minutes, method=st.sampled_from(adequacy.EQUILIBRATED_METHODS))
def test_rebound_only_lowers_a_dose(dose: float, length: float, method: str) -> None:
    answer = adequacy.equilibrated_ktv(single_pool=dose, minutes=min(length, 480), method=method)
    assert answer.known.all()
    assert 0 < answer.value <= dose


@few
@given(dose=doses, length=minutes, often=between(1, 6))
def test_more_or_more_often_never_lowers_the_week(dose: float, length: float, often: float) -> None:
    def week(single: float, count: float) -> float:
        answer = adequacy.standard_weekly_ktv_with_fluid_and_kidney(
            single_pool=single, minutes=length, per_week=count, weekly_uf_l=7, volume_l=38
        )
        return float(answer.value)

    if 0.25 * often * 38 >= 7:
        assert week(dose + 0.1, often) >= week(dose, often)
    # Fluid is held per week, so more treatments each take less of it: the dose term wins.
    base = {"equilibrated": dose, "minutes": length}
    more = adequacy.standard_weekly_ktv(**base, per_week=often + 0.5).value
    assert more >= adequacy.standard_weekly_ktv(**base, per_week=often).value


@few
@given(length=minutes, often=times, target=between(0.5, 3))
def test_the_dose_needed_gives_the_target_back(length: float, often: float, target: float) -> None:
    week = {"minutes": length, "per_week": often, "weekly_uf_l": 5.0, "volume_l": 36.0}
    needed = adequacy.single_pool_ktv_needed(target=target, **week, kidney_clearance_ml_min=1)
    if needed.known.all() and needed.value > 1e-9:
        week["kidney_clearance_ml_min"] = 1
        back = adequacy.standard_weekly_ktv_with_fluid_and_kidney(single_pool=needed.value, **week)
        assert back.number == pytest.approx(target, abs=1e-9)
    else:
        assert "target" in str(needed.reason) or "fit" in str(needed.reason) or needed.value < 1e-9


def test_no_dialysis_is_no_dose_and_the_kidney_counts_alone() -> None:
    assert adequacy.standard_weekly_ktv(equilibrated=0, minutes=240, per_week=3).number == 0
    assert adequacy.standard_weekly_ktv(equilibrated=1.2, minutes=240, per_week=0).number == 0
    alone = adequacy.standard_weekly_ktv_with_fluid_and_kidney(
        single_pool=0, minutes=240, per_week=0, weekly_uf_l=0, volume_l=35, kidney_clearance_ml_min=2
    )
    whole = kidney.weekly_kidney_ktv(clearance_ml_min=2, volume_l=35)
    # Without dialysis the printed equation gives 0.974/1.62 + 0.4 = 1.001 of the plain clearance.
    assert alone.number == pytest.approx(whole.number, rel=0.002)


@few
@given(koa=koas, qb=flows, qd=flows, more=between(1, 200))
def test_clearance_stays_below_its_limits_and_grows_with_each(koa: float, qb: float, qd: float, more: float) -> None:
    def clearance(**changed: float) -> float:
        return float(
            dialyser.blood_water_clearance(**({"water_share": 1.0, "koa": koa, "qb": qb, "qd": qd} | changed)).value
        )

    assert 0 < clearance() < min(qb, qd, koa)
    assert clearance(koa=koa + more) > clearance()
    assert clearance(qb=qb + more) > clearance()
    assert clearance(qd=qd + more) > clearance()


@few
@given(qb=flows, qd=flows)
def test_an_endless_membrane_clears_the_smaller_flow(qb: float, qd: float) -> None:
    if abs(qb - qd) > 5:
        clearance = dialyser.blood_water_clearance(water_share=1.0, koa=1e6, qb=qb, qd=qd).number
        assert clearance == pytest.approx(min(qb, qd), rel=1e-6)


@few
@given(koa=koas, qb=flows)
def test_a_flood_of_dialysate_leaves_the_membrane_alone(koa: float, qb: float) -> None:
    clearance = dialyser.blood_water_clearance(water_share=1.0, koa=koa, qb=qb, qd=1e9).number
    assert clearance == pytest.approx(qb * (1 - np.exp(-koa / qb)), rel=1e-6)


@few
@given(koa=koas, qb=flows, near=between(-1e-6, 1e-6))
def test_equal_flows_are_no_special_case(koa: float, qb: float, near: float) -> None:
    closed = qb * koa / (qb + koa)
    clearance = dialyser.blood_water_clearance(water_share=1.0, koa=koa, qb=qb, qd=qb * (1 + near)).number
    assert clearance == pytest.approx(closed, rel=1e-5)


@few
@given(flow=between(50, 600), length=between(1, 600), parts=st.integers(1, 12))
def test_a_steady_flow_gives_the_same_blood_however_often_it_is_read(flow: float, length: float, parts: int) -> None:
    at = np.linspace(0, length, parts)
    read = fluid.blood_processed_l(flows_ml_min=np.full(parts, flow), minutes_at=at, end_minute=length)
    assert read.number == pytest.approx(flow * length / 1000, rel=1e-9)


@few
@given(number=st.integers(1, 99_999), wrong=st.integers(1, 9))
def test_one_wrong_check_digit_is_always_noticed(number: int, wrong: int) -> None:
    digit = bloods.loinc_check_digit(str(number))
    assert bloods.loinc_is_well_formed(f"{number}-{digit}")
    assert not bloods.loinc_is_well_formed(f"{number}-{(digit + wrong) % 10}")


def test_every_code_of_the_tables_has_the_form_of_one() -> None:
    codes = [unit.loinc for analyte in bloods.ANALYTES.values() for unit in analyte.units.values()]
    codes += [*bloods.BEFORE_AFTER_LOINC.values(), *(code for code, _, _ in bloods.BEDSIDE_CODES.values())]
    assert [code for code in codes if not bloods.loinc_is_well_formed(code)] == []


@few
@given(low=between(0, 300), more=between(0, 100), key=st.sampled_from(sorted(water.LIMITS)))
def test_a_worse_water_result_never_grades_better(low: float, more: float, key: tuple[str, str, str]) -> None:
    edition, fluid_name, quantity = key
    unit = water.LIMITS[key].limit / 100
    grades = water.classify(
        quantity=quantity, fluid=fluid_name, edition=edition, value=[low * unit, (low + more) * unit]
    )
    assert grades.value[1] >= grades.value[0]


@few
@given(height=between(140, 200), weight=between(40, 150), age=between(18, 90))
def test_bodies_that_grow_hold_more_water_and_skin(height: float, weight: float, age: float) -> None:
    sexes = np.array(["male", "female"])
    size = {"height_cm": height, "weight_kg": np.array([[weight], [weight + 1]])}
    litres = body.total_body_water_watson(sex=sexes, age_years=age, **size).value
    assert (litres[1] > litres[0]).all()
    assert (np.diff(body.surface_area_du_bois(**size).value[:, 0]) > 0).all()


@few
@given(events=st.integers(0, 5000), exposure=between(1, 1e6), level=between(0.6, 0.99))
def test_a_rate_lies_within_its_limits_and_more_confidence_widens_them(
    events: int, exposure: float, level: float
) -> None:
    narrow = survival.poisson_rate(events=events, exposure=exposure, confidence=level)
    wide = survival.poisson_rate(events=events, exposure=exposure, confidence=level + 0.005)
    assert wide.low.value <= narrow.low.value <= narrow.rate.value <= narrow.high.value <= wide.high.value
