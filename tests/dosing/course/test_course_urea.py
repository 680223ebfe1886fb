"""What of a delivered course reaches the urea model: each treatment as it was, and nothing that nobody did."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from dosing.science.course import (
    AbsenceKind,
    Clearance,
    ClearanceBy,
    Counts,
    DeliveredCourse,
    KidneyCollection,
    Order,
    Person,
    SampleWay,
    TimeAway,
    Treatment,
    UreaPair,
)
from dosing.science.course_fluid import Fluid
from dosing.science.course_urea import CourseUrea, course_urea, fit_course
from dosing.science.delivered_fit import DeliveredFit
from dosing.science.reasons import Reason

DAY, MINUTE = timedelta(days=1), timedelta(minutes=1)
BEGIN = datetime(2026, 3, 2, 21, tzinfo=UTC)
TARGET = 70.0


def treatment(day: float, **changes: Any) -> Treatment:
    start = BEGIN + day * DAY
    usual: dict[str, Any] = {
        "key": f"{day:g}",
        "day": start.date(),
        "start": start,
        "end": start + 240 * MINUTE,
        "minutes": 240.0,
        "at_flow": 240.0,
        "prescribed_minutes": 240.0,
        "blood_flow": 300.0,
        "dialysate_flow": 500.0,
        "clearance": Clearance(ml_min=220.0, by=ClearanceBy.DIALYSER),
        "machine_ktv": None,
        "fluid": Fluid(total=2.3, given=0.3),
        "pre_weight_kg": 72.0,
        "post_weight_kg": 70.2,
        "access": "fistula",
        "needle": 15.0,
        "handed_over": True,
        "counts": Counts.FULL,
    }
    return Treatment(**(usual | changes))


def pair(of: Treatment, **changes: Any) -> UreaPair:
    assert of.end is not None
    usual: dict[str, Any] = {"treatment": of.key, "pre": 20.0, "post": 7.0, "pre_at": of.start, "post_at": of.end}
    return UreaPair(**(usual | {"way": SampleWay.SLOW_FLOW, "minutes_after": 0.0} | changes))


def course(*treatments: Treatment, **changes: Any) -> DeliveredCourse:
    order = Order(
        key="1", since=BEGIN - 400 * DAY, until=None, per_week=3.5, weekdays=(), minutes=240.0, qb_ml_min=300.0,
        qd_ml_min=500.0, koa_ml_min=1000.0, target_weight_kg=TARGET,
    )  # fmt: skip
    usual: dict[str, Any] = {
        "person": Person(birth=date(1970, 1, 1), sex="female", height_cm=168.0),
        "origin": BEGIN,
        "since": BEGIN,
        "until": BEGIN + 120 * DAY,
        "first_day": BEGIN.date(),
        "last_day": (BEGIN + 120 * DAY).date(),
        "treatments": treatments,
        "orders": (order,),
    }
    return DeliveredCourse(**(usual | changes))


def arrays(of: DeliveredCourse) -> CourseUrea:
    found = course_urea(of)
    assert isinstance(found, CourseUrea)
    return found


NAMES = ("starts", "hours", "clearance", "fluid_before", "fluid_after", "kidney_clearance")


def test_each_treatment_is_as_it_was() -> None:
    of = course(
        treatment(0),
        treatment(2, at_flow=180.0),
        treatment(4, pre_weight_kg=None),
        treatment(6, post_weight_kg=None, clearance=None),
        treatment(8, pre_weight_kg=None, post_weight_kg=None, fluid=Fluid()),
        collections=(KidneyCollection(began=BEGIN, ended=BEGIN + DAY, clearance=3.0, urine_ml=800.0),),
    )
    whole = arrays(of)
    found = {name: np.asarray(getattr(whole.treatments, name))[whole.filled_in :] for name in NAMES}
    assert found["starts"].tolist() == [0, 48, 96, 144, 192]
    assert found["hours"].tolist() == [4.0] * 5
    assert found["clearance"].tolist() == pytest.approx([220, 165, 220, 220, 220]), "blood stood still; middle"
    # Weights, else what came off, else the gain of the others: 1.8 L over 44 h.
    assert found["fluid_before"] == pytest.approx([2.0, 2.0, 0.2 + 2.0, 2.0, 0.0 + 1.8])
    assert found["fluid_after"] == pytest.approx([0.2, 0.2, 0.2, 2.0 - 2.0, 0.2])
    kidney = found["kidney_clearance"]
    assert kidney[0] == pytest.approx(0.93 * 3.0), "before the first collection: what that one found"
    assert kidney[4] == pytest.approx(0.93 * 3.0 * (2 / 3) ** (7 / 365.25))


def test_what_does_not_count_still_clears_and_what_is_written_twice_does_not() -> None:
    short = treatment(1, minutes=12.0, at_flow=12.0, end=BEGIN + DAY + 12 * MINUTE, counts=Counts.BROKEN_OFF)
    found = arrays(course(treatment(0), short, treatment(2), treatment(2.01, key="again", counts=Counts.TWICE)))
    assert np.asarray(found.treatments.counts).tolist()[found.filled_in :] == [True, False, True]
    assert np.asarray(found.treatments.hours).tolist()[found.filled_in :] == pytest.approx([4, 0.2, 4])


def test_a_stay_is_filled_with_treatments_of_others_and_a_missed_night_is_not() -> None:
    stay = TimeAway(kind=AbsenceKind.HOSPITAL, first=date(2026, 3, 13), last=date(2026, 3, 19))
    missed = [0, 2, 4, 8, 10, 18, 20, 22, 40, 42]
    found = arrays(course(*(treatment(day) for day in missed), absences=(stay,)))
    starts = np.asarray(found.treatments.starts) / 24
    counts = np.asarray(found.treatments.counts)
    assert starts[counts].tolist() == missed
    assert starts[~counts].tolist() == [12, 14, 16, *range(24, 40, 2)], "of the stay, and of weeks not entered"
    assert found.filled_in == 11


def test_before_a_course_of_less_than_two_weeks_two_weeks_are_filled_as_ordered() -> None:
    """Every other day: seven in the two weeks before, which count in no dose."""
    found = arrays(course(treatment(0), treatment(2), treatment(4)))
    starts = np.asarray(found.treatments.starts) / 24
    assert starts == pytest.approx([*range(-14, 0, 2), 0, 2, 4])
    assert np.asarray(found.treatments.counts).tolist() == [False] * 7 + [True] * 3
    assert np.all(np.asarray(found.treatments.fluid_before) >= 0)
    assert arrays(course(*(treatment(2 * day) for day in range(8)))).filled_in == 0


def test_only_pairs_that_nothing_speaks_against_are_used() -> None:
    days = [treatment(2.0 * at) for at in range(6)]
    drawn = (
        pair(days[0]),
        pair(days[1], way=SampleWay.UNPROTECTED),
        pair(days[2], way=SampleWay.LATE, minutes_after=40.0),
        pair(days[3], way=SampleWay.LATE, minutes_after=None),
        pair(days[4], pre_at=days[4].start + 90 * MINUTE),
        pair(days[5], minutes_after=45.0),
    )
    found = arrays(course(*days, pairs=drawn))
    assert [each.treatment for each in found.drawn] == ["0", "4"]
    assert (np.asarray(found.pairs.treatment) - found.filled_in).tolist() == [0, 2]
    assert np.asarray(found.pairs.post_delay).tolist() == [0, 40]


def test_records_that_overlap_by_minutes_are_put_apart() -> None:
    found = arrays(course(treatment(0, minutes=240.0), treatment(3.5 / 24, key="b"), treatment(2)))
    starts, hours = np.asarray(found.treatments.starts), np.asarray(found.treatments.hours)
    assert (starts[1:] - (starts + hours)[:-1] > 0).all()


def test_without_prescription_or_treatments_it_says_so() -> None:
    assert str(course_urea(course(treatment(0), orders=()))) == "no prescription was in force"
    assert str(course_urea(course(treatment(0)))) == "fewer than 2 treatments"
    assert isinstance(course_urea(course()), Reason)


def fitted(of: DeliveredCourse, periods: list[tuple[datetime, datetime]]) -> DeliveredFit:
    return fit_course(of, arrays(of), periods)


def test_the_month_of_a_course_has_its_dose_with_and_without_bloods() -> None:
    days = [treatment(2.0 * at) for at in range(60)]
    month = [(BEGIN + 90 * DAY, BEGIN + 120 * DAY)]
    alone = fitted(course(*days), month)
    drawn = tuple(pair(days[at], pre=20.5, post=7.6) for at in (15, 30, 45, 55))
    with_bloods = fitted(course(*days, pairs=drawn), month)
    assert isinstance(alone, DeliveredFit)
    assert isinstance(with_bloods, DeliveredFit)
    assert (int(alone.pairs), int(with_bloods.pairs)) == (0, 4)
    # Watson: -2.097 + 0.1069 x 168 + 0.2466 x 70 = 33.12 L, nine tenths of that.
    assert alone.volume.number == pytest.approx(0.9 * 33.1242, rel=1e-4)
    widths = [float(np.log(each.dose.high.value / each.dose.low.value)[0]) for each in (alone, with_bloods)]
    assert widths[0] > 1.8 * widths[1]
