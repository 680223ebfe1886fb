"""What must hold for the charts of a patient's nights, whatever the nights; and what made-up patients show."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from dosing.science.drift import DESIGN, EVIDENCE_LIMITS, SPEAKING, evidence_limit, follow, segments
from dosing.science.sequential import cusum_limit, ewma_spread, ewma_width
from dosing.science.usual import Design, Usual
from tests.dosing.science.plain_charts import ewma_path

few = settings(max_examples=12, deadline=None, database=None)
seeds = st.integers(0, 2**20)
SCATTER = 10.0
KNOWN = Design(correlation=0, correlation_nights=1e9, scatter_nights=1e9)
LINES = ("level", "factor", "scatter", "correlation", "evidence", "cusum", "average", "told")


def nights_of(seed: int, count: int = 60) -> dict[str, Any]:
    """A patient with everything in it: flow steps, a change, missed nights, a wild night and some drift."""
    rng = np.random.default_rng(seed)
    values = rng.normal(120, 9, count) + rng.choice([0, 1.2, -1.2]) * np.maximum(0, np.arange(count) - 40)
    expected = np.where(np.arange(count) > rng.integers(5, count), 22.0, 0.0) + rng.normal(0, 3, count)
    values += expected + np.where(np.arange(count) == rng.integers(count), 45, 0)
    values[rng.random(count) < 0.08] = np.nan
    return {
        "values": values,
        "expected": expected,
        "segment": (np.arange(count) >= rng.integers(1, 2 * count)).astype(int),
        "usual_scatter": SCATTER,
    }


@few
@given(seed=seeds, upto=st.integers(10, 59))
def test_a_night_is_judged_by_what_was_known_on_it(seed: int, upto: int) -> None:
    whole = nights_of(seed)
    early: dict[str, Any] = {
        key: value[:upto] if isinstance(value, np.ndarray) else value for key, value in whole.items()
    }
    found, first = follow(**whole), follow(**early)
    for name in LINES:
        np.testing.assert_allclose(getattr(found, name)[:, :upto], getattr(first, name), atol=1e-9, err_msg=name)


@few
@given(seed=seeds)
def test_the_last_night_alone_is_judged_the_same(seed: int) -> None:
    nights = nights_of(seed)
    whole, last = follow(**nights), follow(**nights, only_last=True)
    for name in LINES:
        np.testing.assert_array_equal(getattr(whole, name)[:, -1:], getattr(last, name), err_msg=name)


@few
@given(seed=seeds)
def test_patients_do_not_touch_each_other(seed: int) -> None:
    many = [nights_of(seed + row) for row in range(4)]
    stacked: dict[str, Any] = {key: np.stack([one[key] for one in many]) for key in ("values", "expected", "segment")}
    batch = follow(**stacked, usual_scatter=[SCATTER, SCATTER, SCATTER, SCATTER])
    for row, one in enumerate(many):
        alone = follow(**one)
        for name in LINES:
            ours, theirs = getattr(batch, name)[row], getattr(alone, name)[0]
            np.testing.assert_allclose(ours, theirs, atol=1e-9, rtol=1e-9, err_msg=name)


@few
@given(seed=seeds, shift=st.integers(-300, 300), scale=st.sampled_from([0.25, 2.0, 16.0]))
def test_zero_and_unit_do_not_matter(seed: int, shift: int, scale: float) -> None:
    nights = nights_of(seed)
    changed: dict[str, Any] = nights | {
        "values": scale * (nights["values"] + shift),
        "expected": scale * nights["expected"],
        "usual_scatter": scale * SCATTER,
    }
    plain, other = follow(**nights), follow(**changed)
    np.testing.assert_allclose(other.level, scale * (plain.level + shift), atol=1e-6)
    np.testing.assert_allclose(other.scatter, scale * plain.scatter, atol=1e-6)
    for name in ("cusum", "average", "evidence", "correlation", "factor"):
        np.testing.assert_allclose(getattr(other, name), getattr(plain, name), atol=1e-6, err_msg=name)


@few
@given(seed=seeds, at=st.integers(0, 59))
def test_a_night_missed_changes_no_other_night(seed: int, at: int) -> None:
    nights = nights_of(seed)
    missed: dict[str, Any] = {
        "values": np.insert(nights["values"], at, np.nan),
        "expected": np.insert(nights["expected"], at, 0.0),
        "segment": np.insert(nights["segment"], at, nights["segment"][at]),
        "usual_scatter": SCATTER,
    }
    plain, other = follow(**nights), follow(**missed)
    for name in LINES:
        shortened = np.delete(getattr(other, name), at, axis=1)
        np.testing.assert_allclose(shortened, getattr(plain, name), atol=1e-9, err_msg=name)


@few
@given(seed=seeds, at=st.integers(0, 59), size=st.floats(45, 1e6), sign=st.sampled_from([-1, 1]))
def test_one_wild_night_never_signals(seed: int, at: int, size: float, sign: int) -> None:
    """On quiet nights, which no chart brings within reach of its limit, whichever night goes wild."""
    rng = np.random.default_rng(seed)
    # Pairs that go up and down by the same: no run of nights leans to one side by chance.
    half = rng.uniform(1, 8, 30)
    values = 120 + np.stack([half, -half], 1).ravel()
    values[at] += sign * size
    for way in (1, -1):
        course = follow(values=way * values, usual_scatter=SCATTER)
        assert not course.told.any()


@pytest.mark.parametrize("size", [45.0, 200.0, 1e6])
def test_tonight_alone_never_turns_quiet_into_a_signal(size: float) -> None:
    """Whatever the nights were: a wild night counts only where the night before went the same way, far enough."""
    many = [nights_of(seed) for seed in range(150)]
    stacked: dict[str, Any] = {key: np.stack([one[key] for one in many]) for key in ("values", "expected", "segment")}
    before = follow(**stacked, usual_scatter=SCATTER)
    last, usual = stacked["values"][:, -2], before.level[:, -2] + before.factor[:, -2] * stacked["expected"][:, -2]
    quiet = np.isfinite(last) & ~before.told[:, -2] & (last < usual + before.scatter[:, -2])
    assert quiet.sum() > 60
    stacked["values"][:, -1] = before.level[:, -2] + before.factor[:, -2] * stacked["expected"][:, -1] + size
    assert not follow(**stacked, usual_scatter=SCATTER).told[quiet, -1].any()


def test_scores_are_those_of_least_squares() -> None:
    """Independent nights, nothing tamed: each score is the recursive residual of NumPy's least squares.

    The prior on the answer to flow is one more observation of it (Brown, Durbin and Evans 1975).
    """
    design = Design(
        correlation=0, correlation_nights=1e12, scatter_nights=1e12, clip=1e6, wild=1e7, memory=1e9, first=2, lag=2
    )
    rng = np.random.default_rng(3)
    change = rng.normal(0, 20, 15)
    # The first two at one flow, with one value: their middle is their mean, and tells nothing of the answer to flow.
    change[:2] = 0.0
    values = 100 + change + rng.normal(0, 9, 15)
    usual = Usual(np.array([9.0]), design)
    for night in range(15):
        tonight = (values[night : night + 1], change[night : night + 1])
        score = usual.score(*tonight)
        if night >= 2:
            rows = np.column_stack([np.ones(night), change[:night]]) / 9
            # pi/3: the first two count a little less, as the middle of pairs does.
            rows[:2] /= np.sqrt(np.pi / 3)
            seen = np.concatenate([values[:night] / 9, [1 / design.flow_spread]])
            seen[:2] /= np.sqrt(np.pi / 3)
            system = np.vstack([rows, [0, 1 / design.flow_spread]])
            found = np.linalg.lstsq(system, seen, rcond=None)[0]
            now = np.array([1, change[night]])
            spread = 9 * np.sqrt(1 + now @ np.linalg.inv(system.T @ system) @ now / 81)
            assert score.wide[0] == pytest.approx(spread, rel=1e-6)
            assert score.raw[0] == pytest.approx((values[night] - now @ found) / spread, abs=1e-6)
        usual.learn(score, *tonight, held=np.array([False]))


def test_evidence_is_the_likelihood_ratio_written_out() -> None:
    """With a level known from 400 nights: mean over slopes and sum over beginnings of exp(sum of log ratios)."""
    rng = np.random.default_rng(8)
    values = np.concatenate([np.tile([-1.0, 1.0], 200), rng.normal(0.5, 0.6, 12)])
    design = Design(correlation=0, correlation_nights=1e12, scatter_nights=1e12, memory=1e9, window=12)
    course = follow(values=values, usual_scatter=1.0, design=design)
    z = np.clip(values[-12:], -design.clip, design.clip)
    total = 0.0
    for slope in design.slopes:
        for start in range(12):
            rise = slope * np.arange(1, 13 - start)
            total += np.exp((rise * z[start:] - rise**2 / 2).sum())
    written_out = np.log(total / len(design.slopes) / 12)
    # The level is not known exactly and takes a little of the rise up.
    assert course.evidence[0, -1] == pytest.approx(written_out, abs=0.15)


def test_evidence_of_a_story_is_the_mixed_product_written_out() -> None:
    """Two quantities with known levels, the ratios by SciPy's normal density; one that is never noted adds nothing."""
    rng = np.random.default_rng(9)
    usual = np.tile([-1.0, 1.0], 200)
    values = np.array([np.concatenate([usual, rng.normal(middle, 0.6, 12)]) for middle in (0.5, -0.1)])
    design = Design(correlation=0, correlation_nights=1e12, scatter_nights=1e12, memory=1e9, window=12)
    course = follow(values=values, usual_scatter=1.0, design=design, story=[0, 0])
    z = np.clip(values[:, -12:], -design.clip, design.clip)
    total = 0.0
    for start in range(12):
        ratios = []
        for nights in z:
            rises = [slope * np.arange(1, 13 - start) for slope in design.slopes]
            logs = [(norm.logpdf(nights[start:], rise) - norm.logpdf(nights[start:])).sum() for rise in rises]
            ratios.append(np.exp(logs).mean())
        total += np.prod([1 - SPEAKING + SPEAKING * ratio for ratio in ratios])
    # The levels are not known exactly and take a little of the rise up.
    assert course.evidence[:, -1] == pytest.approx(np.log(total / 12), abs=0.15)
    silent = np.vstack([values, np.full(values.shape[1], np.nan)])
    assert follow(values=silent, usual_scatter=1.0, design=design, story=[0, 0, 0]).evidence[0, -1] == (
        pytest.approx(course.evidence[0, -1])
    )


