"""The machine's clearance that falls over weeks, from the records to the alert, and what must not look like a fall."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.test.utils import CaptureQueriesContext

from alerts.services.evaluation import evaluate_pending
from alerts.services.long_course import long_courses_of
from alerts.showing.alert_words import sentence_of
from dosing.science.body import total_body_water_watson
from sessions.models import Patient, Prescription
from tests.alerts.builders import DAY, alerts_of
from tests.alerts.made_nights import scattered
from tests.factories import A_NIGHT, DialyserFactory, PrescriptionFactory, record_night

STEADY = scattered(1, 1.20, 0.04, 60)
FALL = scattered(1, 1.20, 0.04, 60, slope=-0.012, flat=40)
END = A_NIGHT + 59 * 2 * DAY + timedelta(hours=12)


def recorded(patient: Patient, shown: list[float], *, minutes: list[int] | None = None, **more: Any) -> None:
    """One night every other day with the Kt/V that its machine showed, all evaluated at the end."""
    for index, ktv in enumerate(shown):
        length = minutes[index] if minutes else 240
        record_night(patient, A_NIGHT + index * 2 * DAY, minutes=length, machine_ktv=round(ktv, 2), **more)
    evaluate_pending(at=END, limit=5)


@pytest.mark.usefixtures("anas_prescription")
def test_a_fall_over_weeks_is_one_alert_at_the_flow_it_holds_for(ana: Patient) -> None:
    recorded(ana, FALL)
    (alert,) = alerts_of("dose_drift")
    assert sentence_of(alert).startswith("Clearance by the machine down ")
    assert "at 300 mL/min" in sentence_of(alert)
    assert len(alert.evidence) == 20
    assert {row["kind"] for row in alert.evidence} == {"trend.clearance"}


@pytest.mark.usefixtures("anas_prescription")
def test_a_steady_machine_is_silent_though_treatments_grow_shorter(ana: Patient) -> None:
    shorter = [240] * 40 + [180] * 20
    recorded(ana, [ktv * each / 240 for ktv, each in zip(STEADY, shorter, strict=True)], minutes=shorter)
    assert alerts_of("dose_drift") == []


def test_another_dialyser_begins_a_new_usual(ana: Patient) -> None:
    change = A_NIGHT + 79 * DAY
    PrescriptionFactory(patient=ana, version=1, in_force=DateTimeTZRange(A_NIGHT - 99 * DAY, change))
    PrescriptionFactory(
        patient=ana, version=2, in_force=DateTimeTZRange(change, None), dialyser=DialyserFactory(name="Other 14")
    )
    recorded(ana, [1.20, 1.22] * 20 + [0.95, 0.97] * 10)
    assert alerts_of("dose_drift") == []


def test_the_same_step_without_that_change_is_told(ana: Patient, anas_prescription: Prescription) -> None:
    recorded(ana, [1.20, 1.22] * 20 + [0.95, 0.97] * 10)
    assert len(alerts_of("dose_drift")) == 1


def test_clearance_is_kt_over_v_by_one_volume_whatever_the_weight(
    ana: Patient, anas_prescription: Prescription
) -> None:
    """By hand: 1.2 in 240 min at V is 5 V mL/min, V in litres; the same 5 V on a night that ends 3 kg heavier."""
    for index, weight in enumerate((70.0, 73.0)):
        record_night(ana, A_NIGHT + index * 2 * DAY, machine_ktv=1.2, pre_weight_kg=weight + 2, post_weight_kg=weight)
    age = (END.date() - ana.birth_date).days / 365.25
    volume = total_body_water_watson(sex=ana.sex, age_years=age, height_cm=ana.height_cm, weight_kg=70).number
    assert volume is not None
    found = [
        point.values["clearance"] for point in long_courses_of([ana], {ana.pk: [anas_prescription]}, at=END)[ana.pk]
    ]
    assert found == pytest.approx([5 * volume, 5 * volume])


@pytest.mark.parametrize("changes", [{"machine_ktv": None}, {"machine_ktv": 1.2, "minutes": 45}])
def test_without_a_figure_or_with_a_treatment_broken_off_the_night_says_nothing(
    ana: Patient, anas_prescription: Prescription, changes: dict[str, Any]
) -> None:
    record_night(ana, **changes)
    (point,) = long_courses_of([ana], {ana.pk: [anas_prescription]}, at=END)[ana.pk]
    assert "clearance" not in point.values


def test_a_course_is_read_in_the_same_queries_however_long(ana: Patient, anas_prescription: Prescription) -> None:
    counts = []
    for nights in (range(2), range(2, 8)):
        for index in nights:
            record_night(ana, A_NIGHT + index * 2 * DAY, machine_ktv=1.2)
        with CaptureQueriesContext(connection) as asked:
            assert len(long_courses_of([ana], {ana.pk: [anas_prescription]}, at=END)[ana.pk]) == nights.stop
        counts.append(len(asked))
    assert counts[0] == counts[1] > 0
