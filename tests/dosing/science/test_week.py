"""Whole chains, from two bloods to the dose of a week, against print and against two simulations."""

from __future__ import annotations

import pytest

from dosing.science import adequacy


def week_of(
    *, pre: list[float], post: list[float], hours: float, uf: list[float], gaps: list[float], **rest: float
) -> float:
    """Weekly dose from the mean single-pool dose of the week's treatments."""
    single = adequacy.single_pool_ktv(
        pre=pre, post=post, hours=hours, uf_l=uf, post_weight_kg=rest["weight"], days_since_last=gaps
    )
    assert single.known.all(), single.why
    answer = adequacy.standard_weekly_ktv_with_fluid_and_kidney(
        single_pool=single.value.mean(),
        minutes=60 * hours,
        per_week=rest["per_week"],
        weekly_uf_l=sum(uf) * rest["per_week"] / len(uf),
        volume_l=rest["volume"],
        kidney_clearance_ml_min=rest.get("kidney", 0.0),
    )
    assert answer.number is not None, answer.reason
    return answer.number


@pytest.mark.parametrize(("single", "weekly"), [(1.31, 2.05), (1.52, 2.21)])
def test_printed_pairs_of_single_pool_and_weekly_dose(single: float, weekly: float) -> None:
    """Daugirdas 2008 (PMC2692381, seen); 195 minutes, the length usual in the HEMO study, is an assumption."""
    settled = adequacy.equilibrated_ktv(single_pool=single, minutes=195, method="rate_arterial")
    found = adequacy.standard_weekly_ktv(equilibrated=settled.value, minutes=195, per_week=3)
    assert found.number == pytest.approx(weekly, abs=0.01)


# Pre and post urea (plasma, mg/dL urea nitrogen), UF in L, days from start to start; then the weekly dose that
# the closed form gave in the program that simulated the case, and the dose of the simulation itself.
# 35 L, in-vivo KoA 800 or 1000, a two-pool model solved by DOP853 at 1e-11; case D is one night of 48 hours.
FIRST_SIMULATION = {
    "three by 4 h": (
        [67.244, 55.887, 51.895],
        [19.215, 15.507, 14.516],
        4,
        [4.080, 2.640, 2.640],
        [3, 2, 2],
        {"per_week": 3},
        (2.474, 2.4561),
    ),
    "five by 2.5 h, little dialysate": (
        [61.105, 50.606, 44.424, 58.723, 49.380],
        [29.878, 24.171, 21.385, 28.767, 23.619],
        2.5,
        [2.730, 1.290, 1.290, 2.730, 1.290],
        [2, 1, 1, 2, 1],
        {"per_week": 5},
        (2.744, 2.7115),
    ),
    "six by 2.5 h": (
        [50.070, 40.405, 35.592, 33.618, 32.808, 32.476],
        [19.700, 15.437, 13.740, 13.044, 12.759, 12.642],
        2.5,
        [2.730, 1.290, 1.290, 1.290, 1.290, 1.290],
        [2, 1, 1, 1, 1, 1],
        {"per_week": 6},
        (3.880, 3.8217),
    ),
    "every other night, 8 h": (
        [40.717],
        [8.372],
        8,
        [2.400],
        [2],
        {"per_week": 3.5},
        (3.520, 3.5193),
    ),
    "six nights of 8 h": (
        [37.309, 21.927, 19.342, 18.969, 18.915, 18.908],
        [7.896, 5.534, 5.196, 5.147, 5.140, 5.139],
        8,
        [2.400, 0.960, 0.960, 0.960, 0.960, 0.960],
        [2, 1, 1, 1, 1, 1],
        {"per_week": 6},
        (6.322, 6.3512),
    ),
    "three by 4 h with a kidney of 3 mL/min": (
        [55.848, 46.075, 43.686],
        [14.982, 12.349, 11.792],
        4,
        [2.040, 1.320, 1.320],
        [3, 2, 2],
        {"per_week": 3, "kidney": 3.0},
        (2.983, 2.9523),
    ),
}


@pytest.mark.parametrize("case", FIRST_SIMULATION)
def test_closed_form_agrees_with_the_first_simulation(case: str) -> None:
    pre, post, hours, uf, gaps, rest, (closed, simulated) = FIRST_SIMULATION[case]
    ours = week_of(pre=pre, post=post, hours=hours, uf=uf, gaps=gaps, volume=35, weight=35 / 0.58, **rest)
    assert ours == pytest.approx(closed, abs=0.004)
    # The claim of the 2010 paper, with the error seen over fifteen schedules: -0.5 to +1.5 %.
    assert -0.008 < ours / simulated - 1 < 0.018


# A second model, written independently: 40 L, 70 kg, fluid gain 1 L a day.
SECOND_SIMULATION = {
    "three by 4 h": (
        [75.041, 61.905, 57.466],
        [21.450, 17.449, 16.324],
        4,
        [3, 2, 2],
        [3, 2, 2],
        {"per_week": 3},
        (1.4750, 2.3620, 2.33318),
    ),
    "four by 4 h": (
        [55.201, 35.771, 49.674, 53.973],
        [15.749, 10.504, 14.349, 15.438],
        4,
        [2, 1, 2, 2],
        [2, 1, 2, 2],
        {"per_week": 4},
        (1.4827, 3.1569, 3.10763),
    ),
    "every other night, 8 h": ([44.434], [9.168], 8, [2], [2], {"per_week": 3.5}, (2.0834, 3.4438, 3.40278)),
    "five nights of 7 h": (
        [44.113, 27.829, 24.026, 43.363, 27.664],
        [11.678, 8.203, 7.473, 11.528, 8.172],
        7,
        [2, 1, 1, 2, 1],
        [2, 1, 1, 2, 1],
        {"per_week": 5},
        (1.7295, 4.5900, 4.52710),
    ),
}


@pytest.mark.parametrize("case", SECOND_SIMULATION)
def test_closed_form_agrees_with_the_second_simulation(case: str) -> None:
    pre, post, hours, uf, gaps, rest, (single, closed, simulated) = SECOND_SIMULATION[case]
    doses = adequacy.single_pool_ktv(pre=pre, post=post, hours=hours, uf_l=uf, post_weight_kg=70, days_since_last=gaps)
    assert doses.value.mean() == pytest.approx(single, abs=2e-4)
    ours = week_of(pre=pre, post=post, hours=hours, uf=uf, gaps=gaps, volume=40, weight=70, **rest)
    assert ours == pytest.approx(closed, abs=0.001)
    assert 0 < ours / simulated - 1 < 0.03


def test_the_fixed_generation_factor_under_reads_long_nights() -> None:
    """Six nights of 8 h: the dialyser's own Kt/V is 2.144 in the second simulation."""
    night = {"pre": 20.390, "post": 5.635, "hours": 8, "uf_l": 1, "post_weight_kg": 70}
    by_days = adequacy.single_pool_ktv(**night, days_since_last=1).value
    assert by_days == pytest.approx(2.144, abs=0.12)
    assert adequacy.single_pool_ktv(**night).value < by_days - 0.4
