"""What must hold for any prescription: balance, order, scale, limits; and what happens to bad rows in a batch."""

from __future__ import annotations

import tracemalloc
from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from dosing.science.kinetics import PatientParameters, Schedule, concentration_curve, weekly_starts, weekly_steady_state

QUICK = settings(max_examples=60, deadline=None, derandomize=True)
PATIENTS = st.builds(
    PatientParameters,
    volume=st.floats(28, 70),
    generation=st.floats(0.05, 0.5),
    kidney_clearance=st.floats(0, 8),
    fluid_gain=st.floats(0, 1.5),
    exchange=st.floats(0.008, 0.03),
    extracellular_share=st.floats(0.25, 0.45),
)
DAYS = st.lists(st.integers(0, 6), min_size=2, max_size=6, unique=True).filter(lambda d: widest(d) <= 3)
CLEARANCES, LENGTHS = st.floats(100, 320), st.floats(2, 9)


def widest(days):
    """Days between two treatments at most; four dry days would be beyond the model's range of fluid."""
    ordered = sorted(days)
    return max(np.diff(ordered, append=ordered[0] + 7))


def prescribed(days, hours, clearance, at=8.0):
    return Schedule(starts=weekly_starts(days=days, at=at), hours=hours, clearance=clearance)


def answered(schedule, patient):
    """A made-up week that is drained faster than the model reaches is refused, and is no case of these rules."""
    week = weekly_steady_state(schedule=schedule, patient=patient)
    assume(not any(reason.code == "drained_too_fast" for reason in week.standard_ktv.unknown_rows()))
    assert week.standard_ktv.known.all(), week.standard_ktv.unknown_rows()
    return week


@QUICK
@given(PATIENTS, DAYS, LENGTHS, CLEARANCES)
def test_what_is_made_is_removed(patient, days, hours, clearance):
    """Integrals of the blood against generation: no urea is lost or found."""
    week = answered(prescribed(days, hours, clearance), patient)
    assert abs(week.balance_error.number) < 1e-9


@QUICK
@given(st.lists(st.tuples(PATIENTS, DAYS, LENGTHS, CLEARANCES), min_size=2, max_size=5))
def test_a_row_of_a_batch_answers_as_it_does_alone(rows):
    """Every field of the answer, rows of different numbers of treatments, a row that has no answer among them."""
    one_sick = (replace(rows[0][0], volume=-1.0), *rows[0][1:])
    rows = [*rows, one_sick]
    places = max(len(days) for _, days, _, _ in rows)
    starts = np.full((len(rows), places), np.nan)
    for index, (_, days, _, _) in enumerate(rows):
        starts[index, : len(days)] = weekly_starts(days=days, at=8.0)
    column = {
        field.name: np.array([getattr(row[0], field.name) for row in rows]) for field in fields(PatientParameters)
    }
    together = weekly_steady_state(
        schedule=Schedule(
            starts=starts,
            hours=np.array([[hours] for _, _, hours, _ in rows]),
            clearance=np.array([[clearance] for _, _, _, clearance in rows]),
        ),
        patient=PatientParameters(**column),
    )
    for index, (patient, days, hours, clearance) in enumerate(rows):
        alone = weekly_steady_state(schedule=prescribed(days, hours, clearance), patient=patient)
        for field in fields(alone):
            one, many = getattr(alone, field.name), getattr(together, field.name)
            of_row = many.value[index][: len(days)] if one.value.ndim else many.value[index]
            np.testing.assert_allclose(of_row, one.value, rtol=1e-12, atol=1e-15, err_msg=field.name)
            assert np.array_equal(np.isnan(of_row), np.isnan(one.value))


