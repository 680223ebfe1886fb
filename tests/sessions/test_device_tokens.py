"""Devices sign in with tokens of their own: hashed, expiring, revoked one by one."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client

from homedialysis.accounts.choices.tokens import TokenScope
from homedialysis.accounts.models import DeviceToken, User
from homedialysis.accounts.services.invitations import MOST_DEVICES
from sessions.models import Patient
from tests.conftest import signed_in
from tests.crowd import ours
from tests.factories import LONG_AGO, night_body
from tests.over_http import JSON, TREATMENTS, address, faults, post, put

pytestmark = pytest.mark.django_db

DEVICES = "/api/v1/devices/"


def with_token(token: str) -> Client:
    return Client(headers={"Authorization": f"Token {token}"})


BOTH = ["read", "write"]


def new_token(client: Client, name: str = "Scale", scopes: Sequence[str] = BOTH) -> dict[str, Any]:
    answer = post(client, DEVICES, {"name": name, "scopes": scopes})
    assert answer.status_code == 201, answer.content
    body: dict[str, Any] = answer.json()
    return body


def test_a_device_signs_in_as_its_person(ana_client: Client, ana: Patient) -> None:
    device = with_token(new_token(ana_client)["token"])
    record_id = uuid.uuid4()
    assert put(device, record_id, night_body()).status_code == 201, "no cookie, so no CSRF token either"
    assert ana_client.get(address(record_id)).json()["patient"] == str(ana.pk)


def test_a_browser_needs_the_csrf_token_and_a_device_does_not(ana_client: Client, ana: Patient) -> None:
    token = new_token(ana_client)["token"]
    strict = Client(enforce_csrf_checks=True)
    assert ana.account is not None
    strict.force_login(ana.account)
    assert put(strict, uuid.uuid4(), night_body()).status_code == 403
    device = Client(enforce_csrf_checks=True, headers={"Authorization": f"Token {token}"})
    assert put(device, uuid.uuid4(), night_body()).status_code == 201


def test_only_the_hash_of_a_token_is_kept(ana_client: Client) -> None:
    token = new_token(ana_client)["token"]
    row = ours(DeviceToken).values().get()
    assert token not in str(row)
    assert row["digest"] != token
    assert "token" not in ana_client.get(DEVICES).json()[0]


@pytest.mark.parametrize("header", ["Token nonsense", "Token ", "Bearer x", "Token a b"])
def test_another_token_does_not_sign_in(ana: Patient, header: str) -> None:
    assert Client(headers={"Authorization": header}).get(TREATMENTS).status_code == 401


def test_nobody_is_let_in_without_one(ana: Patient) -> None:
    answer = Client().get(TREATMENTS)
    assert (answer.status_code, answer.headers["WWW-Authenticate"]) == (401, "Token")


def test_a_revoked_token_stops_working_at_once_and_others_go_on(ana_client: Client) -> None:
    scale, tablet = new_token(ana_client), new_token(ana_client, "Tablet")
    assert ana_client.delete(f"{DEVICES}{scale['id']}/").status_code == 204
    assert with_token(scale["token"]).get(TREATMENTS).status_code == 401
    assert with_token(tablet["token"]).get(TREATMENTS).status_code == 200


def test_a_token_may_revoke_itself(ana_client: Client) -> None:
    device = new_token(ana_client)
    assert with_token(device["token"]).delete(f"{DEVICES}{device['id']}/").status_code == 204
    assert with_token(device["token"]).get(TREATMENTS).status_code == 401


def test_nobody_revokes_or_sees_a_device_of_somebody_else(ana_client: Client, ben_client: Client) -> None:
    device = new_token(ana_client)
    assert ben_client.delete(f"{DEVICES}{device['id']}/").status_code == 404
    assert ben_client.get(DEVICES).json() == []
    assert with_token(device["token"]).get(TREATMENTS).status_code == 200


def test_a_token_expires_after_180_days(ana_client: Client) -> None:
    with time_machine.travel(datetime(2026, 3, 2, tzinfo=UTC), tick=False) as clock:
        device = with_token(new_token(ana_client)["token"])
        clock.shift(timedelta(days=179))
        assert device.get(TREATMENTS).status_code == 200
        clock.shift(timedelta(days=2))
        assert device.get(TREATMENTS).status_code == 401


def test_a_token_of_somebody_shut_out_does_not_sign_in(ana_client: Client, ana: Patient) -> None:
    device = with_token(new_token(ana_client)["token"])
    User.objects.filter(pk=ana.account_id).update(is_active=False)
    assert device.get(TREATMENTS).status_code == 401


def test_twenty_devices_hold_a_token_at_a_time(ana_client: Client, ana: Patient, ben_client: Client) -> None:
    for number in range(MOST_DEVICES):
        new_token(ana_client, f"Device {number}")
    refused = faults(post(ana_client, DEVICES, {"name": "One more", "scopes": BOTH}))
    assert "At most 20 devices hold a token, and 20 do" in refused["name"]["message"]
    page = ana_client.post("/devices/", {"name": "One more", "scopes": BOTH})
    assert "At most 20 devices" in page.context["form"].errors["name"][0]
    assert ours(DeviceToken).count() == MOST_DEVICES
    new_token(ben_client)
    DeviceToken.objects.filter(name="Device 0").update(expiry=LONG_AGO)
    new_token(ana_client, "In the place of one that has expired")


def test_a_device_has_a_name(ana_client: Client) -> None:
    assert post(ana_client, DEVICES, {"name": "", "scopes": BOTH}).status_code == 400
    assert post(ana_client, DEVICES, {"scopes": BOTH}).status_code == 400
    assert post(ana_client, DEVICES, {"name": "x" * 81, "scopes": BOTH}).status_code == 400
    assert not ours(DeviceToken).exists()


def test_the_page_shows_a_token_once(nurse: User) -> None:
    client = signed_in(nurse)
    page = client.post("/devices/", {"name": "Laptop", "scopes": BOTH})
    token = page.context["token"]
    assert page.status_code == 200
    assert token in page.content.decode()
    assert with_token(token).get(TREATMENTS).status_code == 200
    later = client.get("/devices/").content.decode()
    assert "Laptop" in later
    assert token not in later


def test_the_page_lists_a_persons_own(nurse: User, ana_client: Client) -> None:
    new_token(ana_client, "Scale in the kitchen")
    client = signed_in(nurse)
    client.post("/devices/", {"name": "Laptop", "scopes": BOTH})
    assert [str(device) for device in client.get("/devices/").context["devices"]] == ["Laptop"]
    assert [str(device) for device in ana_client.get("/devices/").context["devices"]] == ["Scale in the kitchen"]


def test_the_page_revokes(nurse: User, ana_client: Client) -> None:
    client = signed_in(nurse)
    token = client.post("/devices/", {"name": "Laptop", "scopes": BOTH}).context["token"]
    where = f"/devices/{ours(DeviceToken).get().public_id}/revoke/"
    assert ana_client.post(where).status_code == 404
    assert client.get(where).status_code == 405
    assert client.post(where).status_code == 302
    assert with_token(token).get(TREATMENTS).status_code == 401


ASKED = {
    "read": ("get", TREATMENTS),
    "write": ("put", address(uuid.UUID(int=5))),
    "fhir": ("get", "/api/v1/fhir/Patient"),
    "bloods": ("post", "/api/v1/bloods/"),
}


@pytest.mark.parametrize("scope", TokenScope)
def test_a_token_does_what_it_was_made_for_and_nothing_else(nurse_client: Client, ana: Patient, scope: str) -> None:
    device = with_token(new_token(nurse_client, scopes=[scope])["token"])
    answers = {}
    for name, (method, where) in ASKED.items():
        body = {"data": {"patient": str(ana.pk)}, "content_type": JSON} if method != "get" else {}
        answers[name] = getattr(device, method)(where, **body)
    refused = {name for name, answer in answers.items() if answer.status_code == 403}
    assert refused == set(TokenScope.values) - {scope}
    for name in refused:
        assert f"({name})" in answers[name].content.decode(), "the scope that is wanted is named"


@pytest.mark.parametrize("scopes", [[], ["everything"], "read"])
def test_a_token_is_for_something(ana_client: Client, scopes: Any) -> None:
    assert post(ana_client, DEVICES, {"name": "Scale", "scopes": scopes}).status_code == 400
    assert post(ana_client, DEVICES, {"name": "Scale"}).status_code == 400
    assert "scopes" in ana_client.post("/devices/", {"name": "Scale"}).context["form"].errors
    assert not ours(DeviceToken).exists()


def test_a_token_revokes_itself_and_no_other(ana_client: Client) -> None:
    scale, tablet = new_token(ana_client, scopes=["fhir"]), new_token(ana_client, "Tablet")
    device = with_token(scale["token"])
    assert device.delete(f"{DEVICES}{tablet['id']}/").status_code == 403
    assert device.delete(f"{DEVICES}{scale['id']}/").status_code == 204
    assert [each["name"] for each in ana_client.get(DEVICES).json()] == ["Tablet"]


def test_when_a_token_was_last_used_is_shown_to_the_hour(ana_client: Client) -> None:
    with time_machine.travel(datetime(2026, 3, 2, 9, tzinfo=UTC), tick=False) as clock:
        device = with_token(new_token(ana_client)["token"])
        assert "never used" in ana_client.get("/devices/").content.decode()
        device.get(TREATMENTS)
        clock.shift(timedelta(minutes=50))
        device.get(TREATMENTS)
        assert ana_client.get(DEVICES).json()[0]["last_used"] == "2026-03-02T09:00:00Z"
        clock.shift(timedelta(minutes=20))
        device.get(TREATMENTS)
        assert ana_client.get(DEVICES).json()[0]["last_used"] == "2026-03-02T10:10:00Z"
        page = ana_client.get("/devices/").content.decode()
    assert "Read records, numbers and bloods; Write treatments" in page
