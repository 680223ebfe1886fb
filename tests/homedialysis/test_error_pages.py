"""The pages for what went wrong: they stand without a person, a unit or a database."""

from __future__ import annotations

import pytest
from django.test import Client, RequestFactory
from django.views.defaults import server_error

from homedialysis.accounts.models import Unit


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
