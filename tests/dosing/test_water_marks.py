"""Water tests judged by the edition that the unit works by; the figures themselves are checked with the science."""

from __future__ import annotations

from datetime import timedelta
from itertools import product

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from dosing.science import water
from dosing.services.results.water import Standard, judge_in_use, mark_of, standard_in_use
from homedialysis.accounts.models import User
from sessions.facts.choices_surroundings import WATER_UNITS, WaterEdition, WaterFluid, WaterKind
from sessions.models import Patient, WaterStandard, WaterTest
from sessions.services.surroundings_facts import _telling_water, facts_of
from tests.factories import WaterTestFactory

OWN = "this edition holds none; the unit may enter its own"
NO_EDITION = "no edition prints one; the unit may enter its own"
AT_LIMIT, OVER_ACTION = "at the limit, which counts as over", "over the action level, within the limit"
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
        ("iso_2019", {"value": 50}, 1, "at the action level, within the limit", "below 100 CFU/mL, action from 50"),
        ("iso_2019", {"value": 100}, 2, AT_LIMIT, "below 100 CFU/mL, action from 50"),
        ("us_2004", {"value": 100}, 1, OVER_ACTION, "below 200 CFU/mL, action from 50"),
        ("iso_2019", {"value": 0.1, "fluid": "ultrapure_water"}, 2, AT_LIMIT, "below 0.1 CFU/mL"),
        ("us_2004", {"value": 199, "fluid": "dialysis_fluid"}, 1, OVER_ACTION, "below 200 CFU/mL, action from 50"),
        ("us_2004", {"value": 0.1, "fluid": "ultrapure_fluid"}, 2, AT_LIMIT, "below 0.1 CFU/mL"),
        ("us_2004", {"value": 1, "fluid": "ultrapure_water"}, None, "no limit held", OWN),
        ("iso_2024", {"value": 1}, None, "no limit held", "the unit has entered no figure yet"),
        ("iso_2019", {"kind": "conductivity", "value": 12}, None, "no limit held", NO_EDITION),
        ("us_2004", {"kind": "hardness", "value": 12}, None, "no limit held", NO_EDITION),
        ("us_2004", {"kind": "total_chlorine", "value": 0.1}, 1, OVER_ACTION, "at most 0.1 mg/L, action from 0.05"),
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
    mark = mark_of(WaterTestFactory(**test), Standard(edition))
    assert (mark.grade, mark.words) == (grade, words)
    assert limit is None or mark.limit == limit
    assert mark.tone == {0: "tone-done", 1: "tone-this-week", 2: "tone-call-today"}.get(grade, "tone-unknown")  # type: ignore[arg-type]


def test_the_unit_chooses_its_edition(nurse: User) -> None:
    assert standard_in_use().edition == WaterEdition.ISO_2019
    WaterStandard.objects.create(edition="us_2004", set_by=nurse, set_at=timezone.now())
    assert standard_in_use().edition == WaterEdition.US_2004


def test_figures_of_the_unit_hold_before_those_of_the_edition(nurse: User) -> None:
    own = {"dialysis_water": {"bacteria": [80, 40], "hardness": [20, None]}}
    WaterStandard.objects.create(edition="iso_2024", figures=own, set_by=nurse, set_at=timezone.now())
    standard = standard_in_use()
    marks = [mark_of(WaterTestFactory(value=value), standard) for value in (39, 40, 80)]
    assert [mark.grade for mark in marks] == [0, 1, 2]
    assert marks[0].limit == "below 80 CFU/mL, action from 40 [entered by the unit]"
    hard = [mark_of(WaterTestFactory(kind="hardness", unit="mg/L", value=value), standard) for value in (20, 21)]
    assert [mark.grade for mark in hard] == [0, 2]
    assert mark_of(WaterTestFactory(kind="endotoxin", unit="EU/mL", value=0.1), standard).grade is None


@pytest.mark.parametrize(
    ("figures", "says"),
    [
        ({"dialysis_water": {"bacteria": [50, 60]}}, "the action level, 60, must not lie above the limit, 50"),
        ({"dialysis_water": {"bacteria": [-1, None]}}, "must be between 0"),
        ({"dialysis_fluid": {"hardness": [5, None]}}, "has no figure of the unit's own"),
    ],
)
def test_figures_that_cannot_be_are_refused(nurse: User, figures: dict[str, object], says: str) -> None:
    row = WaterStandard(edition="iso_2024", figures=figures, set_by=nurse, set_at=timezone.now())
    with pytest.raises(ValidationError, match=says):
        row.full_clean()


