"""The page of a target weight: one axis of days, what changed it, what each brought."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.test import Client

from dosing.services.decision.target_weight import TOLD, target_weight
from sessions.models import Event, Patient, Prescription, TreatmentRecord
from tests.factories import PrescriptionFactory, record_night

pytestmark = pytest.mark.django_db
FIRST, LAST = date(2026, 3, 1), date(2026, 3, 31)


def night(person: Patient, day: int, order: Prescription, **changes: Any) -> TreatmentRecord:
    record = record_night(person, datetime(2026, 3, day, 20, tzinfo=UTC))
    TreatmentRecord.objects.filter(pk=record.pk).update(prescription=order, **changes)
    return record


@pytest.fixture
def two_targets(ana: Patient) -> Patient:
    begins = datetime(2026, 3, 10, tzinfo=UTC)
    first = PrescriptionFactory(
        patient=ana, version=1, target_weight_kg=70, in_force=(datetime(2025, 1, 1, tzinfo=UTC), begins)
    )
    second = PrescriptionFactory(
        patient=ana, version=2, target_weight_kg=69.5, in_force=(begins, None), dialyser=first.dialyser
    )
    night(ana, 3, first, post_weight_kg=70.2, pre_systolic=150, post_systolic=130)
    night(ana, 5, first, post_weight_kg=70.0, pre_systolic=154, post_systolic=134)
    dropped = night(ana, 12, second, post_weight_kg=69.6, pre_systolic=140, post_systolic=None)
    Event.objects.create(record=dropped, at=datetime(2026, 3, 12, 22, tzinfo=UTC), kind="hypotension")
    return ana


def test_each_target_weight_says_what_it_brought(two_targets: Patient) -> None:
    found = target_weight(two_targets, FIRST, LAST)
    newest, older = found.periods
    assert (older.target, older.nights, older.post, older.pressures, older.noted) == (
        "70.0 kg", 2, "70.1 kg", "152 → 132", "nothing",
    )  # fmt: skip
    assert (newest.target, newest.post, newest.pressures, newest.noted) == (
        "69.5 kg", "69.6 kg", "140 → –", "Low blood pressure 1",
    )  # fmt: skip
    assert [each.line for each in found.marks] == ["A, 10 March 2026: target 70.0 → 69.5 kg"], "the day of the order"


def test_all_charts_have_one_axis_and_the_same_marks(two_targets: Patient) -> None:
    charts = target_weight(two_targets, FIRST, LAST).charts
    assert len(charts) == 3
    assert len({(chart.width, tuple(chart.marks), tuple(chart.months)) for chart in charts}) == 1
    weights, _pressures, noted = charts
    assert len(weights.levels) == 2
    (drop,) = noted.series[0].dots
    assert (len(noted.ticks), {words for _y, words in noted.ticks}) == (len(TOLD), {""}), (
        "no number to take for a count"
    )
    assert drop[1] == min(y for y, _words in noted.ticks), "low pressure is the lane on top"
    assert noted.title.startswith("Noted, a lane each from the top: Low blood pressure, Cramp")
    assert drop[0] > weights.marks[0][0], "after the day from which the new target held"


def test_the_page_says_where_nothing_is_known(nephrologist_client: Client, ana: Patient) -> None:
    page = nephrologist_client.get(f"/patients/{ana.pk}/target-weight/?days=91").content.decode()
    assert "No treatment in this time has a weight or a pressure." in page
