"""Verdicts in words and numbers, for every quantity that is watched."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dosing.science import trends as w
from dosing.science.drift import follow
from dosing.science.pressures import expected_change

few = settings(max_examples=8, deadline=None, database=None)


def rising_nights(*, slope: float = 0.5, count: int = 80, onset: int = 60, seed: int = 3) -> dict[str, Any]:
    """Five nights a week; the flow falls from 300 to 250 mL/min half way; venous pressure climbs from the onset on."""
    rng = np.random.default_rng(seed)
    night = np.arange(count)
    flows = np.where(night < count // 2, 300.0, 250.0) + rng.normal(0, 10, count)
    pressures = 100 + slope * (flows - 200) + rng.normal(0, 9, count) + 1.5 * np.maximum(0, night - onset)
    return {"values": pressures, "flows": flows, "days": np.floor(night * 7 / 5), "segment": np.zeros(count)}


def judged(nights: dict[str, Any], *, side: str = "venous", upto: int | None = None) -> w.Verdict:
    values, flows, days, segment = (nights[name][:upto] for name in ("values", "flows", "days", "segment"))
    change = expected_change(flows_ml_min=flows, reference_ml_min=200, gauge=15, side=side)
    (found,) = w.judge(
        watches=[w.VENOUS_PRESSURE if side == "venous" else w.ARTERIAL_PRESSURE],
        values=[values],
        days=days,
        expected=[change.value],
        segment=[segment],
        flows=[200],
    )
    return found


def test_a_rise_at_comparable_flow_in_words_and_numbers() -> None:
    found = judged(rising_nights())
    assert found.state == "drifting"
    assert found.direction == "up"
    assert found.baseline == pytest.approx(100, abs=6)
    # The last five nights lie 27 mmHg above on average; nine of scatter leave the middle of five about four of error.
    assert found.shift == pytest.approx(27, abs=10)
    assert found.scatter == pytest.approx(9, abs=2.5)
    assert found.slope_per_week == pytest.approx(7.5, abs=3)
    assert found.trend is not None
    assert found.trend.p < 0.01
    assert found.evidence > found.evidence_limit
    assert 1 <= found.weeks <= 6
    assert found.first_day < found.told_day <= found.last_day == 110
    assert found.beyond >= 15
    assert (found.of, found.flow) == (20, 200)


def test_before_the_rise_nothing_is_said_although_the_flow_fell() -> None:
    nights = rising_nights()
    for upto in (8, 9, 30, 41, 45, 50, 60):
        found = judged(nights, upto=upto)
        assert found.state == "usual"


def test_lines_to_draw() -> None:
    found = judged(rising_nights())
    lines = found.chart
    assert lines is not None
    assert lines.points.shape == lines.baseline.shape == lines.average.shape == lines.limits[0].shape == (80,)
    assert np.isnan(lines.baseline[:7]).all()
    assert np.isfinite(lines.baseline[8:]).all()
    assert lines.baseline[-1] == found.baseline
    assert (lines.limits[0][8:] > lines.baseline[8:]).all()
    assert lines.average[-1] > lines.limits[0][-1]
    # At comparable flow: the fall of 50 mL/min is not in the points.
    assert np.median(lines.points[20:40]) == pytest.approx(np.median(lines.points[40:60]), abs=6)


def test_own_answer_to_flow_is_learned_where_flows_vary_and_else_the_published_one_holds() -> None:
    rng = np.random.default_rng(8)
    varied, steady = rng.choice([200.0, 300.0], 100), rng.normal(250, 2, 100)
    for flows, own in ((varied, 0.62), (steady, 0.443)):
        course = follow(
            values=100 + 0.62 * (flows - 250) + rng.normal(0, 9, 100),
            expected=expected_change(flows_ml_min=flows, reference_ml_min=250, gauge=15).value,
            usual_scatter=12,
            only_last=True,
        )
        assert 0.443 * course.factor[0, -1] == pytest.approx(own, abs=0.05)


def test_arterial_pressure_falls() -> None:
    nights = rising_nights(slope=0.556)
    found = judged(nights | {"values": -nights["values"]}, side="arterial")
    assert found.direction == "down"
    assert found.shift < -10
    assert found.beyond >= 15


@few
@given(seed=st.integers(0, 2**16))
def test_order_of_arrival_does_not_matter(seed: int) -> None:
    nights = rising_nights()
    # One night a day: nights of one day keep the order in which they came.
    nights["days"] = np.arange(80)
    order = np.random.default_rng(seed).permutation(80)
    mixed = {key: value[order] for key, value in nights.items()}
    assert repr(judged(mixed)) == repr(judged(nights))


def test_a_change_starts_anew() -> None:
    nights = rising_nights()
    found = judged(nights | {"segment": (np.arange(80) >= 74).astype(int)})
    assert str(found.why) == "6 usable treatments since the last change, 8 are needed"
    assert not found.known


def test_a_rise_that_has_passed_says_so() -> None:
    nights = rising_nights(count=110, onset=60)
    back = nights["values"].copy()
    back[80:] -= 1.5 * np.maximum(0, np.arange(80, 110) - 60)
    found = judged(nights | {"values": back})
    assert found.state == "passed"
    assert 112 <= found.passed_day <= 126
    assert judged(nights, upto=79).drifting


def test_a_told_drift_keeps_its_size_while_it_goes_on() -> None:
    """1.5 mmHg a night for forty nights: the last five lie 57 mmHg above what was usual before."""
    found = judged(rising_nights(count=100))
    assert found.drifting
    assert found.shift == pytest.approx(57, abs=10)


@pytest.mark.parametrize(
    ("watch", "usual", "per_night", "noise", "direction"),
    [
        (w.CLEARANCE, 180, -1.8, 9, "down"),
        (w.POST_WEIGHT, 72, -0.06, 0.3, "down"),
        (w.POST_WEIGHT, 72, 0.06, 0.3, "up"),
        (w.SYSTOLIC, 140, 1.5, 14, "up"),
        (w.BLEEDING_TIME, 8, 0.5, 2, "up"),
        (w.TRANSMEMBRANE_PRESSURE, 70, 2, 10, "up"),
    ],
    ids=lambda x: f"{x.unit} {x.direction}" if isinstance(x, w.Watch) else str(x),
)
def test_one_question_serves_all(watch: w.Watch, usual: float, per_night: float, noise: float, direction: str) -> None:
    night = np.arange(70)
    drift = per_night * np.maximum(0, night - 40)
    values = usual + drift + np.random.default_rng(21).normal(0, noise, 70)
    (before,) = w.judge(watches=[watch], values=[values[:40]], days=night[:40])
    assert before.state == "usual"
    (found,) = w.judge(watches=[watch], values=[values], days=night)
    assert found.drifting
    assert found.direction == direction
    assert found.beyond >= 15


def test_the_way_that_is_not_watched_is_not_told() -> None:
    values = 180 + 1.8 * np.maximum(0, np.arange(70) - 40) + np.random.default_rng(2).normal(0, 9, 70)
    (found,) = w.judge(watches=[w.CLEARANCE], values=[values], days=np.arange(70))
    assert found.state == "usual"


def test_the_same_number_every_night_does_not_make_small_steps_loud() -> None:
    """A weight noted as 72.0 for sixty nights, then 72.1: a tenth is no drift."""
    values = np.where(np.arange(80) < 60, 72.0, 72.1)
    (found,) = w.judge(watches=[w.POST_WEIGHT], values=[values], days=np.arange(80))
    assert found.scatter >= 0.07
    assert found.state == "usual"


def test_too_little_is_said_to_be_too_little() -> None:
    def why(values: list[float]) -> str:
        (found,) = w.judge(watches=[w.SYSTOLIC], values=[values], days=np.arange(len(values)))
        return str(found.why or "")

    assert why([]) == "no treatment has a usable value"
    assert why([math.nan] * 3) == "no treatment has a usable value"
    assert why([140.0] * 7) == "7 usable treatments, 8 are needed"
    assert why([140.0] * 8) == ""


def test_what_is_refused() -> None:
    with pytest.raises(ValueError, match=r"watches by days, \(1, 1\), not of shape \(1, 2\)"):
        w.judge(watches=[w.SYSTOLIC], values=[[1.0, 2.0]], days=[1.0])
    with pytest.raises(ValueError, match="day 1 is not a number"):
        w.judge(watches=[w.SYSTOLIC], values=[[1.0, 2.0]], days=[1.0, np.nan])
