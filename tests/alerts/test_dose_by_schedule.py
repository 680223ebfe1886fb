"""Each patient's dose is held against the guidance for their schedule, with the kidney where it counts."""

from __future__ import annotations

from dataclasses import replace

import pytest

from alerts.rules import BY_KEY
from alerts.rules.base import JudgedNight
from sessions.models import Analyte
from tests.alerts.made_nights import NOW, history, night, prescription, result

TWICE = prescription(days_per_week=2.0, weekdays=[1, 4], minutes=270)
THRICE = prescription()
FOUR_TIMES = prescription(days_per_week=4.0, weekdays=[0, 2, 4, 6])


def told(key: str, *nights: JudgedNight) -> list[str]:
    rule = BY_KEY[key]
    return [rule.say(seen) for seen in rule.see(history(*nights), NOW)]


def test_an_incremental_patient_with_a_kidney_does_not_fire_for_ever() -> None:
    """Twice a week, 270 min, Kru 4: dialysis alone is under 2.1 a week, with the kidney it is well above."""
    made = night(minutes=270, urea=(20.0, 4.0), ordered=TWICE, kidney=4.0)
    assert (made.number("standard_ktv") or 9) < 2.1 < 2.3 < (made.number("standard_ktv_kidney") or 0)
    assert told("weekly_ktv", made) == told("single_pool_ktv", made) == []
    assert told("weekly_ktv", night(minutes=270, urea=(20.0, 4.0), ordered=TWICE))


def test_where_the_logarithm_refuses_the_fit_is_judged() -> None:
    """After 20 mmol/L 1.8: the ratio is outside the equation's range."""
    made = night(minutes=600, urea=(20.0, 1.8), ordered=FOUR_TIMES)
    assert made.number("standard_ktv_kidney") is None
    assert (made.number("fitted_week_kidney") or 0) > 2.1
    assert list(BY_KEY["weekly_ktv"].not_judged(history(made))) == []
    assert told("weekly_ktv", made) == []
    short = {"fitted_week_kidney": made.numbers["fitted_week_kidney"] | {"value": 1.87}}
    (said,) = told("weekly_ktv", replace(made, numbers={**made.numbers, **short}))
    assert "1.87" in said


def test_three_a_week_are_judged_by_their_treatment() -> None:
    low, usual = night(urea=(20.0, 9.0), ordered=THRICE), night(urea=(20.0, 6.5), ordered=THRICE)
    assert told("weekly_ktv", low, usual) == []
    assert told("single_pool_ktv", low) != []
    assert told("single_pool_ktv", usual) == []


def test_three_a_week_with_a_kidney_are_judged_by_their_week() -> None:
    low = night(urea=(20.0, 9.0), ordered=THRICE, kidney=4.0)
    assert told("single_pool_ktv", low) == told("weekly_ktv", low) == []
    assert told("single_pool_ktv", night(urea=(20.0, 9.0), ordered=THRICE, kidney=1.0)) != []


def test_a_night_is_only_unjudged_where_it_would_be_judged() -> None:
    without = history(night(urea=None, ordered=FOUR_TIMES))
    assert list(BY_KEY["single_pool_ktv"].not_judged(without)) == []
    assert len(list(BY_KEY["weekly_ktv"].not_judged(without))) == 1


@pytest.mark.parametrize(
    ("calcium", "albumin", "told_of"),
    [(2.05, 30, False), (1.85, 30, True), (2.0, None, False), (2.6, None, True), (2.5, 35, True), (2.5, 40, False)],
)
def test_calcium_is_corrected_before_it_is_judged(calcium: float, albumin: float | None, told_of: bool) -> None:
    """2.05 with 30 g/L is 2.25 (Payne 1973). Without an albumin a low total says nothing, a high one does."""
    drawn = [result(Analyte.CALCIUM, calcium)] + ([result(Analyte.ALBUMIN, albumin)] if albumin else [])
    assert bool(list(BY_KEY["calcium"].see(history(night(), bloods=drawn), NOW))) == told_of