@pytest.mark.parametrize(
    ("edition", "fluid", "bacteria", "endotoxin", "source"),
    [
        ("iso_2019", "dialysis_water", (100, 50), (0.25, 0.125), "ISO 23500-3:2019, table of a laboratory"),
        ("iso_2019", "dialysis_fluid", (100, 50), (0.5, 0.25), "ISO 23500-5:2019, table of a laboratory"),
        ("us_2004", "dialysis_water", (200, 50), (2, 1), "AAMI RD62:2006 and RD52:2004, tables of a laboratory"),
        ("us_2004", "dialysis_fluid", (200, 50), (2, 1), "AAMI RD52:2004, table of a laboratory; PMC4596525, Table 2"),
        ("us_2004", "ultrapure_fluid", (0.1, None), (0.03, None), "PMC4596525, Table 2"),
    ],
)
def test_an_edition_holds_what_is_printed(
    edition: str,
    fluid: str,
    bacteria: tuple[float, float | None],
    endotoxin: tuple[float, float | None],
    source: str,
) -> None:
    for kind, (limit, action) in (("bacteria", bacteria), ("endotoxin", endotoxin)):
        held = water.LIMITS[edition, fluid, kind]
        assert (held.limit, held.action) == (limit, action), source


OWN_FIGURES = {"dialysis_water": {"bacteria": [80, 40], "conductivity": [50, None]}}


@pytest.mark.parametrize("figures", [{}, OWN_FIGURES], ids=["of the edition", "of the unit"])
@pytest.mark.parametrize("edition", WaterEdition.values)
def test_the_database_finds_what_the_judge_would(
    ana: Patient, nurse: User, edition: str, figures: dict[str, object]
) -> None:
    """Row by row, at and around every figure: over the limit, and judged at all."""
    WaterStandard.objects.create(edition=edition, figures=figures, set_by=nurse, set_at=timezone.now())
    standard, at = standard_in_use(), timezone.now()
    rows = []
    for fluid, kind in product(WaterFluid, WaterKind):
        limit = standard.limit(fluid, kind)
        ends = [end for end in (limit.limit, limit.action) if end is not None] if limit else [1.0]
        for value, below in product([0.0, *(end * by for end in ends for by in (0.9, 1, 1.1))], (False, True)):
            at -= timedelta(minutes=1)
            rows.append(
                WaterTestFactory.build(
                    patient=ana, entered_by=nurse, sampled_at=at, fluid=fluid, kind=kind, value=value,
                    below_detection=below, unit=WATER_UNITS[kind],
                )
            )  # fmt: skip
    WaterTest.objects.bulk_create(rows)
    judge = judge_in_use()
    grades = judge.grades(rows)
    assert set(WaterTest.objects.filter(judge.failed, patient=ana).values_list("pk", flat=True)) == {
        pk for pk, grade in grades.items() if grade == 2
    }
    assert set(WaterTest.objects.filter(judge.known, patient=ana).values_list("pk", flat=True)) == set(grades)
    assert 2 in grades.values()
    assert len(grades) < len(rows)


def test_years_of_tests_are_not_read_for_what_is_due_today(ana: Patient, nurse: User) -> None:
    """What was over its limit once, and never released, still holds the water back behind hundreds of clean ones."""
    now = timezone.now()
    daily = {"kind": "total_chlorine", "unit": "mg/L", "place": "first_carbon", "patient": ana, "entered_by": nurse}
    at = [now - timedelta(days=back) for back in range(1, 601)]
    rows = [WaterTestFactory.build(sampled_at=each, value=0.02, **daily) for each in at]
    rows[500].value = 0.3
    WaterTest.objects.bulk_create(rows)
    facts = {ana.pk: facts_of(ana, now.date())}
    assert [held.test.pk for held in facts[ana.pk].held] == [rows[500].pk]
    assert facts[ana.pk].held[0].again == rows[0]
    assert facts[ana.pk].water == {"total_chlorine": rows[0]}
    assert facts[ana.pk].beyond == []
    assert len(list(_telling_water(facts, judge_in_use()))) == 2
