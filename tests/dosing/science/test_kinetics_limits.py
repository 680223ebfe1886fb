"""The urea model where a closed form or a general-purpose solver gives the answer independently."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.linalg import expm

from dosing.science.adequacy import standard_weekly_ktv
from dosing.science.kinetics import PatientParameters, Schedule, weekly_starts, weekly_steady_state
from dosing.science.pools import Phases, exposure, passage, transition

ONE_POOL = 1e6
"""Kc/V [1/min] at which the pools differ by 1e-8."""


@pytest.mark.parametrize(("per_week", "minutes", "ktv"), [(7, 150, 0.6), (3.5, 480, 1.9), (3, 240, 1.2), (2, 300, 2.2)])
def test_one_pool_without_fluid_is_the_fixed_volume_equation(per_week, minutes, ktv):
    """Leypoldt, Jaber and Zimmerman, Semin Dial 17:142, 2004: exact for one pool, fixed volume, even spacing."""
    schedule = Schedule(starts=[1], hours=minutes / 60, cycle_days=7 / per_week, clearance=ktv * 35_000 / minutes)
    week = weekly_steady_state(
        schedule=schedule, patient=PatientParameters(volume=35, generation=0.19, exchange=ONE_POOL)
    )
    closed = standard_weekly_ktv(equilibrated=ktv, minutes=minutes, per_week=per_week)
    assert week.standard_ktv.number == pytest.approx(closed.number, rel=1e-7)


@pytest.mark.parametrize(("kidney", "litres_a_day"), [(0, 1.44), (3, 0.72), (5, 2.5)])
def test_one_pool_with_fluid_is_the_power_law(kidney, litres_a_day):
    """One pool, volume linear in time: C = G/(K+s) + (C0 - G/(K+s)) (V/V0)^(-(K+s)/s) [Sargent and Gotch's
    variable-volume equation], its weekly fixed point by repetition."""
    schedule = Schedule(starts=weekly_starts(days=[0, 2, 4], at=8), hours=4, clearance=230)
    patient = PatientParameters(
        volume=35, generation=0.19, kidney_clearance=kidney, fluid_gain=litres_a_day, exchange=ONE_POOL
    )
    week = weekly_steady_state(schedule=schedule, patient=patient)
    urea, before = 0.0, []
    for _ in range(60):
        before = []
        for off in np.array([68, 44, 44]) * 60:
            gained = litres_a_day / 1440 * off
            for minutes, volume, swing, clearance in (
                (off, 35, gained, kidney),
                (240, 35 + gained, -gained, kidney + 230),
            ):
                slope = swing / minutes
                loss = clearance / 1000 + slope
                level = 0.19 / loss
                if minutes == 240:
                    before.append(urea)
                urea = level + (urea - level) * (1 + swing / volume) ** (-loss / slope)
    np.testing.assert_allclose(week.pre_water.value, before, rtol=1e-6)


def test_without_fluid_and_kidney_it_is_a_matrix_exponential():
    """Fixed volumes: scipy.linalg.expm of the augmented system over each phase."""
    schedule = Schedule(starts=[8, 56, 104], hours=4, clearance=230)
    week = weekly_steady_state(schedule=schedule, patient=PatientParameters(volume=35, generation=0.19))
    outer, inner, exchange = 35 / 3, 70 / 3, 0.56

    def phase(minutes, clearance):
        rates = [
            [-(clearance + exchange) / outer, exchange / outer, 0.19 / outer],
            [exchange / inner, -exchange / inner, 0],
            [0, 0, 0],
        ]
        return expm(np.array(rates) * minutes)

    on, short, long = phase(240, 0.23), phase(44 * 60, 0), phase(68 * 60, 0)
    whole = on @ short @ on @ short @ on @ long
    state = np.append(np.linalg.solve(np.eye(2) - whole[:2, :2], whole[:2, 2]), 1)
    before = [(long @ state)[0], (short @ on @ long @ state)[0], (short @ on @ short @ on @ long @ state)[0]]
    np.testing.assert_allclose(week.pre_water.value, before, rtol=1e-11)


def test_kidney_alone_is_generation_over_clearance():
    """No dialysis, no fluid: C = G/Kru everywhere, standard Kt/V = Kru 10080/V."""
    schedule = Schedule(starts=[8, 56, 104], hours=4, clearance=0)
    patient = PatientParameters(volume=35, generation=0.19, kidney_clearance=8)
    week = weekly_steady_state(schedule=schedule, patient=patient)
    np.testing.assert_allclose(week.pre_water.value, 0.19 / 0.008, rtol=1e-12)
    assert week.equivalent_clearance.number == pytest.approx(8, rel=1e-12)
    assert week.standard_ktv.number == pytest.approx(8 * 10.08 / 35, rel=1e-12)
    assert week.kidney_share.number == pytest.approx(1, rel=1e-12)


def test_an_endless_dialyser_clears_the_smaller_flow():
    """Michaels for KoA without bound: K0 = min(blood water, dialysate), plus the ultrafiltration term."""
    schedule = Schedule(starts=[8], hours=4, cycle_days=2, koa=1e9, blood_flow=300, dialysate_flow=[[200], [900]])
    patient = PatientParameters(volume=35, generation=0.19, fluid_gain=1.44)
    week = weekly_steady_state(schedule=schedule, patient=patient)
    drained = 44 * 60 / 240
    expected = np.array([200, 258]) * (1 - drained / 258) + drained
    np.testing.assert_allclose(week.clearance.value[:, 0], expected, rtol=1e-6)


@pytest.mark.parametrize("kidney", [0.0, 1e-12, 1e-6, 1e-3])
@pytest.mark.parametrize("fluid", [0.0, 1e-9, 1e-4])
def test_nothing_breaks_where_the_rates_vanish(kidney, fluid):
    """Near-zero kidney clearance and fluid gain join the zero ones smoothly, bloods and integrals alike."""
    schedule = Schedule(starts=[8, 56, 104], hours=4, clearance=230)
    still = PatientParameters(volume=35, generation=0.19)
    exact = weekly_steady_state(schedule=schedule, patient=still)
    near = weekly_steady_state(schedule=schedule, patient=replace(still, kidney_clearance=kidney, fluid_gain=fluid))
    np.testing.assert_allclose(near.pre_water.value, exact.pre_water.value, rtol=1e-4 * (kidney + fluid) * 1e3 + 1e-12)
    assert abs(near.balance_error.number) < 1e-12


def corners(count, seed):
    """Phases spread over the ranges in which the model answers: draining, filling, and the hardest corners."""
    rng = np.random.default_rng(seed)
    volume = rng.uniform(10, 100, count)
    share = rng.uniform(0.2, 0.5, count)
    exchange = volume * np.exp(rng.uniform(np.log(0.004), np.log(0.08), count))
    draining = rng.random(count) < 0.7
    minutes = np.where(draining, rng.uniform(30, 900, count), rng.uniform(300, 5000, count))
    clearance = np.where(draining, np.minimum(rng.uniform(0.05, 0.9, count), 7 * volume / minutes), 0.0)
    kidney = rng.uniform(0, 0.02, count) * (rng.random(count) < 0.6)
    swing = rng.uniform(0, 0.25, count) * volume
    swing = np.where(draining, np.minimum(swing, 0.1 * (clearance + exchange) * minutes), swing)
    return Phases(
        minutes=minutes,
        volume=volume * share + np.where(draining, swing, 0),
        slope=np.where(draining, -swing, swing) / minutes,
        clearance=clearance + kidney,
        exchange=exchange,
        turnover=exchange / (volume * (1 - share)),
    )


def test_one_phase_against_a_general_solver_over_the_whole_range():
    """scipy.integrate.solve_ivp (DOP853, rtol 1e-13) from random states: bloods and the integral of the blood."""
    phases, count = corners(120, 11), 120
    start = np.random.default_rng(12).uniform(20, 200, (2, count))
    maps = transition(passage(phases))
    ours = maps[:2, 0] * start[0] + maps[:2, 1] * start[1] + maps[:2, 2]
    ours = np.stack([*ours, exposure(phases, passage(phases), start[0], start[1])])
    fields = (phases.minutes, phases.volume, phases.slope, phases.clearance, phases.exchange, phases.turnover)
    theirs = np.empty((3, count))
    for i, (minutes, volume, slope, clearance, exchange, turnover) in enumerate(zip(*fields, strict=True)):

        def rates(t, c, w=volume, s=slope, K=clearance, X=exchange, k=turnover):
            return [(1 - (K + s) * c[0] + X * (c[1] - c[0])) / (w + s * t), k * (c[0] - c[1]), c[0]]

        done = solve_ivp(rates, (0, minutes), [*start[:, i], 0], method="DOP853", rtol=1e-13, atol=1e-12)
        theirs[:, i] = done.y[:, -1]
    error = np.abs(ours / theirs - 1)
    assert error.max() < 1e-9
    assert np.median(error) < 1e-13


def test_a_phase_without_length_changes_nothing():
    phases = replace(corners(5, 3), minutes=np.zeros(5))
    np.testing.assert_allclose(transition(passage(phases)), np.eye(3)[..., None] + np.zeros(5), atol=1e-15)


def test_two_halves_make_the_whole():
    """The map of a phase is that of its halves, one after the other: to rounding for usual treatments."""
    whole = Phases(*(np.array([x]) for x in (240.0, 14.2, -0.011, 0.23, 0.56, 0.024)))
    half = replace(whole, minutes=whole.minutes / 2)
    later = replace(half, volume=whole.volume + whole.slope * half.minutes)
    first, second = transition(passage(half))[..., 0], transition(passage(later))[..., 0]
    np.testing.assert_allclose(second @ first, transition(passage(whole))[..., 0], rtol=1e-12)
