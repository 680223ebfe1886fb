"""What stands around a record is read with few questions, and nothing is taken for what it is not."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from dosing.science.adequacy import POST_SAMPLES
from dosing.services.night.inputs import SAMPLE_WORDS, age_on, at_treatment_flow, gather, record_after, record_before
from sessions.models import AccessSite, Patient, PostSampleMethod, Prescription
from tests.dosing.made_up import reading
from tests.factories import A_NIGHT, AccessFactory, BloodFactory, record_night

TWO_DAYS = timedelta(days=2)


@pytest.mark.django_db
def test_everything_around_a_record_is_gathered(
    ana: Patient, anas_prescription: Prescription, anas_sites: list[AccessSite]
) -> None:
    last = record_night(ana, A_NIGHT - TWO_DAYS)
    rows = [
        {"site": anas_sites[0].pk, "use": "arterial", "bleeding_minutes": 4},
        {"site": anas_sites[1].pk, "use": "venous", "bleeding_minutes": 9},
    ]
    record = record_night(ana, readings=2, sites=rows)
    BloodFactory(patient=ana, treatment=record, value=25)
    BloodFactory(patient=ana, treatment=record, value=8, timing="post", post_method="slow_flow")
    BloodFactory(patient=ana, treatment=record, value=5, analyte="2823-3")
    found = gather(record)
    assert (found.prescription, found.last_record, found.access_kind) == (anas_prescription, last, "fistula")
    assert (found.urea_pre, found.urea_post, found.post_sample) == (25, 8, "slow_flow")
    assert (len(found.readings), found.longest_bleeding, found.days_since_last) == (2, 9, 2)


@pytest.mark.django_db
def test_a_bare_record_has_nothing_around_it(ana: Patient) -> None:
    found = gather(record_night(ana, readings=0))
    assert (found.prescription, found.last_record, found.access_kind) == (None, None, "")
    assert (found.urea_pre, found.urea_post, found.post_sample) == (None, None, "unprotected")
    assert (found.readings, found.longest_bleeding, found.days_since_last) == ([], None, None)


@pytest.mark.django_db
@pytest.mark.parametrize("readings", [1, 30])
def test_it_asks_a_fixed_number_of_times(ana: Patient, readings: int, django_assert_num_queries: Any) -> None:
    record = record_night(ana, readings=readings)
    with django_assert_num_queries(6):
        gather(record)


@pytest.mark.django_db
def test_before_and_after_are_the_same_patients_in_order_of_start(ana: Patient, ben: Patient) -> None:
    first, third = record_night(ana, A_NIGHT - TWO_DAYS), record_night(ana, A_NIGHT + TWO_DAYS)
    second = record_night(ana, A_NIGHT)
    record_night(ben, A_NIGHT + timedelta(days=1))
    assert record_before(ana, second.started_at) == first
    assert record_after(second) == third
    assert record_before(ana, first.started_at) is None
    assert record_after(third) is None


@pytest.mark.django_db
def test_the_access_is_the_one_there_was_that_night(ana: Patient) -> None:
    AccessFactory(patient=ana, kind="catheter", created_on=date(2025, 1, 1), abandoned_on=date(2026, 2, 1))
    AccessFactory(patient=ana, kind="fistula", created_on=date(2026, 1, 15))
    before, after = record_night(ana, A_NIGHT - timedelta(days=60)), record_night(ana, A_NIGHT)
    assert [gather(record).access_kind for record in (before, after)] == ["catheter", "fistula"]


def test_how_a_sample_was_drawn_is_called_as_the_science_calls_it() -> None:
    assert set(SAMPLE_WORDS) == set(PostSampleMethod)
    assert set(SAMPLE_WORDS.values()) <= set(POST_SAMPLES)


@pytest.mark.parametrize(
    ("flows", "counted"),
    [
        ([300, 300, 300], [300, 300, 300]),
        ([150, 300, 300, 310], [300, 300, 310]),
        ([270, 300, 330], [270, 300, 330]),
        ([269, 300, 331], [300]),
        ([None, 300], [300]),
        ([0, 300], [300]),
        ([None, None], []),
        ([], []),
    ],
)
def test_readings_at_the_flow_of_the_treatment(flows: list[float | None], counted: list[float]) -> None:
    readings = [reading(number, qb_ml_min=flow) for number, flow in enumerate(flows)]
    assert [each.qb_ml_min for each in at_treatment_flow(readings)] == counted


def test_age_in_years() -> None:
    assert age_on(date(1970, 5, 17), date(2026, 5, 17)) == pytest.approx(56, abs=0.003)
