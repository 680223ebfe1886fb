"""The steady week against the arms of published trials of frequent dialysis.

V 37 L and an in-vivo KoA between 700 and 900 mL/min are plausible for the cohorts, not printed; treatment lengths
and flows are from memory. So the bands are wide: the printed spread, or what the two KoA enclose.
"""

from __future__ import annotations

import numpy as np

from dosing.science.kinetics import PatientParameters, Schedule, weekly_starts, weekly_steady_state

THREE, FIVE, SIX = [0, 2, 4], [0, 1, 2, 4, 5], [0, 1, 2, 3, 4, 5]


def weekly_dose(days, *, at=8, minutes, qb, qd, volume=37.0, koa=(700, 800, 900)):
    """Standard Kt/V and equivalent clearance for each KoA."""
    schedule = Schedule(
        starts=weekly_starts(days=days, at=at),
        hours=minutes / 60,
        koa=np.reshape(koa, (-1, 1)),
        blood_flow=qb,
        dialysate_flow=qd,
    )
    week = weekly_steady_state(
        schedule=schedule, patient=PatientParameters(volume=volume, generation=0.2, fluid_gain=1.44)
    )
    assert week.standard_ktv.known.all()
    return week.standard_ktv.value, week.equivalent_clearance.value


def test_daily_trial_conventional_arm():
    """New Engl J Med 363:2287, 2010: 2.49 +- 0.27 with three a week (213 min, 402 and 710 mL/min)."""
    dose, _ = weekly_dose(THREE, minutes=213, qb=402, qd=710)
    np.testing.assert_allclose(dose, 2.49, atol=0.27 / 2)
    assert dose[0] < 2.49 < dose[-1]


def test_daily_trial_frequent_arm():
    """Same: 3.54 +- 0.56 with 5.2 treatments a week as done (154 min, 396 and 747 mL/min)."""
    five, _ = weekly_dose(FIVE, minutes=154, qb=396, qd=747)
    six, _ = weekly_dose(SIX, minutes=154, qb=396, qd=747)
    done = 0.8 * five + 0.2 * six
    np.testing.assert_allclose(done, 3.54, atol=0.56 / 2)
    assert done[0] < 3.54 < done[-1]


def test_nocturnal_trial_ratio():
    """Kidney Int 80:1080, 2011: 1.82 times the dose of the control arm in 1.74 times the treatments and 2.45
    times the hours (5.06 of 6.1 h, 250 and 300 mL/min, against 2.91 of 4.3 h: from memory)."""
    night, _ = weekly_dose(FIVE, at=22, minutes=60 * 30.8 / 5.06, qb=250, qd=300)
    control, _ = weekly_dose(THREE, minutes=60 * 12.6 / 2.91, qb=350, qd=600)
    np.testing.assert_allclose(night / control, 1.82, rtol=0.05)


def test_design_of_the_daily_trial():
    """Am J Kidney Dis 53:835, 2009: projected medians +52 % standard Kt/V, +34 % G/TAC for six short days."""
    three, three_average = weekly_dose(THREE, minutes=240, qb=300, qd=500, volume=35)
    six, six_average = weekly_dose(SIX, minutes=150, qb=350, qd=500, volume=35)
    np.testing.assert_allclose(six / three, 1.52, rtol=0.05)
    np.testing.assert_allclose(six_average / three_average, 1.34, rtol=0.07)


def test_low_dialysate_volume_at_home():
    """Abstract of 182 home patients on 5-6 short treatments with 23.9 L each: mean standard Kt/V 2.6, most
    2.4-3.0. Five a week lie below, six a week above or at the mean."""
    litres = {"minutes": 165, "qd": 23.9e3 / 165, "qb": 375, "volume": 38.0}
    (five, _), (six, _) = weekly_dose(FIVE, **litres), weekly_dose(SIX, **litres)
    assert np.all(five < 2.6)
    assert np.all(six > 2.6)
    np.testing.assert_allclose(np.concatenate([five, six]), 2.6, atol=0.4)
