"""Every address × every role, asking for Ana's things. An address that is not in the table fails the walk."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from tests.access.addresses import every_address
from tests.access.table import PUBLIC, TABLE, potassium, told
from tests.access.walking import TRY_EVERYTHING, Walk, ask
from tests.access.world import ROLES, World
from tests.factories import night_body
from tests.over_http import JSON, put

pytestmark = pytest.mark.django_db  # also for those that only read the walk: without it no test database is made

REFUSALS = (302, 401, 403, 404, 405)
TAKES_ALL_METHODS = {"home"} | {name for name in TABLE if name.startswith("account_")}
"""Redirects and django-allauth's form pages, which answer any method as GET or POST."""


def test_the_table_names_every_address_and_none_that_is_gone() -> None:
    assert set(TABLE) == {address.name for address in every_address()}, "say in the table who may do what there"
    assert all(len(codes.split()) == len(ROLES) for row in TABLE.values() for codes in row.values())


@pytest.mark.parametrize("role", ROLES)
def test_every_address_answers_each_role_as_the_table_says(walked: Walk, role: str) -> None:
    listed = [(name, method) for name, row in TABLE.items() for method in row]
    expected = {(name, method): told(name, method, role) for name, method in listed}
    assert {(name, method): walked[role, name, method].status for name, method in listed} == expected


@pytest.mark.parametrize("role", TRY_EVERYTHING)
def test_a_method_that_is_not_listed_is_accepted_from_nobody(walked: Walk, role: str) -> None:
    unlisted = {
        (name, method): said.status
        for (who, name, method), said in walked.items()
        if who == role and method not in TABLE[name]
    }
    assert len(unlisted) > 200
    fine = {
        each for each, code in unlisted.items() if code in REFUSALS or (each[0] in TAKES_ALL_METHODS and code == 200)
    }
    assert {each: code for each, code in unlisted.items() if each not in fine} == {}


def test_nobody_is_sent_to_sign_in_from_everything_but_the_public_few(walked: Walk) -> None:
    sign_in = reverse("account_login")
    for (role, name, method), said in walked.items():
        if role != "nobody" or name in PUBLIC:
            continue
        if told(name, method, "nobody") == 401:
            assert (said.status, said.headers["WWW-Authenticate"]) == (401, "Token"), (name, method)
        else:
            assert said.headers.get("Location", "").partition("?")[0] == sign_in, (name, method, said.status)


HERS = ("Ana Verdemar", "ana@example.org", "H-ANA-77", "UF rate 14.0 mL", "Ana's scale", "Ana&#x27;s scale")


@pytest.mark.parametrize("role", ["nobody", "other"])
def test_no_answer_to_a_stranger_holds_anything_of_anas(walked: Walk, role: str) -> None:
    """Whatever the status: neither her name nor her number nor her alert is in what comes back."""
    assert all(any(word in said.text for said in walked.values()) for word in HERS[:4]), "they are seen by others"
    for (who, name, method), said in walked.items():
        if who == role:
            assert [word for word in HERS if word in said.text] == [], (name, method)


def test_lists_of_a_stranger_are_empty(world: World) -> None:
    client = world.client("other")
    for name in ("api:treatments", "api:bloods", "api:devices"):
        body = client.get(reverse(name)).json()
        assert (body if name == "api:devices" else body["results"]) == [], name


def test_a_stranger_who_names_ana_gets_a_kit_of_their_own_or_none(world: World) -> None:
    client = world.client("other")
    assert client.get(reverse("api:bedside")).json()["patient"]["name"] == world.ben.name
    refused = client.get(reverse("api:bedside"), {"patient": str(world.ana.pk)})
    assert (refused.status_code, [each["name"] for each in refused.json()["patients"]]) == (400, [world.ben.name])


@pytest.mark.parametrize("role", ["other", "technologist"])
def test_a_body_that_names_ana_changes_nothing_of_hers(world: World, role: str) -> None:
    client, before = world.client(role), world.record.as_sent
    named = {"patient": str(world.ana.pk)}
    new = "5f0c1a52-0000-4000-8000-000000000001"
    put(client, new, night_body(**named))
    put(client, world.record.pk, night_body(notes="mine"), world.record.etag)
    items = [{"id": new, **night_body(**named)}, {"id": before["id"], **night_body(), "if_match": before["etag"]}]
    answer = client.post(reverse("api:treatments-bulk"), {"treatments": items}, content_type=JSON)
    if answer.status_code == 200:
        assert [result["status"] for result in answer.json()["results"]] == [400, 400]
    client.post(reverse("api:bloods"), {"results": [potassium(world)]}, content_type=JSON)
    assert list(world.ana.treatments.values_list("pk", flat=True)) == [world.record.pk]
    assert world.ana.treatments.get().as_sent == before
    assert world.ana.bloods.count() == 1


@pytest.mark.parametrize("role", ["patient", "nephrologist", "administrator"])
def test_a_form_without_its_token_is_refused(world: World, role: str) -> None:
    """From a signed-in browser, whatever may be done there: another site cannot do it in its name."""
    person = world.people[role]
    assert person is not None
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(person)
    for address in every_address():
        for method in TABLE[address.name]:
            if method != "GET" and told(address.name, method, role) not in (403, 404):
                assert ask(strict, world, address, method).status_code == 403, (address.name, method)
