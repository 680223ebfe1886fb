"""The numbers of a record in tables: as declared, in the order declared, and a dash for what nobody noted."""

from __future__ import annotations

from datetime import timedelta

from sessions.facts.fields import READING, TREATMENT
from sessions.models import Patient, Prescription, Reading, TreatmentRecord
from sessions.services.noted_tables import before_and_after, noted, reading_headings, reading_lines
from tests.factories import A_NIGHT, record_night


def test_two_numbers_of_one_pressure_share_a_cell() -> None:
    record = TreatmentRecord(
        pre_weight_kg=72.0, post_weight_kg=70.04, pre_systolic=140.0, pre_diastolic=80.0, post_systolic=128.0,
        post_standing_diastolic=66.0,
    )  # fmt: skip
    table = dict(before_and_after(record))
    assert table["Weight, kg"] == ["72.0", "70.0"]
    assert table["Pressure sitting, mmHg"] == ["140/80", "128/–"]
    assert table["Pressure standing, mmHg"] == ["–", "–/66"]
    assert table["Temperature, °C"] == ["–", "–"]


def test_only_what_was_noted() -> None:
    reading = Reading(venous_mmhg=130.0, arterial_mmhg=0.0)
    assert [str(each) for each in noted(reading, READING)] == ["Arterial 0 mmHg", "Venous 130 mmHg"]
    for one, words in (({"systolic": 130.0}, "130/–"), ({"diastolic": 80.0}, "–/80")):
        assert [str(each) for each in noted(Reading(**one), READING)] == [f"Pressure {words} mmHg"]
    assert noted(TreatmentRecord(), TREATMENT) == []


def test_what_is_prescribed_stands_beside_what_was_set() -> None:
    record = TreatmentRecord(set_temperature_c=35.8, set_uf_l=2.4)
    ordered = Prescription(dialysate_temperature_c=36.5)
    told = {each.label: each.ordered for each in noted(record, TREATMENT, ordered=ordered)}
    assert told == {"Set on the machine": "", "Dialysate temperature, set": "36.5 °C"}
    assert {each.ordered for each in noted(record, TREATMENT)} == {""}


def test_readings_in_the_order_of_time_under_their_headings(ana: Patient) -> None:
    times = [A_NIGHT + timedelta(minutes=minutes) for minutes in (120, 30, 75)]
    rows = [{"at": at.isoformat(), "venous_mmhg": 100 + index} for index, at in enumerate(times)]
    record = record_night(ana, readings=rows)
    place = next(index for index, heading in enumerate(reading_headings()) if heading.startswith("Venous"))
    lines = reading_lines(record)
    assert [(line.reading.at, line.cells[place]) for line in lines] == [
        (times[1], "101"), (times[2], "102"), (times[0], "100")
    ]  # fmt: skip
    assert {len(line.cells) for line in lines} == {len(reading_headings())}
    assert lines[0].cells.count("–") == len(reading_headings()) - 1
