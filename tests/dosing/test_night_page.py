"""The page of one night, and of how each of its numbers came about."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.utils.html import escape

from dosing.science import SCIENCE_VERSION
from dosing.services.course import fitted
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.night.computing import compute, numbers_of
from dosing.services.night.working import QUANTITIES
from dosing.templatetags.numbers import in_symbols
from homedialysis.accounts.models import User
from sessions.models import AccessSite, Patient, Prescription, TreatmentRecord
from tests.conftest import signed_in
from tests.crowd import ours
from tests.dosing.made_up import facts
from tests.factories import A_NIGHT, BloodFactory, night_body, record_night
from tests.over_http import STANDING, put


@pytest.fixture
def whole(ana: Patient, anas_prescription: Prescription, anas_sites: list[AccessSite]) -> TreatmentRecord:
    """A night with something of everything, and its numbers."""
    at = A_NIGHT.isoformat()
    record = record_night(
        ana,
        pre_weight_kg=165,
        confirmed=["pre_weight_kg"],
        events=[{"at": at, "kind": "cramp", "note": "<i>left</i> calf"}],
        medicines=[{"at": at, "name": "Heparin", "amount": 2000, "unit": "units"}],
        checks=[{"name": "Total chlorine", "passed": False, "value": 0.15, "unit": "mg/L", "note": "twice"}],
        sites=[{"site": anas_sites[0].pk, "use": "arterial", "attempts": 2, "bleeding_minutes": 6}],
        notes="Slept well.",
    )
    BloodFactory(patient=ana, treatment=record, value=25)
    BloodFactory(patient=ana, treatment=record, value=8, timing="post", post_method="slow_flow")
    compute(record, at=A_NIGHT)
    return record


@pytest.mark.django_db
def test_everything_that_was_noted_stands_on_it(ana_client: Client, whole: TreatmentRecord) -> None:
    text = ana_client.get(f"/nights/{whole.pk}/").content.decode()
    for words in (
        "165.0",
        "70.0",
        "140/80",
        "Cramp",
        "&lt;i&gt;left&lt;/i&gt; calf",
        "Heparin",
        "Total chlorine",
        "not passed",
        "0.15 mg/L",
        "Attempts 2",
        "Bled for 6 min",
        "Slept well.",
        "Weight before: 165",
        "usually between 63 and 77 kg",
        "confirmed when asked",
        "UF rate",
    ):
        assert words in text, words


@pytest.mark.django_db
def test_an_empty_record_shows_dashes_and_reasons(ana_client: Client, ana: Patient) -> None:
    body = {"status": "open", "started_at": A_NIGHT.isoformat()}
    record_id = "5f0c1a52-0000-4000-8000-000000000001"
    put(ana_client, record_id, body)
    compute(ours(TreatmentRecord).get(), at=A_NIGHT)
    text = ana_client.get(f"/nights/{record_id}/").content.decode()
    assert "unknown: fluid removed was not noted" in text
    assert "None" not in text.replace("None noted.", "")
    assert "Go on with this record" in text


@pytest.mark.django_db
def test_before_it_is_computed_it_says_so(ana_client: Client, ana: Patient) -> None:
    record = record_night(ana)
    assert "are being computed" in ana_client.get(f"/nights/{record.pk}/").content.decode()
    compute(record, at=A_NIGHT)
    assert "are being computed" not in ana_client.get(f"/nights/{record.pk}/").content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize("readings", [1, 30])
def test_it_asks_a_fixed_number_of_times(
    ana_client: Client, ana: Patient, readings: int, django_assert_num_queries: Any
) -> None:
    record = record_night(ana, readings=readings)
    compute(record, at=A_NIGHT)
    ana_client.get(f"/nights/{record.pk}/")
    with django_assert_num_queries(13):
        assert len(ana_client.get(f"/nights/{record.pk}/").context["readings"]) == readings


@pytest.mark.django_db
@pytest.mark.parametrize("key", NIGHT_NUMBERS)
def test_how_each_number_came_about(ana_client: Client, whole: TreatmentRecord, key: str) -> None:
    page = ana_client.get(f"/nights/{whole.pk}/numbers/{key}/")
    text, number = page.content.decode(), NIGHT_NUMBERS[key]
    assert page.status_code == 200
    assert page.context["figure"].number == number
    for words in (number.label, str(in_symbols(number.equation)), escape(number.source)):
        assert words in text
    assert page.context["worked"].given or page.context["worked"].table
    assert f"science version {SCIENCE_VERSION}" in text


@pytest.mark.django_db
def test_the_numbers_that_went_in_stand_there_with_unit_and_origin(ana_client: Client, whole: TreatmentRecord) -> None:
    worked = ana_client.get(f"/nights/{whole.pk}/numbers/single_pool_ktv/").context["worked"]
    own = "the record of this treatment, begun on 2 March 2026, 21:30"
    assert [(line.quantity.plain, line.value, line.unit, line.origin) for line in worked.given] == [
        ("Cpre", "25", "mmol/L", "blood drawn on 2 March 2026, 21:30"),
        ("Cpost", "8", "mmol/L", "blood drawn on 2 March 2026, 21:30"),
        ("t", "240", "min", own),
        ("UF", "2", "L", own),
        ("", "the machine's total", "", own),
        ("W", "70", "kg", own),
        ("PIDI", "3", "d", "the prescription in force since 1 January 2025, 00:00"),
        ("", "at slow flow", "", "blood drawn on 2 March 2026, 21:30"),
    ]
    assert [(line.quantity.plain, line.written, line.value) for line in worked.steps] == [
        ("R", "C_post / C_pre", "0.32"),
        ("GFAC", "0.0174 / PIDI", "0.0058"),
    ]
    arterial = ana_client.get(f"/nights/{whole.pk}/numbers/arterial_median/").context["worked"].table
    assert arterial.rows == [["300", "−140"]] * 3


@pytest.mark.django_db
def test_of_a_record_not_computed_yet_nothing_is_made_up(ana_client: Client, ana: Patient) -> None:
    text = ana_client.get(f"/nights/{record_night(ana).pk}/numbers/uf_rate/").content.decode()
    assert "unknown: not computed yet" in text
    assert "science version" not in text


@pytest.mark.django_db
def test_a_number_that_there_is_not_is_404(ana_client: Client, whole: TreatmentRecord) -> None:
    assert ana_client.get(f"/nights/{whole.pk}/numbers/luck/").status_code == 404


def test_everything_that_goes_in_has_words() -> None:
    names = {name for each in numbers_of(facts()).values() for name in each["inputs"]}
    of_the_fit = names & set(fitted.QUANTITIES)
    assert names - set(QUANTITIES) - of_the_fit == {"value", "values"}, "these are called otherwise by each number"
    of_a_collection = {"kidney_age_days", "kidney_measured_ml_min"}  # the night of `facts` has no urine collection
    assert set(QUANTITIES) - names == of_a_collection


def test_where_a_number_is_computed_is_named() -> None:
    for number in NIGHT_NUMBERS.values():
        assert number.function.startswith("dosing."), number.key


@pytest.mark.django_db
def test_a_corrected_record_shows_that_its_figures_are_of_before(ana_client: Client, whole: TreatmentRecord) -> None:
    put(ana_client, whole.pk, night_body(), STANDING)
    assert "are being computed" in ana_client.get(f"/nights/{whole.pk}/").content.decode()


@pytest.mark.django_db
def test_patient_partner_and_staff_see_it_in_their_own_frame(
    whole: TreatmentRecord, ana: Patient, partner: User, technologist: User
) -> None:
    frames = [
        signed_in(user).get(f"/nights/{whole.pk}/").context["base"] for user in (ana.account, partner, technologist)
    ]
    assert frames == ["phone_base.html", "phone_base.html", "unit_base.html"]