def test_a_story_of_one_would_be_refused_where_its_rows_lie_apart() -> None:
    with pytest.raises(ValueError, match=r"stand together, not as in \[0, 1, 0\]"):
        follow(values=np.zeros((3, 9)), usual_scatter=1.0, story=[0, 1, 0])


def test_who_writes_the_same_every_night_keeps_a_scatter() -> None:
    """An overshooting step made it no number, and with it nothing was ever told."""
    values = np.concatenate([np.full(60, 2.0), np.tile([3.0, 4.0, 4.0], 8)])
    course = follow(values=values, usual_scatter=0.6, least_scatter=1.0)
    assert np.isfinite(course.scatter[0, 8:]).all()
    assert course.told[0, -1]


def test_cusum_and_average_are_the_tested_ones() -> None:
    values = np.random.default_rng(4).normal(0, 10, 300)
    course = follow(values=values, usual_scatter=SCATTER, design=KNOWN)
    usual, scores = Usual(np.array([SCATTER]), KNOWN), []
    for value in values:
        tonight = (np.array([value]), np.zeros(1))
        scores.append(usual.score(*tonight))
        usual.learn(scores[-1], *tonight, held=np.array([False]))
    tame = np.array([score.tame[0] for score in scores])
    assert not course.told.any()
    np.testing.assert_allclose(course.average[0, 8:], ewma_path(scores=tame, weight=0.2)[8:], atol=1e-9)
    assert course.cusum_limit[0] == cusum_limit(allowance=0.75, run_length=KNOWN.step_nights, clip=KNOWN.clip)
    width = ewma_width(weight=0.2, run_length=KNOWN.mean_nights, two_sided=False, clip=KNOWN.clip)
    assert course.average_limit[0] == width * ewma_spread(0.2)


