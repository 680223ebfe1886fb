"""A patient's nights with their numbers: read in one go, stale ones marked, unknown ones with their reason."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from dosing.models import RecordNumbers
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.night.computing import compute
from dosing.services.night.treatments import ComputedNight, as_night, nights_of
from dosing.services.numbers.kept import KeptNumber
from sessions.models import Patient, TreatmentRecord
from tests.conftest import signed_in
from tests.crowd import ours
from tests.factories import A_NIGHT, night_body, record_night
from tests.over_http import STANDING, put

DAY = timedelta(days=1)


@pytest.mark.django_db
def test_nights_come_oldest_first_from_since_up_to_until(ana: Patient, ben: Patient) -> None:
    for day in (4, 0, 2):
        record_night(ana, A_NIGHT + day * DAY)
    record_night(ben, A_NIGHT + DAY)
    found = nights_of(ana.pk, since=A_NIGHT, until=A_NIGHT + 4 * DAY)
    assert [night.record.started_at for night in found] == [A_NIGHT, A_NIGHT + 2 * DAY]


@pytest.mark.django_db
@pytest.mark.parametrize("count", [1, 3])
def test_they_are_read_with_one_question(
    ana: Patient, anas_prescription: Any, count: int, django_assert_num_queries: Any
) -> None:
    for day in range(count):
        compute(record_night(ana, A_NIGHT + day * DAY), at=A_NIGHT)
    with django_assert_num_queries(1):
        found = nights_of(ana.pk, since=A_NIGHT, until=A_NIGHT + 9 * DAY)
        assert [night.value("uf_volume") for night in found] == [2.3] * count
        assert [night.prescription for night in found] == [anas_prescription] * count


@pytest.mark.django_db
def test_a_night_is_stale_until_its_numbers_are_of_its_revision(ana: Patient) -> None:
    record = record_night(ana)
    assert as_night(record).stale
    assert as_night(record).why("uf_rate") == "not computed yet"
    assert as_night(record).figure("uf_rate").value is None
    compute(record, at=A_NIGHT)
    assert not as_night(ours(TreatmentRecord).get()).stale
    put(signed_in(ana.account), record.pk, night_body(notes="x"), STANDING)
    assert as_night(ours(TreatmentRecord).get()).stale
    compute(ours(TreatmentRecord).get(), at=A_NIGHT)
    assert not as_night(ours(TreatmentRecord).get()).stale


@pytest.mark.django_db
def test_who_sees_a_record_sees_its_numbers(ana: Patient, ben: Patient, nurse: Any) -> None:
    compute(record_night(ana), at=A_NIGHT)
    seen = [ours(RecordNumbers).visible_to(user).count() for user in (ana.account, ben.account, nurse)]
    assert seen == [1, 0, 1]


@pytest.mark.parametrize(
    ("key", "value", "shown", "unit"),
    [
        ("uf_rate", 10.04, "10.0", "mL/kg/h"),
        ("uf_volume", 2.345, "2.35", "L"),
        ("off_target", -0.449, "−0.4", "kg"),
        ("arterial_median", -145.0, "−145", "mmHg"),
        ("uf_rate", 0.0, "0.0", "mL/kg/h"),
        ("single_pool_ktv", 1.357, "1.36", ""),
        ("standard_ktv", 2.1, "2.10", "1/wk"),
        ("venous_median", None, "unknown", "mmHg"),
    ],
)
def test_a_figure_is_written_with_its_decimals_and_a_true_minus(
    key: str, value: float | None, shown: str, unit: str
) -> None:
    figure = KeptNumber(NIGHT_NUMBERS[key], {"value": value, "why": None})
    assert (figure.shown, figure.unit) == (shown, unit)


def test_a_night_has_every_figure_in_the_order_of_the_catalogue() -> None:
    night = ComputedNight(
        TreatmentRecord(), {"uf_rate": {"value": 8.2, "why": None, "inputs": {"uf_l": 2.3}}}, stale=False
    )
    assert [figure.number.key for figure in night.figures] == list(NIGHT_NUMBERS)
    assert night.figure("uf_rate").inputs == {"uf_l": 2.3}
    assert [figure.value for figure in night.figures if figure.value is not None] == [8.2]