@QUICK
@given(PATIENTS, DAYS, st.floats(2, 8), CLEARANCES, st.floats(0.05, 1))
def test_longer_faster_and_more_often_never_lower_the_dose(patient, days, hours, clearance, more):
    base = answered(prescribed(days, hours, clearance), patient)
    longer = answered(prescribed(days, hours + more, clearance), patient)
    faster = answered(prescribed(days, hours, clearance * (1 + more / 4)), patient)
    for week in (longer, faster):
        assert week.standard_ktv.number > base.standard_ktv.number
        assert week.equivalent_clearance.number > base.equivalent_clearance.number
    free = sorted(set(range(7)) - set(days))
    oftener = answered(prescribed([*days, free[len(free) // 2]], hours, clearance), patient)
    assert oftener.standard_ktv.number > base.standard_ktv.number
    assert oftener.equivalent_clearance.number > base.equivalent_clearance.number


@QUICK
@given(PATIENTS, DAYS, LENGTHS, CLEARANCES)
def test_orders_that_always_hold(patient, days, hours, clearance):
    """Blood falls in treatment and rebounds after it; the peaks lie above the average; the kidney adds."""
    schedule = prescribed(days, hours, clearance)
    week = answered(schedule, patient)
    assert np.all(week.post_water.value < week.equilibrated_water.value)
    assert np.all(week.equilibrated_water.value < week.pre_water.value)
    assert week.time_average_water.number < week.mean_pre_water.number
    kidney = answered(schedule, replace(patient, kidney_clearance=patient.kidney_clearance + 1))
    assert kidney.standard_ktv.number > week.standard_ktv.number


@QUICK
@given(PATIENTS, DAYS, LENGTHS, CLEARANCES, st.floats(0.1, 10), st.floats(0.7, 1.6))
def test_scales(patient, days, hours, clearance, made, size):
    """Concentrations go with generation; a patient and prescription of another size has the same dose."""
    base = answered(prescribed(days, hours, clearance), patient)
    other = answered(prescribed(days, hours, clearance), replace(patient, generation=made * patient.generation))
    np.testing.assert_allclose(other.pre_water.value, made * base.pre_water.value, rtol=1e-12)
    assert other.standard_ktv.number == pytest.approx(base.standard_ktv.number, rel=1e-12)
    larger = replace(
        patient,
        volume=size * patient.volume,
        kidney_clearance=size * patient.kidney_clearance,
        fluid_gain=size * patient.fluid_gain,
    )
    scaled = answered(prescribed(days, hours, size * clearance), larger)
    assert scaled.standard_ktv.number == pytest.approx(base.standard_ktv.number, rel=1e-10)
    np.testing.assert_allclose(size * scaled.pre_water.value, base.pre_water.value, rtol=1e-10)


@QUICK
@given(PATIENTS, DAYS, CLEARANCES, st.integers(0, 200), st.randoms(use_true_random=False))
def test_neither_order_nor_beginning_of_the_week_matters(patient, days, clearance, shift, random):
    """Treatments of unequal length in another order of entry, the week begun at another hour, or run twice."""
    hours = np.array([2 + 0.5 * day for day in days])
    base = answered(prescribed(days, hours, clearance), patient)
    order = list(range(len(days)))
    random.shuffle(order)
    starts = weekly_starts(days=days, at=8)
    moved = Schedule(starts=(starts + shift)[order], hours=hours[order], clearance=clearance)
    np.testing.assert_allclose(answered(moved, patient).pre_water.value, base.pre_water.value[order], rtol=1e-10)
    twice = Schedule(
        starts=np.concatenate([starts, starts + 168]),
        hours=np.tile(hours, 2),
        cycle_days=14,
        clearance=clearance,
    )
    double = answered(twice, patient)
    np.testing.assert_allclose(double.pre_water.value, np.tile(base.pre_water.value, 2), rtol=1e-10)
    assert double.standard_ktv.number == pytest.approx(base.standard_ktv.number, rel=1e-10)


@QUICK
@given(PATIENTS, DAYS, LENGTHS, st.lists(st.floats(-300, 600), min_size=1, max_size=6))
def test_the_curve_repeats_and_stays_between_its_ends(patient, days, hours, times):
    schedule = prescribed(days, hours, 200)
    week = answered(schedule, patient)
    curve = concentration_curve(schedule=schedule, patient=patient, hours=times)
    later = concentration_curve(schedule=schedule, patient=patient, hours=np.add(times, 168))
    np.testing.assert_allclose(curve.plasma.value, later.plasma.value, rtol=1e-9)
    assert np.all(curve.extracellular_water.value >= week.post_water.value.min() * (1 - 1e-9))
    assert np.all(curve.extracellular_water.value <= week.pre_water.value.max() * (1 + 1e-9))


def test_given_ultrafiltration_is_what_the_gain_would_be():
    schedule = prescribed([0, 2, 4], 4, 230)
    patient = PatientParameters(volume=35, generation=0.19, fluid_gain=1.44)
    week = weekly_steady_state(schedule=schedule, patient=patient)
    told = replace(schedule, ultrafiltration=week.ultrafiltration.value)
    again = weekly_steady_state(schedule=told, patient=replace(patient, fluid_gain=0))
    np.testing.assert_allclose(again.pre_water.value, week.pre_water.value, rtol=1e-13)


def test_shapes_broadcast_and_each_row_is_as_if_alone():
    """Two patients x four patterns of 2 to 7 treatments in one array, against one at a time."""
    patterns = np.full((4, 7), np.nan)
    for row, days in enumerate(([0, 3], [0, 2, 4], [0, 1, 2, 4, 5], range(7))):
        patterns[row, : len(days)] = weekly_starts(days=list(days), at=9)
    volumes = np.array([[30.0], [45.0]])
    schedule = Schedule(starts=patterns, hours=3.0, koa=900, blood_flow=350, dialysate_flow=500)
    both = weekly_steady_state(
        schedule=schedule, patient=PatientParameters(volume=volumes, generation=0.2, fluid_gain=1)
    )
    assert both.standard_ktv.value.shape == (2, 4)
    assert both.pre_water.value.shape == (2, 4, 7)
    for i, j in np.ndindex(2, 4):
        single = replace(schedule, starts=patterns[j][~np.isnan(patterns[j])])
        alone = weekly_steady_state(
            schedule=single, patient=PatientParameters(volume=volumes[i, 0], generation=0.2, fluid_gain=1)
        )
        assert both.standard_ktv.value[i, j] == pytest.approx(alone.standard_ktv.number, rel=1e-13)
        count = alone.pre_water.value.size
        np.testing.assert_allclose(both.pre_water.value[i, j, :count], alone.pre_water.value, rtol=1e-13)
        assert not both.pre_water.known[i, j, count:].any()


@pytest.mark.parametrize(
    ("patient", "schedule", "reason"),
    [
        ({"volume": 0}, {}, "urea volume is outside 8 to 120 L"),
        ({"volume": np.nan}, {}, "urea volume is not given"),
        ({"generation": -0.1}, {}, "urea generation is not above zero"),
        ({"generation": np.inf}, {}, "urea generation is not a finite number"),
        ({"kidney_clearance": 300}, {}, "kidney clearance is outside 0 to 30 mL/min"),
        ({"exchange": 0}, {}, "exchange between the pools is outside 0.004 to 1e+06 1/min"),
        ({"extracellular_share": 1}, {}, "extracellular share is outside 0.2 to 0.5"),
        ({"fluid_gain": 9}, {}, "ultrafiltration per minute is above 0.1 of clearance and exchange"),
        ({"fluid_gain": 3.5}, {}, "fluid between treatments is above 0.25 of the volume"),
        ({}, {"starts": [np.nan]}, "the schedule holds no treatment"),
        ({}, {"starts": [8, 10]}, "treatments overlap, or leave no time between them"),
        ({}, {"starts": [8, 8 + 168]}, "treatments overlap, or leave no time between them"),
        ({}, {"hours": 0}, "length of a treatment is outside 0.5 to 24 h"),
        ({}, {"hours": np.nan}, "length of a treatment is not given"),
        ({}, {"cycle_days": 0}, "cycle is outside 1 to 28 days"),
        ({}, {"clearance": 4000}, "clearance is outside 0 to 1000 mL/min"),
        ({}, {"clearance": None}, "no clearance is given and koa is not given"),
        (
            {},
            {"clearance": None, "koa": 800, "blood_flow": 300, "dialysate_flow": 0},
            "no clearance is given and dialysate flow is not above zero",
        ),
        ({}, {"ultrafiltration": -1}, "ultrafiltration is below zero"),
        ({}, {"hours": 24, "clearance": 900}, "a treatment clears over 7 urea volumes"),
    ],
)
def test_what_is_out_of_range_says_so_and_leaves_the_rest_alone(patient, schedule, reason):
    """In one batch with a sound row, which keeps its answer to the last digit."""
    sound = {"volume": 35, "generation": 0.19, "fluid_gain": 1, "kidney_clearance": 1}
    usual = {"starts": [8, 56, 104], "hours": 4, "clearance": 230}
    odd = PatientParameters(**(sound | patient)), Schedule(**(usual | schedule))
    week = weekly_steady_state(schedule=odd[1], patient=odd[0])
    assert str(week.standard_ktv.reason) == reason
    assert np.isnan(week.pre_water.value).all()
    assert np.all(week.pre_water.why == week.standard_ktv.reason)
    if not schedule:
        pair = PatientParameters(
            **{name: [value, patient.get(name, value)] for name, value in (sound | SHARES).items()}
        )
        mixed = weekly_steady_state(schedule=odd[1], patient=pair)
        alone = weekly_steady_state(schedule=odd[1], patient=PatientParameters(**sound))
        assert [each and str(each) for each in mixed.standard_ktv.why] == [None, reason]
        assert mixed.standard_ktv.value[0] == alone.standard_ktv.number


SHARES = {"exchange": 0.016, "extracellular_share": 1 / 3}


def test_a_large_batch_with_bad_rows_names_them_and_stays_small():
    """100,000 patients, one in a hundred impossible: 99 % answered. Beyond its answers it holds under 60 MiB."""
    rng, count = np.random.default_rng(2), 100_000
    patient = PatientParameters(
        volume=rng.uniform(25, 60, count), generation=np.full(count, 0.2), fluid_gain=rng.uniform(0, 1.5, count)
    )
    patient.volume[::100] = np.resize([-1.0, np.nan, 1e9, 0.0], 1000)
    tracemalloc.start()
    week = weekly_steady_state(schedule=prescribed([0, 2, 4], 4, 230), patient=patient)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    bad = np.zeros(count, dtype=bool)
    bad[::100] = True
    np.testing.assert_array_equal(week.standard_ktv.known, ~bad)
    assert sum(rows.size for rows in week.standard_ktv.unknown_rows().values()) == 1000
    answers = sum(getattr(week, name).value.nbytes + getattr(week, name).why.nbytes for name in week.__slots__)
    assert peak < 2.2 * answers + 60 * 2**20


def test_an_empty_batch_is_an_empty_answer():
    week = weekly_steady_state(
        schedule=prescribed([0, 2, 4], 4, 230), patient=PatientParameters(volume=np.empty(0), generation=0.2)
    )
    assert week.standard_ktv.value.shape == (0,)
    assert week.pre_water.value.shape == (0, 3)