def test_scores_are_standard_normal_however_young_the_level() -> None:
    """The uncertainty of the level and of the answer to flow is in the score: no more false signals after a change."""
    rng = np.random.default_rng(5)
    change = np.where(np.arange(40) >= 20, 22.0, 0.0)
    own = rng.normal(1, KNOWN.flow_spread, 4000)[:, None]
    values = 100 + own * change + rng.normal(0, 10, (4000, 40))
    usual = Usual(np.full(4000, SCATTER), KNOWN)
    for night in range(40):
        tonight = (values[:, night], np.full(4000, change[night]))
        score = usual.score(*tonight)
        if night in (8, 12, 20, 39):
            assert score.raw.mean() == pytest.approx(0, abs=0.07)
            assert score.raw.std() == pytest.approx(1, abs=0.06)
        usual.learn(score, *tonight, held=np.zeros(4000, dtype=bool))


def test_correlation_and_scatter_are_learned() -> None:
    rng = np.random.default_rng(6)
    nights = np.empty((400, 300))
    nights[:, 0] = rng.standard_normal(400)
    for night in range(1, 300):
        nights[:, night] = 0.4 * nights[:, night - 1] + np.sqrt(1 - 0.16) * rng.standard_normal(400)
    design = Design(scatter_nights=1, correlation_nights=1)
    course = follow(values=100 + 15 * nights, usual_scatter=SCATTER, design=design, only_last=True)
    assert np.median(course.scatter) == pytest.approx(15, rel=0.05)
    assert np.median(course.correlation) == pytest.approx(0.4, abs=0.05)


