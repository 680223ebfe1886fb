"""The pages for what went wrong: they stand without a person, a unit or a database."""

from __future__ import annotations

from typing import Any

import psycopg
import pytest
from django.db import OperationalError
from django.test import Client, RequestFactory
from django.views.defaults import server_error

from homedialysis.accounts.models import Unit
from sessions.api.treatments import TreatmentList


def test_the_page_for_a_fault_of_ours_needs_nothing() -> None:
    page = server_error(RequestFactory().get("/"))
    assert page.status_code == 500
    assert "use the unit's paper sheet" in page.content.decode()


@pytest.mark.django_db
def test_an_unknown_address_names_whom_to_call(unit: Unit) -> None:
    page = Client().get("/no-such-page/")
    assert page.status_code == 404
    assert f'href="tel:{unit.emergency_number}"' in page.content.decode()


@pytest.mark.django_db
def test_a_patient_before_a_page_of_the_unit_is_told_so(ana_client: Client) -> None:
    page = ana_client.get("/triage/")
    assert page.status_code == 403
    assert "not in a role that may do this" in page.content.decode()


def no_database(*_: Any, **__: Any) -> None:
    raise OperationalError("no connection") from psycopg.OperationalError("no connection")


def our_fault(*_: Any, **__: Any) -> None:
    raise KeyError("a name that is not there")


@pytest.fixture
def answered(nurse_client: Client) -> Client:
    """It is answered as a browser is, also where the server failed."""
    nurse_client.raise_request_exception = False
    return nurse_client


@pytest.mark.django_db
@pytest.mark.parametrize(("fault", "status", "words"), [(no_database, 503, "again later"), (our_fault, 500, "failed")])
def test_a_program_is_answered_in_json_also_where_the_server_failed(
    answered: Client, monkeypatch: pytest.MonkeyPatch, fault: Any, status: int, words: str
) -> None:
    monkeypatch.setattr(TreatmentList, "get", fault)
    answer = answered.get("/api/v1/treatments/")
    assert answer.status_code == status
    assert words in answer.json()["detail"]
    assert answer.headers.get("Retry-After") == ("10" if status == 503 else None)
    assert answer.headers["Cache-Control"] == "no-store"


@pytest.mark.django_db
def test_a_person_before_a_busy_server_is_told_that_nothing_was_saved(
    answered: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Unit.objects.__class__, "current", no_database)
    page = answered.get("/patients/")
    assert page.status_code == 503
    assert "Nothing was saved" in page.content.decode()
    assert page.headers["Retry-After"] == "10"


@pytest.mark.django_db
def test_an_address_that_is_not_there_is_told_to_a_program_in_its_form(nurse_client: Client) -> None:
    answer = nurse_client.get("/api/v1/no-such-thing/")
    assert (answer.status_code, answer.json()["detail"]) == (404, "There is nothing at this address.")
    answer = nurse_client.get("/api/v1/fhir/Nothing/here/at/all/")
    assert answer.status_code == 404
    assert answer.headers["Content-Type"] == "application/fhir+json"
    assert answer.json()["issue"][0]["code"] == "not-found"
