"""The end of somebody's access: on no page, by no program, on no phone, and from that moment on."""

from __future__ import annotations

import re
import uuid
from typing import Any

import pytest
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.test import Client
from django.utils import timezone

from homedialysis.accounts.choices.tokens import TokenScope
from homedialysis.accounts.models import BedsideDevice, ReadLog, Role, Unit, User
from homedialysis.accounts.services.invitations import add_device
from sessions.models import CarePartner, Patient
from sessions.services.enrolment import invite_care_partner
from tests.conftest import signed_in
from tests.crowd import ours
from tests.factories import CarePartnerFactory, UserFactory

pytestmark = pytest.mark.django_db
LONG_ENOUGH = "nine grey herons at dusk"


def ways_in(user: User) -> tuple[Client, Client, BedsideDevice]:
    """A browser that is signed in, a program with a token, and a phone."""
    browser, now = signed_in(user), timezone.now()
    _, token = add_device(user=user, name="Weighing scale", scopes=TokenScope.values, at=now)
    program = Client(headers={"authorization": f"Token {token}"})
    phone = BedsideDevice.objects.create(
        pk=uuid.uuid4(), user=user, name="Android, Chrome", first_contact=now, last_contact=now
    )
    return browser, program, phone


def none_leads_in(browser: Client, program: Client, phone: BedsideDevice) -> bool:
    phone.refresh_from_db()
    answers = (browser.get("/api/v1/treatments/").status_code, program.get("/api/v1/treatments/").status_code)
    return set(answers) <= {401, 403} and phone.revoked_at is not None


@pytest.fixture
def partner(ana: Patient) -> User:
    user = CarePartnerFactory(patient=ana).user
    user.set_password(LONG_ENOUGH)
    user.save()
    return user


@pytest.fixture
def admin_client(administrator: User) -> Client:
    return signed_in(administrator)


@pytest.fixture
def technologist_client(unit: Unit) -> Client:
    return signed_in(UserFactory(role=Role.TECHNOLOGIST))


def end_by(client: Client, ana: Patient, helper: CarePartner) -> int:
    return client.post(f"/patients/{ana.pk}/who-sees/{helper.pk}/end/").status_code


@pytest.mark.parametrize("by", ["ana_client", "nurse_client", "admin_client"])
def test_a_helper_whose_help_is_ended_sees_nothing_from_then_on(
    request: pytest.FixtureRequest, ana: Patient, partner: User, by: str
) -> None:
    ways, helper = ways_in(partner), partner.cares_for.get()
    assert not none_leads_in(*ways)
    assert end_by(request.getfixturevalue(by), ana, helper) == 302
    assert none_leads_in(*ways)
    partner.refresh_from_db()
    assert not Patient.objects.visible_to(partner).exists()
    assert not partner.is_active
    ended = CarePartner.ever.get(pk=helper.pk)
    assert ended.ended_by is not None, "who helped, and until when, stays known"


def test_who_helps_somebody_else_too_goes_on_helping_them(
    nurse_client: Client, ana: Patient, ben: Patient, partner: User
) -> None:
    CarePartnerFactory(patient=ben, user=partner)
    ways = ways_in(partner)
    end_by(nurse_client, ana, partner.cares_for.get(patient=ana))
    assert none_leads_in(*ways), "a phone keeps the kit of everybody whom they help"
    partner.refresh_from_db()
    assert list(Patient.objects.visible_to(partner)) == [ben]


def test_a_helper_and_another_patient_cannot_end_it(
    ana: Patient, ben: Patient, partner: User, technologist_client: Client
) -> None:
    helper = partner.cares_for.get()
    assert end_by(signed_in(partner), ana, helper) == 403
    assert end_by(technologist_client, ana, helper) == 403
    assert end_by(signed_in(ben.account), ana, helper) == 404
    assert CarePartner.objects.filter(pk=helper.pk).exists()


def test_who_helped_before_comes_back_with_the_password_of_before(
    nurse: User, nurse_client: Client, ana: Patient, partner: User
) -> None:
    end_by(nurse_client, ana, partner.cares_for.get())
    secret = invite_care_partner(patient=ana, email=partner.email, name=partner.name, by=nurse, at=timezone.now())
    partner.refresh_from_db()
    assert secret == ""
    assert partner.is_active
    assert list(Patient.objects.visible_to(partner)) == [ana]
    assert CarePartner.ever.filter(patient=ana, user=partner).count() == 2


def test_a_patient_is_shut_out_and_let_in_again_and_no_old_way_comes_to_life(
    nurse_client: Client, ana: Patient
) -> None:
    account = ana.account
    assert account is not None
    account.set_password(LONG_ENOUGH)
    account.save()
    ways = ways_in(account)
    nurse_client.post(f"/patients/{ana.pk}/who-sees/switch/")
    assert none_leads_in(*ways)
    nurse_client.post(f"/patients/{ana.pk}/who-sees/switch/")
    assert none_leads_in(*ways)
    account.refresh_from_db()
    assert signed_in(account).get("/api/v1/treatments/").status_code == 200


def test_staff_who_are_shut_out_are_out_in_pages_and_programs(admin_client: Client, nurse: User) -> None:
    browser, program, phone = ways_in(nurse)
    assert program.get("/api/v1/treatments/").status_code == 200
    admin_client.post(f"/team/{nurse.pk}/switch/")
    admin_client.post(f"/team/{nurse.pk}/switch/")
    assert none_leads_in(browser, program, phone)
    assert browser.get("/triage/").status_code == 302


