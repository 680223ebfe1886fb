"""The page that shows what a record said before it was corrected."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from homedialysis.accounts.models import User
from sessions.models import Patient, TreatmentRecord
from tests.conftest import signed_in
from tests.crowd import ours
from tests.factories import night_body, record_night
from tests.over_http import STANDING, put

pytestmark = pytest.mark.django_db


@pytest.fixture
def corrected(ana: Patient, nurse_client: Client) -> TreatmentRecord:
    record = record_night(ana, readings=0)
    put(nurse_client, record.pk, night_body(readings=0, post_weight_kg=70.4, notes="<b>Scale</b> moved."), STANDING)
    return record


def test_the_newest_version_comes_first_with_what_changed(ana_client: Client, corrected: TreatmentRecord) -> None:
    page = ana_client.get(f"/nights/{corrected.pk}/versions/")
    steps = page.context["versions"]
    assert [step["event"].revision for step in steps] == [2, 1]
    assert steps[0]["changes"] == [
        {"field": "Weight after", "before": "70", "after": "70.4"},
        {"field": "notes", "before": "", "after": "<b>Scale</b> moved."},
    ]
    text = page.content.decode()
    assert "by Nurse Kim" in text
    assert "by Ana Verdemar" in text
    assert "&lt;b&gt;Scale&lt;/b&gt;" in text


def test_a_change_past_the_code_stands_among_them(ana_client: Client, corrected: TreatmentRecord) -> None:
    ours(TreatmentRecord).update(document=corrected.document | {"post_weight_kg": 61.0})
    steps = ana_client.get(f"/nights/{corrected.pk}/versions/").context["versions"]
    assert [step["event"].revision for step in steps] == [2, 2, 1]
    assert {"field": "Weight after", "before": "70.4", "after": "61"} in steps[0]["changes"]


def test_it_is_open_to_whoever_sees_the_record(
    corrected: TreatmentRecord, partner: User, technologist: User, ben_client: Client
) -> None:
    where = f"/nights/{corrected.pk}/versions/"
    assert [signed_in(user).get(where).status_code for user in (partner, technologist)] == [200, 200]
    assert ben_client.get(where).status_code == 404


@pytest.mark.parametrize("corrections", [0, 2])
def test_it_asks_a_fixed_number_of_times(
    ana_client: Client, ana: Patient, corrections: int, django_assert_num_queries: Any
) -> None:
    record = record_night(ana)
    for number in range(corrections):
        put(ana_client, record.pk, night_body(notes=f"{number}"), STANDING)
    ana_client.get(f"/nights/{record.pk}/versions/")
    with django_assert_num_queries(8):  # session, person, unit, hours, record, versions, patient, clock
        page = ana_client.get(f"/nights/{record.pk}/versions/")
    assert len(page.context["versions"]) == corrections + 1
