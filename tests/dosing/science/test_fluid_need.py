"""Fluid as a distribution: by mass balance where it can be counted by hand, else against simulated patients."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest

from dosing.science import sources as k
from dosing.science.fluid_need import FluidNights, fluid_nights, fluid_to_take_off

NOBODY = fluid_nights(gap_days=[], gained_l=[], given_l=[], weight_kg=70)


def patient(
    rng: np.random.Generator, *, nights: int, gap: float = 2.0, rate: float = 1.0, scatter: float = 0.2
) -> FluidNights:
    """Gains that scatter about a rate [L/day], 0.5 L given."""
    gained = gap * rate * rng.lognormal(0, scatter, nights)
    return fluid_nights(gap_days=np.full(nights, gap), gained_l=gained, given_l=np.full(nights, 0.5), weight_kg=70)


def test_many_equal_nights_are_gain_over_the_gap_and_what_was_given() -> None:
    """By hand: 1.2 L a day over 1.5 days and 0.6 L given are 2.4 L; a thousand nights drown the prior."""
    many = fluid_nights(gap_days=[2.0] * 1000, gained_l=[2.4] * 1000, given_l=[0.6] * 1000, weight_kg=70)
    spread = fluid_to_take_off(nights=many, gap_days=1.5)
    assert float(spread.mean) == pytest.approx(2.4, rel=0.01)
    assert float(spread.stays_under(0.9)) == pytest.approx(2.4)
    assert spread.share_over([2.39, 2.41]) == pytest.approx([0.995, 0.005], abs=0.005)


def test_without_any_night_it_is_the_published_gain_of_everybody() -> None:
    """Lopez-Gomez 2005: 3.5 % of 70 kg over the 52 hours between three treatments a week are 2.45 L."""
    spread = fluid_to_take_off(nights=NOBODY, gap_days=52 / 24)
    middle = float(spread.stays_under(0.5)) - float(k.GIVEN_USUAL)
    assert middle == pytest.approx(2.45, rel=0.01)
    wide = math.hypot(float(k.GAIN_SCATTER), 1.1 / 3.5)
    upper = float(spread.stays_under(0.94)) - float(k.GIVEN_USUAL)
    assert math.log(upper / middle) == pytest.approx(wide * NormalDist().inv_cdf(8.5 / 9), rel=0.01)


def test_few_nights_say_less_than_many_and_a_gap_never_tried_less_than_a_usual_one() -> None:
    rng = np.random.default_rng(3)
    widths = []
    for nights in (0, 3, 30):
        spread = fluid_to_take_off(nights=patient(rng, nights=nights), gap_days=2.0)
        widths.append(float(spread.stays_under(0.95) - spread.stays_under(0.05)))
    assert widths[0] > widths[1] > widths[2]
    known = patient(rng, nights=30)
    usual, untried = (fluid_to_take_off(nights=known, gap_days=gap) for gap in (2.0, 6.0))
    relative = [float((s.stays_under(0.95) - s.stays_under(0.05)) / s.mean) for s in (usual, untried)]
    assert relative[1] > relative[0]


def test_nights_after_a_gap_of_like_length_count_most() -> None:
    """Half as much a day over the long gap: each gap has its own."""
    gaps, gained = [1.0] * 20 + [3.0] * 20, [1.2] * 20 + [1.8] * 20
    both = fluid_nights(gap_days=gaps, gained_l=gained, given_l=[0.0] * 40, weight_kg=70)
    short, long = fluid_to_take_off(nights=both, gap_days=[1.0, 3.0]).stays_under(0.5)
    assert (short, long) == (pytest.approx(1.2, abs=0.1), pytest.approx(1.8, abs=0.2))


@pytest.mark.parametrize(("gap", "most"), [(2.0, 2.6), (2.0, 3.0), (1.0, 1.7), (2.5, 3.4)])
def test_the_share_over_a_limit_is_true_of_simulated_patients(gap: float, most: float) -> None:
    """Foretold from 24 nights after gaps of one, two and three days, held against the law that drew them."""
    rng = np.random.default_rng(11)
    foretold, true = [], []
    for _ in range(200):
        rate, gaps = rng.lognormal(0, 0.3), rng.choice([1.0, 2.0, 3.0], 24)
        gained = gaps * rate * rng.lognormal(0, 0.2, 24)
        own = fluid_nights(gap_days=gaps, gained_l=gained, given_l=np.full(24, 0.5), weight_kg=70)
        foretold.append(float(fluid_to_take_off(nights=own, gap_days=gap).share_over(most)))
        true.append(1 - NormalDist(math.log(rate * gap), 0.2).cdf(math.log(most - 0.5)))
    assert np.mean(foretold) == pytest.approx(np.mean(true), abs=0.02)
    assert np.mean(np.abs(np.subtract(foretold, true))) < 0.07


def test_what_stays_under_agrees_with_the_share_over() -> None:
    spread = fluid_to_take_off(nights=patient(np.random.default_rng(5), nights=17), gap_days=np.linspace(0.5, 4, 50))
    nine_in_ten = spread.stays_under(0.9)
    assert (spread.share_over(nine_in_ten) <= 0.1 + 1e-12).all()
    assert (spread.share_over(nine_in_ten - 1e-6) > 0.1 - 1e-12).all()


@pytest.mark.parametrize(
    ("gaps", "gained", "given", "left"),
    [
        ([2, 2, 2], [2.0, math.nan, 2.2], [0.5] * 3, [2.0, 2.2]),
        ([2, 0.1, 6, 0.2, 5], [2.0, 1.0, 6.0, 0.2, 5.0], [0.5] * 5, [2.0, 0.2, 5.0]),
        ([2] * 5, [2.0, 2.1, 1.9, 2.0, 12.0], [0.5] * 5, [2.0, 2.1, 1.9, 2.0]),
        ([2] * 4, [-0.1, 0.1, 0.0, 0.2], [0.5] * 4, [-0.1, 0.1, 0.0, 0.2]),
    ],
)
def test_what_tells_nothing_of_the_usual_gain_is_left_out(
    gaps: list[float], gained: list[float], given: list[float], left: list[float]
) -> None:
    assert fluid_nights(gap_days=gaps, gained_l=gained, given_l=given, weight_kg=70).gained_l.tolist() == left


def test_an_impossible_amount_given_is_not_known_and_the_middle_of_the_others_stands_for_it() -> None:
    told = fluid_nights(gap_days=[2] * 3, gained_l=[2.0] * 3, given_l=[0.5, -9.6, 0.7], weight_kg=70)
    assert told.usual_given == pytest.approx(0.6)
    assert np.isnan(told.given_l).tolist() == [False, True, False]


def test_who_gains_nothing_has_nothing_to_take_off_but_what_is_given() -> None:
    """Residual urine: weights fall between treatments now and then, and no volume is below nought."""
    none = fluid_nights(gap_days=[2.0] * 20, gained_l=np.linspace(-0.6, 0.2, 20), given_l=[0.3] * 20, weight_kg=70)
    spread = fluid_to_take_off(nights=none, gap_days=2.0)
    assert (spread.litres >= 0).all()
    assert float(spread.stays_under(0.9)) <= 0.6
