"""Water tests judged by the edition that the unit works by; the figures themselves are checked with the science."""

from __future__ import annotations

import pytest
from django.utils import timezone

from dosing.science import water
from dosing.services.results.water import edition_in_use, mark_of
from homedialysis.accounts.models import User
from sessions.facts.choices_surroundings import WATER_UNITS, WaterEdition, WaterFluid
from sessions.models import WaterStandard
from tests.factories import WaterTestFactory

pytestmark = pytest.mark.django_db


def test_editions_and_fluids_are_those_of_the_science() -> None:
    assert set(WaterEdition.values) <= set(water.EDITIONS)
    assert set(WaterFluid.values) == set(water.FLUIDS)
    for (_, _, quantity), limit in water.LIMITS.items():
        if quantity in WATER_UNITS:
            assert WATER_UNITS[quantity] == limit.unit  # type: ignore[index]


@pytest.mark.parametrize(
    ("edition", "test", "grade", "words", "limit"),
    [
        ("iso_2019", {"value": 49}, 0, "within the limit", "below 100 CFU/mL, action from 50"),
        ("iso_2019", {"value": 50}, 1, "action level", "below 100 CFU/mL, action from 50"),
        ("iso_2019", {"value": 100}, 2, "over the limit", "below 100 CFU/mL, action from 50"),
        ("us_2004", {"value": 100}, 1, "action level", "below 200 CFU/mL, action from 50"),
        ("iso_2019", {"value": 0.1, "fluid": "ultrapure_water"}, 2, "over the limit", "below 0.1 CFU/mL"),
        ("us_2004", {"value": 1, "fluid": "ultrapure_water"}, None, "no limit held", ""),
        ("iso_2019", {"kind": "conductivity", "value": 12}, None, "no limit held", ""),
        ("us_2004", {"kind": "total_chlorine", "value": 0.1}, 1, "action level", "at most 0.1 mg/L, action from 0.05"),
        ("iso_2019", {"kind": "endotoxin", "value": 0.05, "below_detection": True}, 0, "within the limit", None),
        (
            "iso_2019",
            {"kind": "endotoxin", "value": 0.25, "below_detection": True},
            None,
            "unknown: the method does not detect below the limit",
            None,
        ),
    ],
)
def test_a_result_is_judged(edition: str, test: dict[str, object], grade: int | None, words: str, limit: str) -> None:
    mark = mark_of(WaterTestFactory(**test), edition)
    assert (mark.grade, mark.words) == (grade, words)
    assert limit is None or mark.limit == limit
    assert mark.tone == {0: "tone-done", 1: "tone-this-week", 2: "tone-call-today"}.get(grade, "tone-unknown")  # type: ignore[arg-type]


def test_the_unit_chooses_its_edition(nurse: User) -> None:
    assert edition_in_use() == WaterEdition.ISO_2019
    WaterStandard.objects.create(edition="us_2004", set_by=nurse, set_at=timezone.now())
    assert edition_in_use() == WaterEdition.US_2004
