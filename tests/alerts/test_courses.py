"""The small course of weight and pressures: where lines lie and break, and the words for who does not see it."""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from alerts.limits.book import LimitBook
from alerts.showing.courses import CourseChart, charts_of
from alerts.showing.patient_charts import charts_of_patient
from dosing.services.night.treatments import nights_of
from sessions.models import Patient
from tests.alerts.test_triage_page import text_of
from tests.factories import PrescriptionFactory, record_night

DAY = timedelta(days=1)
PRESSURES: list[dict[str, Any]] = [
    {"post_weight_kg": 70.0, "pre_systolic": 150},
    {"post_weight_kg": None, "pre_systolic": 140},
    {"post_weight_kg": 71.0, "pre_systolic": 160},
]


def drawn(patient: Patient) -> list[CourseChart]:
    now = timezone.now()
    nights = nights_of(patient.pk, since=now - 45 * DAY, until=now + DAY)
    return charts_of(charts_of_patient(nights, dosed=[], bloods=[], book=LimitBook()))


@pytest.fixture
def three(ana: Patient) -> Patient:
    PrescriptionFactory(patient=ana, version=1)
    for days, changes in zip((9, 6, 3), PRESSURES, strict=True):
        record_night(ana, timezone.now() - days * DAY, **changes)
    return ana


def test_what_is_unknown_breaks_the_line_and_draws_no_point(three: Patient) -> None:
    weight, pressure, _length = drawn(three)
    after = next(line for line in weight.lines if line.name == "after")
    assert len(after.dots) == 2
    assert after.path.count("M") == 2
    assert next(line for line in pressure.lines if line.name == "before").path.count("M") == 1
    assert [line.kind for line in weight.lines] == ["course-second", "course-first", "course-level"]


def test_a_higher_value_lies_higher_and_the_later_one_further_right(three: Patient) -> None:
    before = next(line for line in drawn(three)[1].lines if line.name == "before")
    assert [dot.x for dot in before.dots] == sorted(dot.x for dot in before.dots)
    assert before.dots[2].y < before.dots[0].y < before.dots[1].y


def test_names_never_lie_over_each_other(three: Patient) -> None:
    for chart in drawn(three):
        places = sorted(line.name_y for line in chart.lines)
        assert all(b - a >= 11.9 for a, b in pairwise(places))
        assert places[-1] <= chart.height


def test_the_words_say_what_is_drawn(three: Patient, nurse_client: Client) -> None:
    weight, pressure, _length = drawn(three)
    assert weight.words.startswith("Weight and target, kg: 3 days from ")
    assert "after from 70.0 to 71.0, the last 71.0." in weight.words
    assert "target 70.0." in weight.words
    assert "before from 140 to 160, the last 160." in pressure.words
    page = nurse_client.get(f"/triage/{three.pk}/picture/").content.decode()
    assert page.count('role="img"') >= 2
    assert weight.words in page
    assert "Given in the last weeks:" not in page
    at = timezone.now() - DAY
    iron = {"name": "Iron", "amount": 50, "unit": "mg", "note": "", "at": at.isoformat()}
    record_night(three, at, medicines=[iron])
    assert "Given in the last weeks: Iron 50 mg" in text_of(nurse_client.get(f"/triage/{three.pk}/picture/"))


def test_one_treatment_is_no_course(ana: Patient) -> None:
    PrescriptionFactory(patient=ana, version=1)
    record_night(ana, timezone.now() - DAY)
    assert drawn(ana) == []
