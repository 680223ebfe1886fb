"""What stands around a record is read with few questions, and nothing is taken for what it is not."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from dosing.science.adequacy import POST_SAMPLES
from dosing.science.course import SampleWay
from dosing.services.night.inputs import age_on, at_treatment_flow, gather, records_after
from sessions.models import AccessSite, Patient, Prescription
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
    assert found.weighed_before is not None
    assert found.weighed_before.key == str(last.pk)
    assert (found.prescription, found.treatment.access) == (anas_prescription, "fistula")
    assert found.pair is not None
    assert (found.pair.pre, found.pair.post, found.pair.way) == (25, 8, SampleWay.SLOW_FLOW)
    assert (len(found.readings), found.longest_bleeding, found.gap.days) == (2, 9, 2)


@pytest.mark.django_db
def test_a_bare_record_has_nothing_around_it(ana: Patient) -> None:
    found = gather(record_night(ana, readings=0))
    assert (found.prescription, found.weighed_before, found.treatment.access) == (None, None, "")
    assert (found.pair, found.readings, found.longest_bleeding, found.gap.days) == (None, [], None, None)


@pytest.mark.django_db
@pytest.mark.parametrize("readings", [1, 30])
def test_it_asks_a_fixed_number_of_times(ana: Patient, readings: int, django_assert_num_queries: Any) -> None:
    record = record_night(ana, readings=readings)
    with django_assert_num_queries(15):
        gather(record)


@pytest.mark.django_db
def test_the_next_record_hangs_on_one_and_so_do_those_with_bloods_in_the_half_year_after_it(
    ana: Patient, ben: Patient
) -> None:
    later = [record_night(ana, A_NIGHT + days * timedelta(days=1)) for days in (1, 3, 20, 183, 184)]
    record_night(ben, A_NIGHT + timedelta(days=1))
    for record in later[2:]:
        BloodFactory(patient=ana, treatment=record, drawn_at=record.started_at)
    BloodFactory(patient=ana, treatment=later[1], analyte="2823-3")
    assert records_after(record_night(ana)) == [later[0], later[2], later[3]]
    assert records_after(later[-1]) == []


@pytest.mark.django_db
def test_the_access_is_the_one_there_was_that_night(ana: Patient) -> None:
    AccessFactory(patient=ana, kind="catheter", created_on=date(2025, 1, 1), abandoned_on=date(2026, 2, 1))
    AccessFactory(patient=ana, kind="fistula", created_on=date(2026, 1, 15))
    before, after = record_night(ana, A_NIGHT - timedelta(days=60)), record_night(ana, A_NIGHT)
    assert [gather(record).treatment.access for record in (before, after)] == ["catheter", "fistula"]


def test_how_a_sample_was_drawn_is_called_as_the_science_calls_it() -> None:
    assert {str(way) for way in SampleWay} == set(POST_SAMPLES)


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
