"""From a patient's nights as they stand in the records to verdicts that a rule and a page can use."""

from __future__ import annotations

import json
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from dosing.science.reasons import Reason
from dosing.services.night.trend_of_patient import WATCHES, Series, trends_of

FIRST = date(2026, 1, 5)


def days(count: int) -> list[date]:
    """Five nights a week."""
    return [FIRST + timedelta(days=night * 7 // 5) for night in range(count)]


def venous(count: int = 80, onset: int = 60, seed: int = 3) -> Series:
    """The flow goes from 300 to 250 mL/min half way, every tenth pressure is missing, and it climbs from the onset."""
    rng = np.random.default_rng(seed)
    night = np.arange(count)
    flows = np.where(night < count // 2, 300, 250) + rng.integers(-10, 11, count)
    pressures = 145 + 0.45 * (flows - 300) + rng.normal(0, 9, count) + 1.5 * np.maximum(0, night - onset)
    return Series(
        values=[None if place % 10 == 9 else float(value) for place, value in enumerate(pressures)],
        flows=flows.tolist(),
        gauges=[15] * count,
        segments=["left arm"] * count,
    )


def test_a_rise_is_told_with_its_night_and_its_numbers() -> None:
    found = trends_of(days=days(80), series={"venous": venous()})["venous"]
    assert found.drifting
    assert found.numbers["flow"] == 250
    assert found.first_night is not None
    assert found.told_on is not None
    assert abs((found.first_night - days(80)[60]).days) <= 14
    assert found.first_night < found.told_on
    assert found.passed_on is None
    assert found.numbers["direction"] == "up"
    assert found.numbers["unit"] == "mmHg"
    assert json.loads(json.dumps(found.numbers)) == found.numbers


def test_the_chart_is_plain_and_as_long_as_the_days() -> None:
    chart = trends_of(days=days(80), series={"venous": venous()})["venous"].chart
    assert chart is not None
    assert json.loads(json.dumps(chart, allow_nan=False)) == chart
    assert chart["days"][0] == "2026-01-05"
    lines = [chart["points"], chart["baseline"], chart["average"], *chart["limits"]]
    assert {len(line) for line in lines} == {80}
    assert chart["points"][9] is None


def test_all_quantities_in_one_call_each_on_its_own() -> None:
    """The verdict of one quantity is the same alone and beside others."""
    rng = np.random.default_rng(4)
    others = {
        key: Series(values=rng.normal(100, 3, 80).tolist()) for key in ("post_weight", "systolic", "bleeding", "tmp")
    }
    together = trends_of(days=days(80), series={"venous": venous(), **others})
    assert list(together) == ["venous", *others]
    assert together["venous"].numbers == trends_of(days=days(80), series={"venous": venous()})["venous"].numbers
    assert trends_of(days=[], series={}) == {}


def test_days_in_any_order() -> None:
    given = venous()
    order = np.random.default_rng(1).permutation(80).tolist()
    nights = [FIRST + timedelta(days=night) for night in range(80)]
    mixed = Series(
        values=[given.values[place] for place in order],
        flows=[given.flows[place] for place in order],
        gauges=[given.gauges[place] for place in order],
    )
    plain = trends_of(days=nights, series={"venous": given})["venous"]
    other = trends_of(days=[nights[place] for place in order], series={"venous": mixed})["venous"]
    assert other.numbers == plain.numbers
    assert other.chart == plain.chart


@pytest.mark.parametrize("what", ["gauges", "segments"])
def test_a_change_starts_a_new_baseline(what: str) -> None:
    given = venous()
    changed = {"gauges": [15] * 75 + [14] * 5, "segments": ["left arm"] * 75 + ["right arm"] * 5}[what]
    parts: dict[str, Any] = {"flows": given.flows, "gauges": given.gauges, "segments": given.segments} | {what: changed}
    found = trends_of(days=days(80), series={"venous": Series(values=given.values, **parts)})["venous"]
    assert found.state == "unknown"
    assert str(found.why) == "4 usable treatments since the last change, 8 are needed"


def test_a_drift_does_not_flicker_and_ends_once() -> None:
    """Judged anew after every night, as the rule does: told once, and over once after the nights are back."""
    rng = np.random.default_rng(6)
    rise = np.concatenate([np.zeros(40), np.linspace(1.5, 30, 20), np.full(15, 30), np.zeros(20)])
    values = (140 + rise + rng.normal(0, 9, rise.size)).tolist()
    states = [
        trends_of(
            days=days(upto), series={"venous": Series(values=values[:upto], flows=[300] * upto, gauges=[15] * upto)}
        )["venous"].state
        for upto in range(35, rise.size + 1)
    ]
    turns = [state for place, state in enumerate(states) if place == 0 or states[place - 1] != state]
    assert turns == ["usual", "drifting", "passed"]


def test_clearance_is_followed_at_comparable_flow() -> None:
    rng = np.random.default_rng(2)
    flows = np.repeat([300, 250, 300, 250], 20)
    values = 200 + 0.3 * (flows - 300) + rng.normal(0, 8, 80)
    found = trends_of(days=days(80), series={"clearance": Series(values=values.tolist(), flows=flows.tolist())})
    assert found["clearance"].state == "usual"
    assert found["clearance"].numbers["flow"] == 250


def test_pressures_without_any_flow_are_not_judged() -> None:
    found = trends_of(days=days(20), series={"arterial": Series(values=[-120.0] * 20)})["arterial"]
    assert found.why == Reason("no_usable_night")
    assert found.chart is None
    assert found.first_night is None


def test_what_is_refused() -> None:
    with pytest.raises(ValueError, match="no trend of 'mood' is known; known: venous, arterial"):
        trends_of(days=days(1), series={"mood": Series(values=[1])})
    with pytest.raises(ValueError, match="tmp: values has 2 entries for 1 days"):
        trends_of(days=days(1), series={"tmp": Series(values=[1, 2])})
    with pytest.raises(ValueError, match="venous: flows has 3 entries for 2 days"):
        trends_of(days=days(2), series={"venous": Series(values=[1, 2], flows=[1, 2, 3])})
    assert sorted(WATCHES) == [
        "arterial",
        "attempts",
        "bleeding",
        "clearance",
        "felt",
        "found",
        "gain",
        "length",
        "lowest",
        "pain",
        "post_systolic",
        "post_weight",
        "systolic",
        "tmp",
        "venous",
    ]
