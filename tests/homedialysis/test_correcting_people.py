"""People and patients are corrected, invitations withdrawn and made again, and who leaves hands over."""

from __future__ import annotations

import re
from datetime import date, time
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from alerts.models import Alert, AlertStep, RotaTurn
from alerts.models.choices import StepKind, Urgency
from dosing.models import PatientMonth
from dosing.services.month.computing import compute_month
from homedialysis.accounts.models import Role, User
from homedialysis.accounts.services.invitations import invite, open_invitation
from sessions.models import Patient
from tests.conftest import signed_in
from tests.factories import A_NIGHT, PASSWORD, PatientFactory, UserFactory, record_night

pytestmark = pytest.mark.django_db


@pytest.fixture
def admin_client(administrator: User) -> Client:
    return signed_in(administrator)


@pytest.fixture
def ito(administrator: User) -> tuple[User, str]:
    """Invited to a wrong address, not come yet, with the secret of the link."""
    return invite(email="itto@example.org", name="Ito", role=Role.NURSE, by=administrator, at=timezone.now())


def test_an_invited_person_is_corrected(admin_client: Client, ito: tuple[User, str]) -> None:
    who, _ = ito
    sent = {"name": "Nurse Ito", "email": "Ito@Example.org", "role": "technologist"}
    assert admin_client.post(f"/team/{who.pk}/", sent).status_code == 302
    who.refresh_from_db()
    assert (who.name, who.email, who.role) == ("Nurse Ito", "ito@example.org", "technologist")
    page = admin_client.get(f"/team/{who.pk}/").content.decode()
    assert "itto@example.org" in page  # what stood before


def test_an_invitation_is_withdrawn_and_made_again(admin_client: Client, ito: tuple[User, str]) -> None:
    who, secret = ito
    assert "invited, not come yet" in admin_client.get("/team/").content.decode()
    admin_client.post(f"/team/{who.pk}/", {"task": "withdraw"})
    assert open_invitation(secret=secret, at=timezone.now()) is None
    assert Client().get(f"/join/{secret}/").status_code == 410
    page = admin_client.post(f"/team/{who.pk}/", {"task": "link"}).content.decode()
    found = re.search(r"/join/[\w-]+/", page)
    assert found
    assert Client().get(found[0]).status_code == 200


@pytest.mark.parametrize("email", ["nurse.kim@example.org", ""])
def test_the_address_of_somebody_else_is_refused(admin_client: Client, ito: tuple[User, str], email: str) -> None:
    UserFactory(email="nurse.kim@example.org", role=Role.NURSE)
    page = admin_client.post(f"/team/{ito[0].pk}/", {"name": "Ito", "email": email, "role": "nurse"})
    assert page.context["form"].errors["email"]


def test_nobody_takes_the_own_role_away(admin_client: Client, administrator: User) -> None:
    sent = {"name": administrator.name, "email": administrator.email, "role": "nurse"}
    assert "role" in admin_client.post(f"/team/{administrator.pk}/", sent).context["form"].errors


def facts_of(patient: Patient, **changes: Any) -> dict[str, Any]:
    kept = {"name": patient.name, "hospital_number": patient.hospital_number, "birth_date": f"{patient.birth_date}",
            "sex": patient.sex, "height_cm": f"{patient.height_cm:g}", "phone": patient.phone,
            "time_zone": patient.time_zone, "joined_on": f"{patient.joined_on}"}  # fmt: skip
    return kept | ({"email": patient.account.email} if patient.account else {}) | changes


def test_a_patient_is_corrected_with_history_and_doses_are_worked_out_again(
    nurse_client: Client, nurse: User, ana: Patient
) -> None:
    record_night(ana)
    height = ana.height_cm
    month = compute_month(ana, date(2026, 3, 1), at=timezone.now())
    assert month is not None
    where = f"/patients/{ana.pk}/facts/"
    sent = facts_of(ana, name="Ana Verde", height_cm="168,5", time_zone="Atlantic/Azores", email="New@Example.org")
    assert nurse_client.post(where, sent).status_code == 302
    ana.refresh_from_db()
    assert ana.account
    assert (ana.name, ana.height_cm, ana.time_zone) == ("Ana Verde", 168.5, "Atlantic/Azores")
    assert (ana.account.email, ana.account.name) == ("new@example.org", "Ana Verde")
    assert PatientMonth.objects.filter(patient=ana, stale=True).exists()
    page = nurse_client.get(where).content.decode()
    for words in ("Ana Verdemar → Ana Verde", f"{height:g}", "→ 168.5", "– → Atlantic/Azores", "→ new@example.org"):
        assert words in page, words
    assert nurse.name in page
    entrance = Client().post("/accounts/login/", {"login": "new@example.org", "password": PASSWORD})
    assert (entrance.status_code, entrance["Location"]) == (302, "/")


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"birth_date": "2999-01-01"}, "birth_date"),
        ({"height_cm": "16"}, "height_cm"),
        ({"time_zone": "Azores"}, "time_zone"),
        ({"email": "ben@example.org"}, "email"),
        ({"hospital_number": "H-BEN"}, "hospital_number"),
    ],
)
def test_what_cannot_be_is_refused(nurse_client: Client, ana: Patient, changes: dict[str, str], field: str) -> None:
    PatientFactory(hospital_number="H-BEN", account__email="ben@example.org")
    page = nurse_client.post(f"/patients/{ana.pk}/facts/", facts_of(ana, **changes))
    assert field in page.context["form"].errors
    before = ana.name
    ana.refresh_from_db()
    assert ana.name == before


def test_a_second_link_goes_to_the_address_that_was_typed_last(nurse_client: Client) -> None:
    patient = PatientFactory(account=None)
    where = f"/patients/{patient.pk}/invite/"
    for email in ("pat1@example.org", "pat.one@example.org"):
        nurse_client.post(where, {"email": email})
    patient.refresh_from_db()
    assert patient.account
    assert patient.account.email == "pat.one@example.org"


def test_who_leaves_hands_over_what_they_had(admin_client: Client, ana: Patient, nurse: User) -> None:
    other = UserFactory(role=Role.NURSE, name="Nurse Ito")
    day = A_NIGHT.date()
    alert = Alert.objects.create(
        patient=ana, rule="uf_rate", cause="uf_rate", urgency=Urgency.CALL_TODAY, first_night=day, last_night=day,
        opened_at=A_NIGHT, last_seen_at=A_NIGHT, assigned_to=nurse,
    )  # fmt: skip
    RotaTurn.objects.create(person=nurse, weekday=0, begins=time(8), ends=time(12))
    answer = admin_client.post(f"/team/{nurse.pk}/switch/", follow=True)
    assert answer.redirect_chain[-1][0] == f"/team/{nurse.pk}/hand-over/"
    assert "nobody does what stands here" in answer.content.decode()
    page = admin_client.post(f"/team/{nurse.pk}/hand-over/", {"to": other.pk}, follow=True)
    assert "Nothing." in page.content.decode()
    alert.refresh_from_db()
    assert alert.assigned_to == other
    assert AlertStep.objects.get(alert=alert).kind == StepKind.ASSIGNED
    assert RotaTurn.objects.get().person == other
