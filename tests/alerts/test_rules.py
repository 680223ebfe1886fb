"""What `rules_table` does not say of single rules: their corners, over nights made in memory."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from alerts.limits.book import LimitBook
from alerts.models import Limit
from alerts.models.choices import Urgency
from alerts.rules import BY_KEY
from alerts.rules.base import History, JudgedNight, runs_of, within
from alerts.rules.evidence_kinds import label_of_evidence, more_of
from alerts.rules.remarks import remark_words
from alerts.rules.wording import days_of
from homedialysis.accounts.models import User
from sessions.models import EventKind
from tests.alerts.made_nights import NOW, course, history, night, prescription, scattered
from tests.alerts.rules_table import CASES, LINE_CHOSEN
from tests.factories import MedicationFactory

LIGHT = prescription(target_weight_kg=40)


def said(key: str, found: History) -> list[str]:
    """The sentences of what is seen on enough nights."""
    rule = BY_KEY[key]
    seen = [one for one in rule.see(found, NOW) if len(days_of(one.evidence)) >= (one.nights or rule.nights)]
    return [rule.say(one) for one in seen]


def limits_of(key: str, found: History) -> list[float | None]:
    return [item.limit for one in BY_KEY[key].see(found, NOW) for item in one.evidence]


def of(*changes: dict[str, Any]) -> History:
    return history(*(night(index, **change) for index, change in enumerate(changes)))


class TestFluid:
    def test_the_line_is_not_used_until_the_unit_chooses_it(self) -> None:
        assert said("uf_rate_line", history(night(uf_removed_l=2.85))) == []
        assert list(BY_KEY["uf_rate_line"].not_judged(history(night(post_weight_kg=None)))) == []

    def test_the_line_is_the_nights_own(self) -> None:
        """710 mL/h of a person of 70 kg."""
        assert limits_of("uf_rate_line", history(night(uf_removed_l=2.85), limits=LINE_CHOSEN)) == [10.1]

    def test_once_above_target_once_below(self) -> None:
        assert said("off_target", of({"post_weight_kg": 71.5}, {"post_weight_kg": 68.5})) == []

    def test_two_per_cent_of_a_light_patient(self) -> None:
        assert limits_of("off_target", of(*[{"post_weight_kg": 40.9, "ordered": LIGHT}] * 2)) == [0.8, 0.8]

    def test_an_unweighed_night_between_does_not_break_the_run(self) -> None:
        assert len(said("off_target", of({"post_weight_kg": 71.5}, {"post_weight_kg": None}, {"post_weight_kg": 71.5})))


class TestChecks:
    def test_what_was_put_right_before_the_start_is_no_treatment_begun_with_it(self) -> None:
        bad = {"name": "Air detector", "key": "air_detector", "passed": False, "part": "setup"}
        good = bad | {"passed": True}
        assert said("check_failed", of({"checks": [bad, good]})) == []
        assert said("check_failed", of({"checks": [good, bad]})) == [
            "A check failed and the treatment was begun on 2 Mar: Air detector, failed."
        ]

    @pytest.mark.parametrize(("key", "urgency"), [("residue", Urgency.CALL_TODAY), ("phone", Urgency.THIS_WEEK)])
    def test_begun_against_a_stop_wants_a_call_the_same_day(self, key: str, urgency: Urgency) -> None:
        failed = {"name": key, "key": key, "passed": False, "part": "setup"}
        [seen] = BY_KEY["check_failed"].see(of({"checks": [failed]}), NOW)
        assert seen.urgency == urgency


class TestPressure:
    @pytest.mark.parametrize(("before", "fires"), [(160.0, True), (159.0, False)])
    def test_99_is_low_after_160(self, before: float, fires: bool) -> None:
        found = of(*[{"pre_systolic": before, "readings": [{"systolic": 99.0}]}] * 3)
        assert bool(said("systolic_low", found)) is fires

    def test_standing_afterwards(self) -> None:
        (seen,) = BY_KEY["systolic_low"].see(of(*[{"post_standing_systolic": 84.0}] * 3), NOW)
        assert {label_of_evidence(item) for item in seen.evidence} == {"Systolic pressure after, standing"}

    def test_one_low_reading_is_none_and_a_very_low_one_wants_a_call_today(self) -> None:
        assert said("systolic_low", of({"readings": [{"systolic": 72.0}]}, {}, {})) == []
        (seen,) = BY_KEY["systolic_low"].see(of({}, {}, {"readings": [{"systolic": 69.0}]}), NOW)
        assert (seen.urgency, len(seen.evidence)) == (Urgency.CALL_TODAY, 1)
        (later,) = BY_KEY["systolic_low"].see(
            of({"readings": [{"systolic": 69.0}]}, *[{"readings": [{"systolic": 85.0}]}] * 3), NOW
        )
        assert (later.urgency, len(later.evidence)) == (None, 4)

    def test_systolic_and_diastolic_have_limits_of_their_own(self) -> None:
        expected = (
            "Very high pressure on 2 Mar: systolic before 190 mmHg (limit 180), diastolic before 115 mmHg (limit 110)."
        )
        assert said("pressure_high", history(night(pre_systolic=190.0, pre_diastolic=115.0))) == [expected]

    def test_a_fall_without_symptoms_is_none(self) -> None:
        assert said("fall_with_symptoms", of(*[{"readings": [{"systolic": 100.0}]}] * 3)) == []


class TestCircuit:
    def test_readings_at_slow_flow_do_not_count(self) -> None:
        slow = {"qb_ml_min": 100.0, "venous_mmhg": 15.0, "arterial_mmhg": -300.0}
        found = history(night(readings=[{}, {}, {}, slow]))
        assert said("venous_low", found) == []
        assert said("arterial_low", found) == []

    def test_a_reading_without_its_flow_counts_against_the_upper_limit_only(self) -> None:
        bare = {"qb_ml_min": None}
        assert said("venous_high", history(night(readings=[{**bare, "venous_mmhg": 280.0}, {}])))
        assert said("venous_low", history(night(readings=[{**bare, "venous_mmhg": 5.0}, {}]))) == []

    def test_half_dark_twice_in_three(self) -> None:
        half = {"dialyser_look": "half"}
        assert said("dialyser_look", of(half, {}, half)) == [
            "Dialyser about half of it dark after rinse-back in 2 treatments from 2 Mar to 6 Mar."
        ]


class TestShort:
    def test_a_little_shorter_twice_in_three(self) -> None:
        assert said("short", of({"minutes": 210}, {}, {"minutes": 205})) == [
            "Treatment shortened to 85 % of the prescribed time at worst, in 2 treatments from 2 Mar to 6 Mar."
        ]

    def test_nine_tenths_every_time(self) -> None:
        assert said("short", of(*[{"minutes": 216}] * 3)) == []

    def test_while_it_is_still_open(self) -> None:
        found = history(night(finished=False))
        assert said("short", found) == []
        assert list(BY_KEY["short"].not_judged(found)) == []


class TestNoted:
    def test_it_does_not_wait_for_the_record_to_be_finished(self) -> None:
        assert said("fainted", history(night(finished=False, events=["fainted"])))

    def test_twice_in_four_is_not_enough(self) -> None:
        cramp = {"events": ["cramp"]}
        assert said("cramp", of(cramp, {}, {}, cramp)) == []

    def test_twice_in_one_night_is_not_enough(self) -> None:
        assert said("cramp", of({"events": ["cramp", "cramp"]})) == []

    def test_every_kind_of_event_is_somebodys(self) -> None:
        """Whatever the patient can write down, some rule hears of it."""
        rules = [key for key, rule in BY_KEY.items() if "events" in rule.reads]
        heard = {kind for kind in EventKind if any(said(key, of(*[{"events": [kind]}] * 3)) for key in rules)}
        assert set(EventKind) == heard


@pytest.mark.parametrize(
    ("hits", "found"),
    [
        ([True, True, False, True], [0, 1]),
        ([True, False, True, True], [2, 3]),
        ([False, True, True, True, False], [1, 2, 3]),
        ([True, False, True, False, True], []),
        ([True, True, False, True, True], [0, 1, 3, 4]),
        ([], []),
    ],
)
def test_runs_of_two(hits: list[bool], found: list[int]) -> None:
    nights = [night(index) for index in range(len(hits))]
    assert runs_of(2, nights, lambda each: hits[nights.index(each)]) == [nights[place] for place in found]


@pytest.mark.parametrize(
    ("times", "of", "struck", "found"),
    [
        (1, 1, [True, False, True], [0, 2]),
        (2, 3, [True, False, True, False, False, True], [0, 2]),
        (2, 3, [True, False, False, True], []),
        (3, 6, [True, True, False, False, False, True], [0, 1, 5]),
        (3, 6, [True, True, False, False, False, False, True], []),
        (2, 2, [False, True, True, False], [1, 2]),
    ],
)
def test_so_many_within_so_many(times: int, of: int, struck: list[bool], found: list[int]) -> None:
    assert within(times, of, struck) == found


class TestPassed:
    """A rule counts as over after some nights inside, by a margin where it has one."""

    def words(self, key: str, *nights: JudgedNight) -> str:
        passed = BY_KEY[key].passed(history(*nights), nights[0].record.night)
        return remark_words(passed) if passed else ""

    def test_three_nights_inside(self) -> None:
        good = [night(index) for index in (1, 2, 3)]
        assert self.words("venous_high", night(readings=[{"venous_mmhg": 260.0}]), *good[:2]) == ""
        expected = "Inside the limit on the last 3 treatments, 4 Mar to 8 Mar."
        assert self.words("venous_high", night(readings=[{"venous_mmhg": 260.0}]), *good) == expected

    def test_near_the_limit_does_not_count(self) -> None:
        """Inside 250, but not by 10 mmHg."""
        near = [night(index, readings=[{"venous_mmhg": 245.0}]) for index in (1, 2, 3)]
        assert self.words("venous_high", night(readings=[{"venous_mmhg": 260.0}]), *near) == ""

    def test_a_night_that_cannot_be_judged_does_not_count(self) -> None:
        some = [night(1), night(2, readings=[]), night(3)]
        assert self.words("venous_high", night(readings=[{"venous_mmhg": 260.0}]), *some) == ""

    def test_safety_is_over_only_when_the_nurse_says_so(self) -> None:
        assert self.words("fainted", night(events=["fainted"]), *(night(index) for index in range(1, 20))) == ""


class TestTrends:
    @pytest.mark.parametrize("seed", range(3))
    def test_scatter_alone_is_not_told(self, seed: int) -> None:
        assert said("venous_rise", history(night(), course=course("venous", scattered(seed, 150, 9, 60)))) == []

    def test_higher_flow_is_not_taken_for_a_climb(self) -> None:
        low = course("venous", scattered(1, 110, 3, 60), flow=250)[:40]
        high = course("venous", scattered(2, 132, 3, 60), flow=300)[40:]
        assert said("venous_rise", history(night(), course=[*low, *high])) == []

    def test_the_count_begins_again_with_a_new_access(self) -> None:
        steps = [110.0 + (place % 3) for place in range(40)] + [150.0 + (place % 3) for place in range(20)]
        renewed = course("venous", steps, segments=["old"] * 40 + ["new"] * 20)
        assert said("venous_rise", history(night(), course=renewed)) == []
        assert said("venous_rise", history(night(), course=course("venous", steps)))

    def test_so_it_does_with_other_needles_where_needles_matter(self) -> None:
        """The pressure at the venous needle is another with a thinner one; that of the arm is not."""
        steps = [110.0 + (place % 3) for place in range(40)] + [150.0 + (place % 3) for place in range(20)]
        thinner = {"gauges": [15] * 40 + [16] * 20}
        for key, drifts in (("venous", False), ("systolic", True)):
            assert history(course=course(key, steps)).trends[key].drifting
            assert history(course=course(key, steps, **thinner)).trends[key].drifting is drifts

    def test_a_shift_smaller_than_the_limit_is_not_told(self) -> None:
        climbing = course("venous", scattered(1, 140, 9, 60, slope=1.5, flat=40))
        row = Limit(name="venous_rise", value=40, since=NOW - timedelta(days=90), set_by=User(name="Kim"), why="x")
        assert said("venous_rise", history(night(), course=climbing))
        assert said("venous_rise", history(night(), course=climbing, limits=LimitBook(for_unit=(row,)))) == []

    def test_a_target_that_is_too_low_needs_symptoms(self) -> None:
        falling = course("systolic", scattered(1, 140, 9, 60, slope=-1.5, flat=40))
        assert said("target_outdated", history(night(), course=falling)) == []
        felt = history(night(0, events=["cramp"]), night(1, events=["dizzy"]), course=falling)
        (sentence,) = said("target_outdated", felt)
        assert "low pressure, dizziness or cramps on 2 of the last 9 nights" in sentence
        assert "too low by now (flesh gained)" in sentence

    def test_a_climbing_pressure_above_target_is_no_sign_of_a_wrong_target(self) -> None:
        climbing = course("systolic", scattered(1, 140, 9, 60, slope=1.5, flat=40))
        assert said("target_outdated", history(night(post_weight_kg=71.5), course=climbing)) == []


@pytest.mark.parametrize(
    ("nights", "urgency"),
    [
        ([night(events=["power_failure"])], None),
        ([night(events=["power_failure"], minutes=60)], Urgency.CALL_TODAY),
        ([night(events=["power_failure"]), night(1, events=["water_failure"])], Urgency.CALL_TODAY),
    ],
    ids=["once", "cut short", "again"],
)
def test_a_home_without_power_or_water_wants_a_call_when_it_cannot_be_relied_on(
    nights: list[JudgedNight], urgency: Urgency | None
) -> None:
    (seen,) = BY_KEY["power_or_water"].see(history(*nights), NOW)
    assert seen.urgency == urgency


def test_a_low_pressure_names_what_is_taken_against_high_ones() -> None:
    made = CASES["systolic_low"].fires()
    taken = MedicationFactory.build(name="Amlodipine", kind="pressure", amount=5, unit="mg", times=1, period="day")
    over = MedicationFactory.build(name="Ramipril", kind="pressure", until_on=taken.from_on)
    (seen,) = BY_KEY["systolic_low"].see(replace(made, against_pressure=[taken, over]), NOW)
    assert more_of(seen.evidence[-1]) == "Taken against high pressure: Amlodipine, 5 mg, once a day"
    (without,) = BY_KEY["systolic_low"].see(made, NOW)
    assert more_of(without.evidence[-1]) == ""
    assert [item.key for item in without.evidence] == [item.key for item in seen.evidence]
