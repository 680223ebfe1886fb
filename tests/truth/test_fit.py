"""The fit of the product, given each made-up life as it was: the dose of March that the slow program integrates.

Nothing lies between here: the course is handed to the science as it really was, urea as a laboratory gives it. What a
record leaves out, and what the product makes of that, is held in test_end_to_end.
"""

from __future__ import annotations

import numpy as np
import pytest

from dosing.science.delivered import DeliveredTreatments
from dosing.science.delivered_fit import DeliveredFit, DeliveredPairs, UreaPrior, fit_delivered
from tests.truth import expected, slow
from tests.truth.people import LIVES, Life, day_of
from tests.truth.slow import Urea

DOSE_WITHIN = 0.02
"""Of the weekly dose: bloods to the tenth of a mmol/L, and what is known beforehand of a body of that size."""
GENERATION_WITHIN = 0.05
LIFE = pytest.mark.parametrize("life", LIVES, ids=lambda life: life.key)


def hours(life: Life, urea: Urea) -> float:
    return (urea.night.start - life.nights[0].start).total_seconds() / 3600


def fitted(life: Life, course: list[Urea]) -> DeliveredFit:
    """Every treatment with its clearance, weights and length; volume known as Watson says, less a tenth."""
    nights = [each.night for each in course]
    target = life.person.target_kg
    drawn = [at for at, night in enumerate(nights) if day_of(night) in life.bloods and expected.counts(life, night)]
    body = slow.watson(
        sex=life.person.sex, age_years=life.person.age_years, height_cm=life.person.height_cm, weight_kg=target
    )
    first, last, _ = expected.at_home(life)
    begun = life.nights[0].start
    span = [(first - begun).total_seconds() / 3600, (last - begun).total_seconds() / 3600]
    return fit_delivered(
        treatments=DeliveredTreatments(
            starts=[hours(life, each) for each in course],
            hours=[night.minutes / 60 for night in nights],
            clearance=[slow.clearance(night) for night in nights],
            fluid_before=[night.real_pre - target for night in nights],
            fluid_after=[night.real_post - target for night in nights],
            kidney_clearance=life.person.kidney,
            counts=[expected.counts(life, night) and night.at_home for night in nights],
        ),
        prior=UreaPrior(volume=0.9 * body, generation=0.19 * target / 70),
        pairs=DeliveredPairs(
            treatment=drawn,
            pre=[round(course[at].plasma_before, 1) for at in drawn],
            post=[round(course[at].plasma_after, 1) for at in drawn],
        ),
        periods=[span],
    )


@pytest.fixture(scope="module")
def courses() -> dict[str, list[Urea]]:
    return {life.key: life.course() for life in LIVES}


@LIFE
def test_the_fitted_dose_is_the_integrated_one(life: Life, courses: dict[str, list[Urea]]) -> None:
    course = courses[life.key]
    found, week = fitted(life, course), expected.week_of_march(life, course)
    low, high = (float(each.value[0]) for each in (found.dose.low, found.dose.high))
    assert low < week.total < high
    if life.bloods:
        assert float(found.dose.whole.value[0]) == pytest.approx(week.total, rel=DOSE_WITHIN)
        assert float(found.dose.alone.value[0]) == pytest.approx(week.dialysis, rel=DOSE_WITHIN)
        made = found.generation.number or np.nan
        cleared = found.clearance_factor.number or np.nan
        assert made / cleared == pytest.approx(life.person.generation, rel=GENERATION_WITHIN)
