"""What every answer carries: no cache, a strict policy, the unit's clock, and the way out for a lost fragment."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import Client, RequestFactory
from django.utils import timezone

from homedialysis.accounts.models import Unit, User
from homedialysis.web.middleware import NeverStored, SignedOutFragments, UnitTime
from sessions.models import Patient
from tests.factories import record_night

SIGN_IN = "/accounts/login/"
FRAGMENT = {"HX-Request": "true"}


@pytest.mark.django_db
def test_a_fragment_asked_for_after_signing_out_leaves_the_page(client: Client) -> None:
    answer = client.get("/patients/", headers=FRAGMENT)
    assert (answer.status_code, answer.headers["HX-Redirect"], answer.content) == (204, SIGN_IN, b"")
    assert "Location" not in answer.headers


@pytest.mark.django_db
def test_a_whole_page_is_sent_to_sign_in_and_back(client: Client) -> None:
    answer = client.get("/patients/?page=2")
    assert (answer.status_code, answer.headers["Location"]) == (302, f"{SIGN_IN}?next=/patients/%3Fpage%3D2")


@pytest.mark.django_db
def test_a_fragment_of_somebody_signed_in_is_left_alone(nurse_client: Client, ana: Patient) -> None:
    answer = nurse_client.get("/patients/", headers=FRAGMENT)
    assert answer.status_code == 200
    assert "HX-Redirect" not in answer.headers


def test_another_redirect_of_a_fragment_is_left_alone() -> None:
    elsewhere = SignedOutFragments(lambda request: HttpResponse(status=302, headers={"Location": "/triage/"}))
    answer = elsewhere(RequestFactory().get("/x", headers=FRAGMENT))
    assert (answer.status_code, answer.headers["Location"]) == (302, "/triage/")


def test_answers_are_kept_by_no_cache_unless_they_say_so_themselves() -> None:
    request = RequestFactory().get("/x")
    assert NeverStored(lambda request: HttpResponse())(request).headers["Cache-Control"] == "no-store"
    own = NeverStored(lambda request: HttpResponse(headers={"Cache-Control": "private, max-age=9"}))
    assert own(request).headers["Cache-Control"] == "private, max-age=9"


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["/accounts/login/", "/patients/", "/nope/", "/api/v1/limits/", "/healthz"])
def test_every_kind_of_answer_says_no_store(nurse_client: Client, path: str) -> None:
    assert "no-store" in nurse_client.get(path).headers["Cache-Control"]


@pytest.mark.django_db
def test_pages_show_the_units_clock_and_then_the_patients(nurse_client: Client, unit: Unit, ana: Patient) -> None:
    """21:30 UTC is 22:30 in Lisbon in July and 09:30 of the next day in Auckland."""
    record = record_night(ana, datetime(2026, 7, 1, 21, 30, tzinfo=UTC))
    where = f"/nights/{record.pk}/"
    assert "22:30" in nurse_client.get(where).content.decode()
    Patient.objects.update(time_zone="Pacific/Auckland")
    assert "09:30" in nurse_client.get(where).content.decode()


@pytest.mark.django_db
def test_a_clock_is_put_back_even_when_a_page_fails(unit: Unit, nurse: User) -> None:
    seen: list[str] = []

    def fails(request: Any) -> HttpResponse:
        seen.append(timezone.get_current_timezone_name())
        raise RuntimeError

    request = RequestFactory().get("/x")
    request.user = nurse
    with pytest.raises(RuntimeError):
        UnitTime(fails)(request)
    assert seen == ["Europe/Lisbon"]
    assert timezone.get_current_timezone_name() == "UTC"


@pytest.mark.django_db
def test_a_page_works_before_the_unit_is_set_up(client: Client) -> None:
    User.objects.create_superuser("adi@example.org", "a long phrase for tests", name="Adi")
    assert client.login(email="adi@example.org", password="a long phrase for tests")
    assert client.get("/unit/").status_code == 200


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("who", "home"),
    [
        ("nurse", "/triage/"),
        ("nephrologist", "/months/"),
        ("technologist", "/surroundings/"),
        ("administrator", "/unit/first/"),
        ("partner", "/tonight/"),
    ],
)
def test_each_person_starts_at_the_page_of_their_work(
    client: Client, who: str, home: str, request: pytest.FixtureRequest
) -> None:
    client.force_login(request.getfixturevalue(who))
    assert client.get("/").headers["Location"] == home
