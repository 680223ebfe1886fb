"""The patient's page for staff: prescription, bloods, charts and treatments, at a fixed number of queries."""

from __future__ import annotations

import json
import re
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from dosing.services.night.computing import compute
from homedialysis.accounts.models import Unit
from sessions.models import Patient, Prescription
from tests.factories import BloodFactory, record_night

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)


def lately(days: float = 1) -> datetime:
    return (timezone.now() - days * DAY).replace(microsecond=0)


def nights(patient: Patient, count: int, **changes: Any) -> None:
    for day in range(count):
        start = lately(day + 1)
        compute(record_night(patient, start, at=start + DAY, **changes), at=start + DAY)


def page_of(client: Client, patient: Patient, **query: str) -> Any:
    page = client.get(f"/patients/{patient.pk}/", query)
    assert page.status_code == 200
    return page


def test_it_shows_what_is_prescribed_and_what_was_done(
    nurse_client: Client, ana: Patient, anas_prescription: Prescription
) -> None:
    nights(ana, 1)
    text = page_of(nurse_client, ana).content.decode()
    for words in ("Ana Verdemar", ana.hospital_number, "Fenrow 17", "Monday, Wednesday, Friday", "8.2"):
        assert words in text


@pytest.mark.parametrize("count", [1, 30])
def test_it_asks_a_fixed_number_of_times(
    nurse_client: Client,
    ana: Patient,
    anas_prescription: Prescription,
    count: int,
    django_assert_num_queries: Any,
) -> None:
    nights(ana, count)
    for days in range(count):
        BloodFactory(patient=ana, drawn_at=lately(days))
    page_of(nurse_client, ana)
    with django_assert_num_queries(18):
        page = page_of(nurse_client, ana)
    assert len(page.context["rows"]) == count


def test_an_unknown_figure_says_why_and_is_no_zero(nurse_client: Client, ana: Patient) -> None:
    nights(ana, 1, post_weight_kg=None)
    text = page_of(nurse_client, ana).content.decode()
    assert "unknown: weight after is not given" in text
    assert "unknown: last weight after is not given" in text


def test_a_night_that_was_not_computed_yet_says_so(nurse_client: Client, ana: Patient) -> None:
    record_night(ana, lately(), at=timezone.now())
    assert "unknown: not computed yet" in page_of(nurse_client, ana).content.decode()


def test_charts_come_as_data_and_leave_out_what_is_still_open(nurse_client: Client, ana: Patient) -> None:
    nights(ana, 2)
    record_night(ana, lately(0.1), at=timezone.now(), status="open", ended_at=None, readings=0)
    text = page_of(nurse_client, ana).content.decode()
    assert "Still open" in text
    [part] = re.findall(r'hx-get="(/patients/[^"]+/charts/[^"]+)"', text)
    charts = nurse_client.get(part).content.decode()
    found = re.findall(r'<script id="(figure-[a-z-]+)" type="application/json">(.*?)</script>', charts)
    assert len(found) == 5
    assert {len(line["x"]) for _, figure in found for line in json.loads(figure)["data"]} == {2}
    assert 'src="/static/plotly/plotly.min.js"' in text


def test_plotly_is_not_loaded_for_nothing(nurse_client: Client, ana: Patient) -> None:
    text = page_of(nurse_client, ana).content.decode()
    assert "plotly" not in text
    assert "No treatment recorded in this time." in text


@pytest.mark.parametrize(("given", "days"), [("30", 30), ("365", 365), ("31", 90), ("x", 90), ("", 90), ("²", 90)])
def test_the_period_is_one_of_four(nurse_client: Client, ana: Patient, given: str, days: int) -> None:
    assert page_of(nurse_client, ana, days=given).context["days"] == days


def test_older_nights_are_behind_the_period(nurse_client: Client, ana: Patient) -> None:
    record_night(ana, lately(100), at=timezone.now())
    assert len(page_of(nurse_client, ana).context["nights"]) == 0
    assert len(page_of(nurse_client, ana, days="182").context["nights"]) == 1


def test_thirty_rows_a_page_newest_first_and_any_number_is_answered(nurse_client: Client, ana: Patient) -> None:
    for day in range(31):
        record_night(ana, lately(day + 1), at=timezone.now(), readings=0)
    starts = [row["night"].record.started_at for row in page_of(nurse_client, ana).context["rows"]]
    assert starts == sorted(starts, reverse=True)
    rows = {page: len(page_of(nurse_client, ana, page=page).context["rows"]) for page in ("1", "2", "99", "x", "-1")}
    assert rows == {"1": 30, "2": 1, "99": 1, "x": 30, "-1": 1}


def test_only_the_newest_of_each_result_is_shown(nurse_client: Client, ana: Patient, ben: Patient) -> None:
    BloodFactory(patient=ana, value=19, drawn_at=lately(9))
    BloodFactory(patient=ana, value=25.5, drawn_at=lately(2))
    BloodFactory(patient=ana, value=8, timing="post", drawn_at=lately(2))
    BloodFactory(patient=ben, value=33)
    rows = page_of(nurse_client, ana).context["bloods"]
    assert [(row["name"], row["value"], row["unit"]) for row in rows] == [
        ("Urea", "8", "mmol/L"),
        ("Urea", "25.5", "mmol/L"),
    ]


@pytest.mark.parametrize(
    ("analyte", "value", "si", "us"),
    [
        ("22664-7", 25.0, "25 mmol/L", "70 mg/dL urea nitrogen"),
        ("14682-9", 1234.0, "1234 µmol/L", "14 mg/dL"),
        ("2276-4", 1500.0, "1500 µg/L", "1500 ng/mL"),
        ("718-7", 112.0, "112 g/L", "11.2 g/dL"),
    ],
)
def test_results_are_shown_in_the_units_of_the_unit(
    nurse_client: Client, unit: Unit, ana: Patient, analyte: str, value: float, si: str, us: str
) -> None:
    BloodFactory(patient=ana, analyte=analyte, value=value)
    for system, shown in (("si", si), ("us", us)):
        Unit.objects.update(unit_system=system)
        (row,) = page_of(nurse_client, ana).context["bloods"]
        assert f"{row['value']} {row['unit']}" == shown
