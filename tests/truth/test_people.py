"""The made-up patients are what is said of them, by the slow program alone."""

from __future__ import annotations

import pytest

from tests.truth import expected, slow
from tests.truth.people import LIVES, RINSE, Life, day_of
from tests.truth.slow import Week

BY_KEY = {life.key: life for life in LIVES}


@pytest.fixture(scope="module")
def weeks() -> dict[str, Week]:
    return {key: expected.week_of_march(life, life.course()) for key, life in BY_KEY.items()}


def test_doses_are_those_of_the_stories(weeks: dict[str, Week]) -> None:
    total = {key: week.total for key, week in weeks.items()}
    assert total["short of dose"] < 1.9
    assert 2.1 < total["two a week and good kidneys"] < 2.4
    assert weeks["two a week and good kidneys"].dialysis < 1.6
    assert total["treatments left out"] < 0.85 * total["a night typed in late"]
    assert total["ten hours at 48 kg"] > 4.5
    assert {key for key, dose in total.items() if dose < 2.1} == {"short of dose"}


def test_what_nobody_wrote_down_would_be_a_loss(weeks: dict[str, Week]) -> None:
    life = BY_KEY["nights never written down"]
    assert expected.had_they_been_left_out(life).total < 0.95 * weeks[life.key].total


def test_the_first_weeks_are_forgotten() -> None:
    """Begun with half or twice the urea, February is the same to four digits."""
    life = BY_KEY["two a week and good kidneys"]
    high, low = (slow.urea_course(life.person, life.nights, first=first) for first in (10.0, 40.0))
    after = [index for index, night in enumerate(life.nights) if night.known]
    assert high[after[0]].before == pytest.approx(low[after[0]].before, rel=1e-4)


def test_days_and_treatments_of_march_by_the_calendar() -> None:
    """Mondays, Wednesdays and Fridays of March 2026 are thirteen; 4 to 18 March are fifteen days."""
    assert expected.due(BY_KEY["catheter"]) == 13
    assert expected.days_in_treatment(BY_KEY["two weeks in hospital"]) == 16
    assert expected.due(BY_KEY["two weeks in hospital"]) == 6
    assert expected.days_in_treatment(BY_KEY["joined on the eleventh"]) == 21
    assert expected.days_in_treatment(BY_KEY["left on the twentieth"]) == 20


@pytest.mark.parametrize("life", LIVES, ids=lambda life: life.key)
def test_fluid_and_weights_of_every_treatment_agree(life: Life) -> None:
    for night in life.nights:
        lost = round(night.real_pre - night.real_post, 2)
        assert night.uf_total is None or slow.net_fluid(night) == pytest.approx(lost)
        assert 0 <= lost < 5
        assert night.rinse_l == RINSE


def test_bloods_and_urine_are_of_treatments_that_the_unit_knows() -> None:
    for life in LIVES:
        known = {day_of(night) for night in life.known}
        assert {*life.bloods, *life.urine, *life.sent} <= known, life.key


def test_a_catheter_that_was_given_up_is_not_in_use() -> None:
    spring = BY_KEY["catheter given up"].bloods[0]
    assert not expected.catheter(BY_KEY["catheter given up"], spring)
    assert expected.catheter(BY_KEY["catheter"], spring)