@pytest.mark.parametrize("limit", [0.5, 1.5, 2.5])
def test_run_lengths_of_the_evidence_by_simulation(limit: float) -> None:
    """Fresh patients against the table: first signals over nights at risk, within four standard errors."""
    length = {value: key for key, value in EVIDENCE_LIMITS.items()}[limit]
    values = np.random.default_rng(77).standard_normal((1000, 208))
    course = follow(values=values, usual_scatter=1.0, design=KNOWN, drift_nights=8000)
    signals = (course.evidence > limit)[:, 8:]
    ever = signals.any(1)
    at_risk = np.where(ever, signals.argmax(1) + 1, signals.shape[1]).sum()
    assert at_risk / ever.sum() == pytest.approx(length, rel=4 / np.sqrt(ever.sum()))


def test_false_signals_are_no_more_frequent_than_designed() -> None:
    """Both deciding charts together: at most one in 700 and one in 5000 nights; five standard errors are allowed."""
    values = np.random.default_rng(12).normal(0, 10, (1000, 160))
    told = follow(values=values, usual_scatter=SCATTER, design=KNOWN, drift_nights=700).told
    ever = told.any(1)
    at_risk = np.where(ever, told.argmax(1), 160).sum() - 8 * 1000
    designed = at_risk * (1 / 700 + 1 / DESIGN.step_nights)
    assert 0 < ever.sum() <= designed + 5 * np.sqrt(designed)


def test_a_change_starts_a_new_level_and_keeps_the_scatter() -> None:
    rng = np.random.default_rng(5)
    values = np.concatenate([rng.normal(120, 20, 80), rng.normal(180, 20, 20)])
    told = follow(values=values, segment=np.arange(100) >= 80, usual_scatter=SCATTER)
    assert not told.told.any()
    assert np.isnan(told.level[0, 80:87]).all()
    assert told.level[0, 87] == pytest.approx(180, abs=20)
    assert told.scatter[0, -1] == pytest.approx(20, rel=0.2)
    untold = follow(values=values, usual_scatter=SCATTER)
    assert untold.told[0, 81:85].any()


def test_a_step_of_many_scatters_is_seen_although_its_first_night_waits() -> None:
    values = np.random.default_rng(9).normal(120, 8, (50, 50))
    values[:, 40:] += 70
    told = follow(values=values, usual_scatter=SCATTER).told
    assert told[:, 44:].all()
    assert not told[:, 40].any()


def test_a_told_drift_is_held_until_the_nights_are_back() -> None:
    """1.5 mmHg a night for forty nights, then back: the level stays that of before, and the end is told once."""
    night = np.arange(140)
    rise = np.where(night < 110, 1.5 * np.clip(night - 59, 0, 30), 0.0)
    values = 100 + rise + np.random.default_rng(3).normal(0, 9, 140)
    course = follow(values=values, usual_scatter=12.0)
    began = int(course.told[0].argmax())
    assert 62 <= began <= 76
    assert course.told[0, began:110].all()
    assert course.level[0, began:110] == pytest.approx(100, abs=5)
    assert np.ptp(course.level[0, began:110]) == 0
    assert abs(course.since[0, 109] - 60) <= 8
    ended = int(course.passed[0, -1])
    assert 110 <= ended <= 120
    assert not course.told[0, ended:].any()


def test_both_directions_have_wider_limits() -> None:
    values = np.random.default_rng(2).normal(0, 10, (2, 40))
    course = follow(values=values, usual_scatter=SCATTER, two_sided=[False, True])
    for limit in (course.evidence_limit, course.cusum_limit, course.average_limit):
        assert limit[1] > limit[0]


def test_segments_follow_every_label() -> None:
    access: list[float] = [1.0, 1.0, 1.0, 1.0, 2.0, 2.0]
    gauge: list[float] = [15.0, 15.0, np.nan, 14.0, 14.0, 14.0]
    assert segments(access, gauge).tolist() == [0, 0, 0, 1, 2, 2]
    assert segments([[np.nan, 1.0, 1.0], [2.0, 2.0, 3.0]]).tolist() == [[0, 0, 0], [0, 0, 1]]


def test_what_is_refused() -> None:
    with pytest.raises(ValueError, match="above zero, not 0"):
        follow(values=[1.0, 2.0], usual_scatter=0)
    with pytest.raises(ValueError, match=r"not of shape \(1, 1, 2\)"):
        follow(values=[[[1.0, 2.0]]], usual_scatter=1)
    with pytest.raises(ValueError, match=r"71\.3 to 17806 nights, not 20"):
        evidence_limit(20)
    assert follow(values=[], usual_scatter=1).level.shape == (1, 0)
    assert not follow(values=[np.nan] * 5, usual_scatter=1).told.any()
