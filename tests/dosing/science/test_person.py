"""Age as the equations of body water take it."""

from __future__ import annotations

from datetime import date

import pytest

from dosing.science.course import Person


@pytest.mark.parametrize(("on", "years"), [(date(2010, 1, 1), 30), (date(2020, 1, 1), 40), (date(1980, 1, 1), 0)])
def test_age_counts_years_of_the_calendar(on: date, years: int) -> None:
    person = Person(birth=date(1980, 1, 1), sex="female", height_cm=160.0)
    assert person.age_on(on) == pytest.approx(years, abs=0.003)  # a leap day more or less