def test_a_patient_reads_who_looked(nurse_client: Client, nurse: User, ana: Patient, ana_client: Client) -> None:
    nurse_client.get(f"/patients/{ana.pk}/")
    page = ana_client.get(f"/patients/{ana.pk}/who-sees/")
    seen = ours(ReadLog).filter(patient_id=ana.pk, user=nurse).count()
    assert [(each.reader, each.times) for each in page.context["days"] if each.reader == nurse] == [(nurse, seen)]
    assert nurse.name in page.content.decode()


def test_a_token_makes_no_other_token(ana: Patient) -> None:
    _, program, _ = ways_in(ana.account)  # type: ignore[arg-type]
    answer = program.post("/api/v1/devices/", {"name": "Another", "scopes": ["read"]}, content_type="application/json")
    assert answer.status_code == 403
    assert "makes no other" in answer.json()["detail"]


def test_a_new_password_ends_the_tokens_of_the_old_one(ana: Patient) -> None:
    account = ana.account
    assert account is not None
    account.set_password(LONG_ENOUGH)
    account.save()
    browser, program, _ = ways_in(account)
    assert program.get("/api/v1/treatments/").status_code == 200
    fields = {"oldpassword": LONG_ENOUGH, "password1": "two quiet boats, noon", "password2": "two quiet boats, noon"}
    assert browser.post("/accounts/password/change/", fields).status_code == 302
    assert program.get("/api/v1/treatments/").status_code == 401


def test_nobody_takes_the_address_of_a_colleague(nurse: User, nephrologist: User, mailoutbox: list[Any]) -> None:
    client = signed_in(nurse)
    page = client.post("/accounts/email/", {"email": nephrologist.email, "action_add": ""})
    assert "is the address of somebody else" in page.content.decode()
    nurse.refresh_from_db()
    assert nurse.email != nephrologist.email
    assert mailoutbox == []


@pytest.mark.parametrize("known", [True, False])
def test_a_lost_password_is_asked_for_by_whoever_is_known_and_nobody_is_told_who_is(
    nurse: User, mailoutbox: list[Any], known: bool
) -> None:
    address = nurse.email if known else "nobody@example.org"
    answer = Client().post("/accounts/password/reset/", {"email": address})
    assert (answer.status_code, answer.headers["Location"]) == (302, "/accounts/password/reset/done/")
    assert [mail.to for mail in mailoutbox] == [[address]]


def test_a_new_address_counts_once_it_is_confirmed(nurse: User, mailoutbox: list[Any]) -> None:
    before = nurse.email
    nurse.set_password(LONG_ENOUGH)
    nurse.save()
    client = Client()
    client.post("/accounts/login/", {"login": before, "password": LONG_ENOUGH})
    client.post("/accounts/reauthenticate/", {"password": LONG_ENOUGH})
    client.post("/accounts/email/", {"email": "new.address@example.org", "action_add": ""})
    nurse.refresh_from_db()
    assert nurse.email == before
    (mail,) = [mail for mail in mailoutbox if mail.to == ["new.address@example.org"]]
    (link,) = re.findall(r"https?://[^/]+(/accounts/confirm-email/\S+)", mail.body)
    client.post(link)
    nurse.refresh_from_db()
    assert nurse.email == "new.address@example.org"
    assert [mail.to for mail in mailoutbox if mail.to == [before]] != [], "the old address is told"


@pytest.mark.parametrize(
    "password",
    ["passwordpassword", "123456789012", "987654321098", "abcabcabcabcabc", "qwertyuiopqwertyuiop",
     "homedialysis", "HomeDialysis2026", "quillhaven dialysis"],
)  # fmt: skip
def test_what_is_tried_first_is_no_password(unit: Unit, password: str) -> None:
    unit.name = "Quillhaven home dialysis"
    unit.save()
    with pytest.raises(ValidationError):
        validate_password(password)


@pytest.mark.parametrize("password", [LONG_ENOUGH, "a quiet river at dawn", "7!kPq2mmZx0w", "grey-herons-wade-at-dusk"])
def test_what_nobody_tries_is_taken(unit: Unit, password: str) -> None:
    validate_password(password)


def test_sign_ins_are_in_the_log_and_what_was_typed_is_not(nurse: User, caplog: pytest.LogCaptureFixture) -> None:
    nurse.set_password(LONG_ENOUGH)
    nurse.save()
    client = Client()
    with caplog.at_level("INFO", logger="homedialysis.people"):
        client.post("/accounts/login/", {"login": nurse.email, "password": "the wrong one"})
        client.post("/accounts/login/", {"login": nurse.email, "password": LONG_ENOUGH})
    said = [(record.message, getattr(record, "person", None)) for record in caplog.records]
    assert said == [("Sign-in failed", None), ("Signed in", nurse.pk)]
    assert nurse.email not in caplog.text
    assert "the wrong one" not in caplog.text


def test_wrong_tries_do_not_lock_the_nurse_on_call_out(nurse: User) -> None:
    nurse.set_password(LONG_ENOUGH)
    nurse.save()
    elsewhere, here = Client(REMOTE_ADDR="203.0.113.7"), Client(REMOTE_ADDR="203.0.113.8")
    for _ in range(12):
        page = elsewhere.post("/accounts/login/", {"login": nurse.email, "password": "the wrong one"})
    assert "Too many" in page.content.decode(), "where it comes from is slowed down"
    answer = here.post("/accounts/login/", {"login": nurse.email, "password": LONG_ENOUGH})
    assert answer.status_code == 302
