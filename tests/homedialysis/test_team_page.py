"""The team's page: read by all staff, people invited and shut out by the administrator."""

from __future__ import annotations

import re

import pytest
from django.http import HttpResponse
from django.test import Client

from homedialysis.accounts.models import Role, User
from tests.conftest import signed_in
from tests.factories import PASSWORD, UserFactory

pytestmark = pytest.mark.django_db

NEW = {"name": "Nurse Ito", "email": "Ito@Example.org", "role": "nurse"}


@pytest.fixture
def admin_client(administrator: User) -> Client:
    return signed_in(administrator)


def test_all_staff_see_the_team_and_no_patient(nurse_client: Client, nurse: User, partner: User) -> None:
    page = nurse_client.get("/team/")
    assert [person.name for person in page.context["people"]] == ["Nurse Kim"]
    assert "Invite somebody" not in page.content.decode()


def test_nothing_is_said_to_be_missing_before_anybody_typed(admin_client: Client) -> None:
    assert admin_client.get("/team/").context["form"].errors == {}


def test_the_administrator_invites_by_a_link_that_lets_in_once(admin_client: Client) -> None:
    page = admin_client.post("/team/", NEW)
    found = re.search(r"/join/[\w-]+/", page.content.decode())
    assert found
    ito = User.objects.get(email="ito@example.org")
    assert (ito.role, ito.is_active, ito.has_usable_password()) == (Role.NURSE, False, False)
    browser = Client()
    password = {"new_password1": "a quiet river at dawn", "new_password2": "a quiet river at dawn"}
    assert browser.post(found[0], password).status_code == 302
    assert browser.get("/patients/").status_code == 200
    assert Client().get(found[0]).status_code == 410


@pytest.mark.parametrize("role", ["patient", "care_partner", "king", ""])
def test_only_staff_are_invited_here(admin_client: Client, role: str) -> None:
    page = admin_client.post("/team/", NEW | {"role": role})
    assert "role" in page.context["form"].errors
    assert not User.objects.filter(email="ito@example.org").exists()


def test_somebody_who_is_there_is_not_invited_again(admin_client: Client, nurse: User) -> None:
    page = admin_client.post("/team/", NEW | {"email": nurse.email})
    assert "already has an account as nurse" in page.context["form"].errors["email"][0]


def test_invited_again_before_coming_gets_a_new_link_in_the_same_role_only(admin_client: Client) -> None:
    def link(page: HttpResponse) -> str:
        found = re.search(r"/join/[\w-]+/", page.content.decode())
        return found[0] if found else ""

    first = link(admin_client.post("/team/", NEW))
    refused = admin_client.post("/team/", NEW | {"role": "administrator"})
    assert link(refused) == ""
    assert User.objects.get(email="ito@example.org").role == Role.NURSE
    assert Client().get(first).status_code == 200, "a refusal leaves the first link as it is"
    second = link(admin_client.post("/team/", NEW))
    assert (Client().get(first).status_code, Client().get(second).status_code) == (410, 200)


def test_nobody_else_invites(nurse_client: Client) -> None:
    assert nurse_client.post("/team/", NEW).status_code == 403
    assert not User.objects.filter(email="ito@example.org").exists()


def test_the_administrator_shuts_out_and_lets_in(admin_client: Client, nurse: User) -> None:
    nurses = signed_in(nurse)
    where = f"/team/{nurse.pk}/switch/"
    assert admin_client.get(where).status_code == 405
    assert admin_client.post(where).status_code == 302
    assert nurses.get("/patients/").status_code == 302, "at once, not at the next sign-in"
    assert not Client().login(email=nurse.email, password=PASSWORD)
    admin_client.post(where)
    assert Client().login(email=nurse.email, password=PASSWORD)


def test_nobody_shuts_themselves_out(admin_client: Client, administrator: User) -> None:
    page = admin_client.post(f"/team/{administrator.pk}/switch/", follow=True)
    administrator.refresh_from_db()
    assert administrator.is_active
    assert "You cannot shut yourself out." in page.content.decode()


def test_a_patient_is_not_shut_out_here(admin_client: Client) -> None:
    patient = UserFactory(role=Role.PATIENT)
    assert admin_client.post(f"/team/{patient.pk}/switch/").status_code == 404
    patient.refresh_from_db()
    assert patient.is_active


def test_nobody_else_shuts_out(nurse_client: Client, administrator: User) -> None:
    assert nurse_client.post(f"/team/{administrator.pk}/switch/").status_code == 403
