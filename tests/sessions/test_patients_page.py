"""The list of patients for the unit's staff."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from sessions.models import Patient, Prescription
from tests import crowd
from tests.factories import PatientFactory, PrescriptionFactory, record_night
from tests.page_text import laid_flat

pytestmark = pytest.mark.django_db

PAGE = "/patients/"


def names(client: Client, **query: str) -> list[str]:
    page = client.get(PAGE, query)
    assert page.status_code == 200
    return [patient.name for patient, _ in page.context["rows"]]


def test_everybody_in_the_programme_stands_in_order_of_name(nurse_client: Client) -> None:
    PatientFactory(name="Zed")
    PatientFactory(name="Amy")
    PatientFactory(name="Gone", left_on=date(2026, 1, 1))
    assert names(nurse_client) == ["Amy", "Zed", crowd.NAME]


def test_a_row_shows_the_last_night_and_what_is_prescribed(
    nurse_client: Client, ana: Patient, ben: Patient, anas_prescription: Prescription
) -> None:
    now = timezone.now()
    record_night(ana, now - timedelta(days=20), at=now)
    record_night(ana, now - timedelta(days=2), at=now)
    page = nurse_client.get(PAGE)
    assert page.context["rows"][:-1] == [(ana, anas_prescription), (ben, None)]
    assert page.context["rows"][-1][0].name == crowd.NAME
    text = laid_flat(page)
    assert "3 a week, 240 min" in text
    assert "70.0" in text
    assert text.count("Over a week ago") == 1, "hers of the crowd alone"
    assert "none yet" in text


def test_a_patient_who_is_silent_for_a_week_is_marked(nurse_client: Client, ana: Patient) -> None:
    now = timezone.now()
    record_night(ana, now - timedelta(days=8), at=now)
    assert "Over a week ago" in nurse_client.get(PAGE).content.decode()


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        ("verde", ["Ana Verdemar"]),
        ("H90001", ["Ben Okonjo"]),
        ("  ana ", ["Ana Verdemar"]),
        ("nobody", []),
        ("%", []),
        ("_", []),
    ],
)
def test_a_search_by_name_or_number(
    nurse_client: Client, ana: Patient, ben: Patient, wanted: str, found: list[str]
) -> None:
    Patient.objects.filter(pk=ben.pk).update(hospital_number="H90001")
    assert names(nurse_client, q=wanted) == found


def test_what_was_searched_is_shown_as_text(nurse_client: Client, ana: Patient) -> None:
    page = nurse_client.get(PAGE, {"q": "<script>alert(1)</script>"}).content.decode()
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page


def test_pages_of_fifty_and_any_number_is_answered(nurse_client: Client) -> None:
    PatientFactory.create_batch(50)  # and the one of the crowd
    rows = {page: len(names(nurse_client, page=page)) for page in ("1", "2", "0", "-1", "x", "99")}
    assert rows == {"1": 50, "2": 1, "0": 1, "-1": 1, "x": 50, "99": 1}


@pytest.mark.parametrize("count", [1, 3])
def test_the_list_asks_a_fixed_number_of_times(
    nurse_client: Client, count: int, django_assert_num_queries: Any
) -> None:
    for prescription in PrescriptionFactory.create_batch(count):
        record_night(prescription.patient)
    nurse_client.get(PAGE)
    with django_assert_num_queries(7):  # session, person, unit, hours, count, patients, prescriptions
        assert len(names(nurse_client)) == count + 1  # and the one of the crowd
