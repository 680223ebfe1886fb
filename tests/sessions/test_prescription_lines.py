"""A prescription line by line, as kit, patient page, review and paper have it."""

from __future__ import annotations

from typing import Any

import pytest

from sessions.models import Prescription
from sessions.services.prescription_lines import all_lines, days, in_hours, main_lines, other_lines, readings_words
from tests.factories import DialyserFactory, PrescriptionFactory


def ordered(**changes: Any) -> Prescription:
    made: Prescription = PrescriptionFactory.build(
        patient=None, dialyser=DialyserFactory.build(name="Fenrow 17"), signed_by=None, **changes
    )
    return made


def told(prescription: Prescription) -> list[str]:
    return [f"{line.label}: {line.number} {line.unit}".rstrip() for line in all_lines(prescription)]


MAIN = [
    "Target weight: 70 kg",
    "Length: 4:00 h",
    "Blood flow (Qb): 300 mL/min",
    "Dialysate flow (Qd): 500 mL/min",
    "UF rate, at most: 10 mL/kg/h",
    "Dialysate temperature: 36.5 °C",
]
REST = [
    "Days: Monday, Wednesday, Friday",
    "Longest allowed: 5 h",
    "Readings: 10 min after the start, then every 60 min",
    "Dialyser: Fenrow 17",
    "Needles: 15 G",
    "Dialysate potassium: 2 mmol/L",
    "Dialysate calcium: 1.5 mmol/L",
    "Dialysate sodium: 138 mmol/L",
    "Dialysate bicarbonate: 35 mmol/L",
    "Anticoagulation: unfractionated heparin",
    "Bolus: 2000 units",
]


def test_what_is_set_before_each_treatment_comes_first_and_nothing_is_said_twice() -> None:
    assert told(ordered()) == [*MAIN, *REST]
    assert [line.label for line in main_lines(ordered())] == [line.split(":")[0] for line in MAIN]
    assert [line.label for line in other_lines(ordered())] == [line.split(":")[0] for line in REST]


def test_what_was_left_empty_has_no_line() -> None:
    without = told(ordered(needle_gauge=None, bolus_units=None, rate_units_h=500, stop_minutes_before_end=0))
    assert without[len(MAIN) :] == [
        *[line for line in REST[:-1] if not line.startswith("Needles")],
        "Rate: 500 units/h",
        "Stop before the end: 0 min",
    ]


def test_how_to_give_what_is_not_given_has_no_line() -> None:
    """A bolus that stands there from before heparin was stopped is no order."""
    assert told(ordered(anticoagulant="none", rate_units_h=500))[-1] == "Anticoagulation: none"


@pytest.mark.parametrize(
    ("minutes", "length", "longest"), [(240, "4:00", "4 h"), (245, "4:05", "4 h 5 min"), (59, "0:59", "0 h 59 min")]
)
def test_lengths(minutes: int, length: str, longest: str) -> None:
    lines = {line.label: line.number for line in all_lines(ordered(minutes=minutes, max_minutes=minutes))}
    assert (lines["Length"], lines["Longest allowed"], in_hours(minutes)) == (length, longest, longest)


def test_days_in_the_order_of_the_week_or_how_many() -> None:
    assert days(ordered(weekdays=[6, 0, 3])) == "Monday, Thursday, Sunday"
    assert days(ordered(weekdays=[], days_per_week=3.5)) == "3.5 a week"
    assert days(ordered(weekdays=[], days_per_week=4)) == "4 a week"


def test_when_readings_are_taken_is_one_phrase_and_the_nights_rest_is_part_of_it() -> None:
    quiet = ordered(quiet_at_night=True, reading_interval_minutes=120)
    assert (
        readings_words(quiet) == "10 min after the start, then every 120 min, none from 22:00 to 06:00, while you sleep"
    )
    assert f"Readings: {readings_words(quiet)}" in told(quiet)
