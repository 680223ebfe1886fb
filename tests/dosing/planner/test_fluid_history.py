"""What a delivered course tells of fluid: gains over real gaps, and months beside what was foretold of them."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from dosing.science.course import AbsenceKind, Counts, DeliveredCourse, Order, Person, TimeAway, Treatment
from dosing.science.course_fluid import Fluid
from dosing.services.planner.fluid_history import fluid_held_against, gains_of, nights_before
from dosing.services.planner.fluid_of_schedule import fluid_of
from dosing.services.planner.patterns import pattern_of

JANUARY = datetime(2026, 1, 1, 18, tzinfo=UTC)
ORDER = Order(
    key="1",
    since=JANUARY - timedelta(days=300),
    until=None,
    per_week=3.5,
    weekdays=(),
    minutes=240,
    qb_ml_min=300,
    qd_ml_min=500,
    koa_ml_min=900,
    target_weight_kg=70,
    uf_rate_limit=10,
)
GAIN, GIVEN = 2.0, 0.4


def treatment(number: int, **changes: Any) -> Treatment:
    """Every other evening for four hours: 2 kg gained since the last, 0.4 L given, 2.4 L taken off."""
    start = JANUARY + timedelta(days=2 * number)
    usual: dict[str, Any] = {
        "key": str(number),
        "day": start.date(),
        "start": start,
        "end": start + timedelta(hours=4),
        "minutes": 240,
        "at_flow": 240,
        "prescribed_minutes": 240,
        "blood_flow": 300,
        "dialysate_flow": 500,
        "clearance": None,
        "machine_ktv": None,
        "fluid": Fluid(total=GAIN + GIVEN, weight_lost=GAIN, given=0.3, minutes=240),
        "pre_weight_kg": 70 + GAIN,
        "post_weight_kg": 70,
        "access": "fistula",
        "needle": 15.0,
        "handed_over": True,
        "counts": Counts.FULL,
    }
    return Treatment(**(usual | changes))


def course(*treatments: Treatment, **changes: Any) -> DeliveredCourse:
    rows = treatments or tuple(treatment(number) for number in range(45))
    usual: dict[str, Any] = {
        "person": Person(birth=date(1970, 1, 1), sex="female", height_cm=165),
        "origin": JANUARY,
        "since": JANUARY,
        "until": rows[-1].start + timedelta(days=1),
        "first_day": rows[0].day,
        "last_day": rows[-1].day,
        "treatments": rows,
        "orders": (ORDER,),
    }
    return DeliveredCourse(**(usual | changes))


def three(**changes: Any) -> tuple[Treatment, ...]:
    """Three treatments, the one in the middle with changes."""
    return treatment(0), treatment(1, **changes), treatment(2)


def test_a_gain_is_from_end_to_start_and_what_came_in_is_what_the_scales_leave() -> None:
    found = gains_of(course(*three()))
    assert [(each.gap_days, each.gained_l) for each in found] == [(pytest.approx(2 - 4 / 24), 2.0)] * 2
    assert [each.given_l for each in found] == [pytest.approx(GIVEN)] * 2, "not the 0.3 L that was noted"


@pytest.mark.parametrize(
    ("changes", "known"),
    [
        ({}, ["1", "2"]),
        ({"pre_weight_kg": None}, ["2"]),
        ({"post_weight_kg": None}, ["1"]),
        ({"end": None, "minutes": None, "counts": Counts.RUNNING}, ["1"]),
        ({"counts": Counts.BROKEN_OFF}, ["1", "2"]),
        ({"counts": Counts.TWICE}, ["2"]),
    ],
)
def test_which_treatments_tell_a_gain(changes: dict[str, Any], known: list[str]) -> None:
    assert [each.of.key for each in gains_of(course(*three(**changes)))] == known


def test_over_a_second_record_of_a_treatment_the_gap_goes_to_the_one_that_counts() -> None:
    (found,) = gains_of(course(*three(counts=Counts.TWICE)))
    assert found.gap_days == pytest.approx(4 - 4 / 24)


@pytest.mark.parametrize("day", [2, 3])
def test_a_gap_that_may_hide_a_treatment_tells_nothing(day: int) -> None:
    missed = date(2026, 1, 1) + timedelta(days=day)
    assert [each.of.key for each in gains_of(course(*three(), missing=(missed,)))] == (["2"] if day == 2 else ["1"])
    stay = TimeAway(kind=AbsenceKind.HOSPITAL, first=missed, last=missed)
    assert len(gains_of(course(*three(), absences=(stay,)))) == 1


@pytest.mark.parametrize(
    ("fluid", "given"),
    [
        (Fluid(total=2.4, weight_lost=2.0, given=0.3, minutes=240), 0.4),
        (Fluid(total=2.4, weight_lost=None, given=0.3, rinse_back_known=True, minutes=240), 0.3),
        (Fluid(total=2.4, weight_lost=None, given=0.0, minutes=240), None),
        (Fluid(total=None, weight_lost=2.0, given=0.3, rinse_back_known=True, minutes=240), 0.3),
        (Fluid(total=None, weight_lost=2.0, given=0.0, minutes=240), None),
        (Fluid(by_readings=2.5, read_at=235, weight_lost=2.0, given=0.0, minutes=240), None),
    ],
)
def test_what_came_in_is_known_by_the_scales_else_as_noted_else_not(fluid: Fluid, given: float | None) -> None:
    """By weights alone the fluid is made of what was given, and tells nothing of it: not noted is not nought."""
    first = gains_of(course(*three(fluid=fluid)))[0]
    assert first.given_l == (None if given is None else pytest.approx(given))


def test_a_broken_off_treatment_tells_nothing_of_what_comes_in() -> None:
    assert gains_of(course(*three(counts=Counts.BROKEN_OFF)))[0].given_l is None


def test_only_the_two_months_before_count() -> None:
    whole = course()
    assert nights_before(gains_of(whole), whole.until, 70).gap_days.size == 30
    assert nights_before(gains_of(whole), JANUARY, 70).gap_days.size == 0


def test_a_schedule_by_hand() -> None:
    """2 L in 44 hours off; after 68 hours (3 days less 4 h) 3.09 L and 0.4 given are 3.49 L: 12.5 mL/kg/h in 4 h."""
    whole = course()
    nights = nights_before(gains_of(whole), whole.until, 70)
    found = fluid_of(pattern_of(3), 240, nights, weight_kg=70, limit=10)
    assert [round(night.gap_days * 24) for night in found.nights] == [68, 44, 44]
    usual = found.nights[1]
    assert (usual.usual_l, usual.usual_rate) == (pytest.approx(2.4, rel=0.02), pytest.approx(2400 / 280, rel=0.02))
    assert usual.over < 0.1
    worst = found.worst
    assert (worst.day, worst.usual_l, worst.usual_rate) == (
        0,
        pytest.approx(3.49, rel=0.03),
        pytest.approx(12.5, rel=0.03),
    )
    assert worst.over > 0.8
    assert found.over == pytest.approx(np.mean([night.over for night in found.nights]))


def test_a_month_beside_what_was_foretold() -> None:
    checks = fluid_held_against(course())
    assert [(check.month.month, check.nights) for check in checks] == [(2, 14), (3, 15)]
    for check in checks:
        assert (check.foretold_l, check.taken_l) == (pytest.approx(2.4, rel=0.03), pytest.approx(2.4))
        assert (check.foretold, check.needed, check.ran) == (pytest.approx(0.05, abs=0.06), 0, 0)


def test_who_leaves_fluid_behind_needs_more_than_is_run() -> None:
    """3 kg gained and 0.4 given are 12.1 mL/kg/h; the machine takes 2.5 L, 8.9, and half a kilogram more stays."""
    rows = [
        treatment(
            number,
            pre_weight_kg=70 + 0.9 * number + 3,
            post_weight_kg=70 + 0.9 * (number + 1),
            fluid=Fluid(total=2.5, weight_lost=2.1, given=0.3, minutes=240),
        )
        for number in range(45)
    ]
    check = fluid_held_against(course(*rows))[-1]
    assert check.needed == 1
    assert check.ran is not None
    assert check.ran < 0.1
    assert check.foretold > 0.8


def test_a_month_under_another_prescription_is_held_against_that_one() -> None:
    """From the tenth of February six hours: nights before it are not compared with it, those after are left out."""
    change = datetime(2026, 2, 10, tzinfo=UTC)
    longer = replace(ORDER, key="2", since=change, until=None, minutes=360)
    found = fluid_held_against(course(orders=(replace(ORDER, until=change), longer)))
    assert [check.nights for check in found] == [15], "four nights are too few to hold anything against"
    assert found[0].foretold == pytest.approx(0, abs=0.06)


def test_without_a_limit_nothing_is_held_against_it() -> None:
    assert fluid_held_against(course(orders=(replace(ORDER, uf_rate_limit=None),))) == []
