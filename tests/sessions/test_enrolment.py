"""Patients come in by the staff's hand, and sign in by a link that works once."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client

from homedialysis.accounts.models import Invitation, Role, User
from homedialysis.accounts.services.invitations import NotInvitable
from sessions.models import CarePartner, Patient
from sessions.services.enrolment import invite_care_partner, invite_patient
from tests.crowd import ours
from tests.factories import PatientFactory, UserFactory

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
NEW = {"new_password1": "a quiet river at dawn", "new_password2": "a quiet river at dawn"}
PERSON = {
    "name": "Cleo Marsh",
    "hospital_number": "H777",
    "birth_date": "1961-02-03",
    "sex": "female",
    "height_cm": "164",
    "joined_on": "2026-03-01",
}


@pytest.fixture
def cleo(unit: Any) -> Patient:
    return PatientFactory(name="Cleo Marsh", account=None)


def link_on(page: Any) -> str:
    """The path of the one-time link that a page shows."""
    assert page.status_code == 200
    found = re.search(r"http://testserver(/join/[\w-]+/)", page.content.decode())
    assert found, page.context["form"].errors
    assert 'role="img" aria-label="The same link, for the camera of a phone"' in page.content.decode()
    return found[1]


def invited(client: Client, patient: Patient, email: str = "cleo@example.org") -> str:
    return link_on(client.post(f"/patients/{patient.pk}/invite/", {"email": email}))


def test_a_nurse_takes_a_patient_in(nurse_client: Client) -> None:
    answer = nurse_client.post("/patients/new/", PERSON)
    patient = ours(Patient).get()
    assert (answer.status_code, answer.headers["Location"]) == (302, f"/patients/{patient.pk}/access/")
    assert (patient.name, patient.height_cm, patient.account) == ("Cleo Marsh", 164, None)


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"height_cm": "16.4"}, "height_cm", "between 60 and 250 cm; 16.4 was given"),
        ({"birth_date": "2099-01-01"}, "birth_date", "1 Jan 2099 was given"),
        ({"time_zone": "Mars/Olympus"}, "time_zone", "valid choice"),
        ({"name": ""}, "name", "required"),
        ({"sex": "x"}, "sex", "valid choice"),
    ],
)
def test_what_cannot_be_is_refused(nurse_client: Client, changes: dict[str, str], field: str, words: str) -> None:
    page = nurse_client.post("/patients/new/", PERSON | changes)
    assert page.status_code == 200
    assert words in page.context["form"].errors[field][0]
    assert not ours(Patient).exists()


def test_a_hospital_number_belongs_to_one(nurse_client: Client) -> None:
    nurse_client.post("/patients/new/", PERSON)
    page = nurse_client.post("/patients/new/", PERSON | {"name": "Somebody else"})
    assert "hospital_number" in page.context["form"].errors


def test_the_link_lets_the_patient_in_once(nurse_client: Client, cleo: Patient) -> None:
    link, phone = invited(nurse_client, cleo), Client()
    assert "Cleo Marsh" in phone.get(link).content.decode()
    answer = phone.post(link, NEW)
    assert (answer.status_code, answer.headers["Location"]) == (302, "/")
    assert phone.get("/tonight/").status_code == 200
    cleo.refresh_from_db()
    assert cleo.account is not None
    assert (cleo.account.role, cleo.account.is_active) == (Role.PATIENT, True)
    assert cleo.account.check_password(NEW["new_password1"])
    for again in (Client().get(link), Client().post(link, NEW)):
        assert again.status_code == 410


def test_looking_at_a_link_does_not_use_it_up(nurse_client: Client, cleo: Patient) -> None:
    link = invited(nurse_client, cleo)
    Client().get(link)
    assert Client().post(link, NEW).status_code == 302


def test_nobody_signs_in_before_the_link_was_used(nurse_client: Client, cleo: Patient) -> None:
    invited(nurse_client, cleo)
    account = User.objects.get(email="cleo@example.org")
    assert not account.is_active
    assert not account.has_usable_password()


def test_only_the_hash_of_a_link_is_kept(nurse_client: Client, cleo: Patient) -> None:
    secret = invited(nurse_client, cleo).split("/")[2]
    assert secret not in str(ours(Invitation).values().get())


def test_a_link_holds_for_seven_days(nurse_client: Client, cleo: Patient) -> None:
    with time_machine.travel(NOON, tick=False) as clock:
        link = invited(nurse_client, cleo)
        clock.shift(timedelta(days=7, seconds=-1))
        assert Client().get(link).status_code == 200
        clock.shift(timedelta(seconds=1))
        assert Client().get(link).status_code == 410
        assert Client().post(link, NEW).status_code == 410
    assert not User.objects.get(email="cleo@example.org").is_active


def test_a_new_link_makes_the_old_one_useless(nurse_client: Client, cleo: Patient) -> None:
    old, new = invited(nurse_client, cleo), invited(nurse_client, cleo)
    assert Client().get(old).status_code == 410
    assert Client().post(new, NEW).status_code == 302
    assert ours(User).filter(role=Role.PATIENT).count() == 1


@pytest.mark.parametrize("password", ["short", "cleo@example.org", "password12345678"[:12], "a quiet river at dusk"])
def test_a_weak_or_mistyped_password_does_not_use_the_link_up(
    nurse_client: Client, cleo: Patient, password: str
) -> None:
    link = invited(nurse_client, cleo)
    page = Client().post(link, {"new_password1": password, "new_password2": password.replace("dusk", "dawn")})
    assert page.status_code == 200
    assert page.context["form"].errors
    assert Client().post(link, NEW).status_code == 302


@pytest.mark.parametrize("secret", ["x", "a" * 43, "%00", "ünicode"])
def test_a_made_up_link_is_over(unit: Any, secret: str) -> None:
    page = Client().get(f"/join/{secret}/")
    assert page.status_code == 410
    assert "testserver" not in page.content.decode()


def test_who_signs_in_already_is_not_invited_again(nurse_client: Client, ana: Patient) -> None:
    page = nurse_client.post(f"/patients/{ana.pk}/invite/", {"email": "ana@example.org"})
    assert "signs in already" in page.context["form"].errors["email"][0]
    assert page.context["link"] == ""


def test_an_address_in_use_is_refused_and_nothing_is_left_behind(
    nurse: User, nurse_client: Client, cleo: Patient, ana: Patient
) -> None:
    for taken in ("ana@example.org", nurse.email, nurse.email.upper()):
        page = nurse_client.post(f"/patients/{cleo.pk}/invite/", {"email": taken})
        assert "already has an account" in page.context["form"].errors["email"][0]
    cleo.refresh_from_db()
    assert cleo.account is None
    assert not ours(Invitation).exists()


def test_an_address_of_another_patient_who_has_not_come_yet_is_refused(nurse: User, cleo: Patient, unit: Any) -> None:
    dov = PatientFactory(name="Dov", account=None)
    invite_patient(patient=cleo, email="one@example.org", by=nurse, at=NOON)
    with pytest.raises(NotInvitable, match="belongs to another patient"):
        invite_patient(patient=dov, email="one@example.org", by=nurse, at=NOON)


def test_a_care_partner_comes_in_and_may_help_two(
    nurse: User, nurse_client: Client, ana: Patient, ben: Patient
) -> None:
    fields = {"partner-email": "rui@example.org", "partner-name": "Rui"}
    link = link_on(nurse_client.post(f"/patients/{ana.pk}/invite/", fields))
    invite_care_partner(patient=ben, email="rui@example.org", name="Rui", by=nurse, at=NOON)
    assert Client().get(link).status_code == 410, "the newest link is the one that works"
    rui = User.objects.get(email="rui@example.org")
    assert (rui.role, CarePartner.objects.filter(user=rui).count()) == (Role.CARE_PARTNER, 2)


def test_a_care_partner_who_signs_in_already_needs_no_link_to_be_told_so(
    nurse_client: Client, partner: User, ben: Patient
) -> None:
    partner.set_password("a quiet river at dawn")
    partner.save()
    fields = {"partner-email": partner.email, "partner-name": partner.name}
    page = nurse_client.post(f"/patients/{ben.pk}/invite/", fields)
    assert page.context["link"] == ""
    assert "has a password already, and sees" in page.content.decode()
    assert ben in Patient.objects.visible_to(partner)


def test_the_sign_up_page_lets_nobody_in(unit: Any) -> None:
    fields = {"email": "stranger@example.org", "password1": "a quiet river at dawn"}
    page = Client().post("/accounts/signup/", fields)
    assert page.status_code == 200
    assert not ours(User).exists()


def test_one_link_used_twice_at_the_same_moment_lets_one_in(nurse: User, cleo: Patient) -> None:
    """The second of two, having found the link unused, finds it used when its turn comes."""
    from homedialysis.accounts.services import invitations

    secret = invite_patient(patient=cleo, email="cleo@example.org", by=nurse, at=NOON)
    found = [invitations.open_invitation(secret=secret, at=NOON) for _ in range(2)]
    assert found[0] is not None
    assert found[1] is not None
    invitations.accept(invitation=found[0], password="first to come first served", at=NOON)
    with pytest.raises(NotInvitable, match="has been used"):
        invitations.accept(invitation=found[1], password="second to come", at=NOON)
    assert found[0].user.__class__.objects.get(pk=found[0].user.pk).check_password("first to come first served")


def test_the_page_of_the_second_says_that_the_link_is_over(
    nurse_client: Client, cleo: Patient, monkeypatch: pytest.MonkeyPatch
) -> None:
    from homedialysis.accounts.services import invitations

    link = invited(nurse_client, cleo)
    stale = ours(Invitation).select_related("user").get()
    assert Client().post(link, NEW).status_code == 302
    monkeypatch.setattr(invitations, "open_invitation", lambda **kwargs: stale)
    assert Client().post(link, NEW).status_code == 410


def test_a_role_that_is_none_is_refused(nurse: User) -> None:
    from homedialysis.accounts.services.invitations import invite

    with pytest.raises(NotInvitable, match="“king” is no role; roles are patient"):
        invite(email="x@example.org", name="X", role="king", by=nurse, at=NOON)
    assert not UserFactory._meta.model.objects.filter(email="x@example.org").exists()
