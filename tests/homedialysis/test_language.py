"""In which language the pages speak, and to whom."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from homedialysis.accounts.models import User

pytestmark = pytest.mark.django_db
SPANISH = {"Accept-Language": "es-MX,es;q=0.9,en;q=0.5"}


def test_somebody_not_signed_in_gets_what_the_browser_asks_for(client: Client) -> None:
    assert client.get("/accounts/login/", headers=SPANISH).headers["Content-Language"] == "es"
    assert client.get("/accounts/login/").headers["Content-Language"] == "en"


def test_the_choice_of_a_patient_wins_over_the_browser(ana_client: Client) -> None:
    answer = ana_client.post("/language/", {"language": "es"}, content_type="application/json")
    assert answer.json() == {"language": "es"}
    page = ana_client.get("/devices/", headers={"Accept-Language": "en"})
    assert (page.headers["Content-Language"], '<html lang="es" dir="ltr">' in page.content.decode()) == ("es", True)


def test_a_phone_gets_the_units_texts_in_the_language_of_its_screens(ana_client: Client) -> None:
    ana_client.post("/language/", {"language": "en"}, content_type="application/json")
    asked = {"X-Bedside-Language": "es"}
    kit = ana_client.get("/api/v1/bedside/", headers=asked).json()
    assert (kit["language"], kit["event_kinds"]["cramp"]) == ("es", "Calambre")
    assert ana_client.get("/api/v1/bedside/", headers={"X-Bedside-Language": "tlh"}).json()["language"] == "en"


def test_staff_pages_are_in_english_while_a_language_has_not_all_of_their_words(
    nurse_client: Client, settings: Any
) -> None:
    settings.STAFF_LANGUAGES = ["en"]
    assert nurse_client.get("/triage/", headers=SPANISH).headers["Content-Language"] == "en"


@pytest.mark.parametrize("given", ["tlh", 7, None, ["es"]])
def test_an_unknown_language_is_refused_and_nothing_changes(ana_client: Client, given: object, settings: Any) -> None:
    answer = ana_client.post("/language/", {"language": given}, content_type="application/json")
    assert answer.status_code == 400
    known = ", ".join(code for code, _name in settings.LANGUAGES)
    assert answer.json()["errors"][0]["message"] == f"Language must be one of {known}; {given!r} was given."
    assert not User.objects.exclude(language="").exists()
