"""Every page that somebody may open: valid, nothing inline, nothing from another host, a strict policy."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from sessions.models import Patient, Prescription
from tests.access.addresses import every_address
from tests.access.html_check import faults_of
from tests.access.walking import Said, Walk
from tests.access.world import ROLES, World

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("role", ROLES)
def test_every_page_of_a_role_is_sound(walked: Walk, role: str) -> None:
    """Whatever its status; also what a form answers when it is sent empty."""
    pages = {(name, method): said for (who, name, method), said in walked.items() if who == role and said.is_page}
    faults = {each: [*faults_of(said.text), *faults_of_headers(said)] for each, said in pages.items() if said.text}
    assert len(faults) >= 13
    assert {each: found for each, found in faults.items() if found} == {}


def faults_of_headers(said: Said) -> list[str]:
    policy = said.headers.get("Content-Security-Policy", "")
    faults = [] if "default-src 'none'" in policy else ["no policy"]
    faults += [word for word in ("unsafe-inline", "unsafe-eval", "http:", "https:", "*") if word in policy]
    return faults + ([] if "no-store" in said.headers.get("Cache-Control", "") else ["may be kept by a cache"])


@pytest.mark.parametrize("role", ROLES)
def test_every_other_answer_has_the_policy_and_is_kept_by_no_cache(walked: Walk, role: str) -> None:
    others = {each: said for each, said in walked.items() if each[0] == role and not said.is_page}
    assert others
    assert {each: found for each, said in others.items() if (found := faults_of_headers(said))} == {}


ABOUT_ONE = {"patient_id", "record_id", "alert_id", "result_id"}


def test_every_page_of_a_patient_has_the_same_frame(walked: Walk) -> None:
    """Name, number, birth, allergies and dangers stand above whatever staff look at of one patient."""
    about_one = {address.name for address in every_address() if ABOUT_ONE & set(address.holds)}
    pages = {
        name: said.text
        for (who, name, method), said in walked.items()
        if (who, method, said.status) == ("nephrologist", "GET", 200) and name in about_one and "<html" in said.text
    }
    assert len(pages) > 20
    assert {name for name, text in pages.items() if "cautions" not in text or "born" not in text} == set()


FRAGMENTS = ["alerts:triage-list", "alerts:of-patient", "alerts:of-record", "alerts:heartbeat"]


@pytest.mark.parametrize("name", FRAGMENTS)
def test_the_parts_that_pages_take_in_are_sound(world: World, name: str) -> None:
    (address,) = [address for address in every_address() if address.name == name]
    answer = world.client("nurse").get(address.path(world.ids), headers={"HX-Request": "true"})
    assert answer.status_code == 200
    text = answer.content.decode()
    assert "<html" not in text
    assert faults_of(text) == []


@pytest.mark.parametrize("path", ["/nope/", "/nights/5f0c1a52-0000-4000-8000-000000000001/"])
def test_the_page_of_what_is_not_there_is_sound(ana_client: Client, path: str) -> None:
    answer = ana_client.get(path)
    assert answer.status_code == 404
    assert faults_of(answer.content.decode()) == []


def test_so_are_the_pages_of_a_closed_door_and_of_a_link_that_is_over(ana_client: Client) -> None:
    for path, code in (("/patients/", 403), (reverse("accounts:join", args=["x"]), 410)):
        answer = ana_client.get(path)
        assert (answer.status_code, faults_of(answer.content.decode())) == (code, [])


def test_so_is_the_page_of_a_missing_token(nurse_client: Client, nurse: Any) -> None:
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(nurse)
    answer = strict.post(reverse("accounts:devices"), {"name": "x", "scopes": ["read"]})
    assert (answer.status_code, faults_of(answer.content.decode())) == (403, [])


def test_so_is_the_page_of_an_error(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is drawn without the database, which may be what failed."""
    from django.template.loader import render_to_string

    assert faults_of(render_to_string("500.html")) == []


def test_the_page_of_somebody_without_anything_is_sound(ben_client: Client, ben: Patient) -> None:
    answer = ben_client.get(reverse("treatments:tonight"))
    assert (answer.status_code, faults_of(answer.content.decode())) == (200, [])


def test_a_care_partner_of_two_is_asked_for_whom(partner: Any, ben: Patient, anas_prescription: Prescription) -> None:
    ben.carepartner_set.create(user=partner)
    client = Client()
    client.force_login(partner)
    answer = client.get(reverse("api:bedside"))
    assert (answer.status_code, {each["name"] for each in answer.json()["patients"]}) == (
        400,
        {"Ana Verdemar", "Ben Okonjo"},
    )
    chosen = client.get(reverse("api:bedside"), {"patient": str(ben.pk)})
    assert chosen.json()["patient"]["name"] == "Ben Okonjo"


WRONG = [
    ("<!DOCTYPE html><html><head><title>x</title></head><body><main><h1>x</h1><p>open</main></body></html>", "<p>"),
    ("<p style='color:red'>x</p>", "has style"),
    ("<script>alert(1)</script>", "script stands"),
    ("<style>p{}</style>", "style stands"),
    ("<button onclick='x()'>x</button>", "has onclick"),
    ("<img src='https://elsewhere.example/x.png'>", "leaves this server"),
    ("<a href='//elsewhere.example/'>x</a>", "leaves this server"),
    ("<a href='javascript:x()'>x</a>", "leaves this server"),
    ("<p id='a'></p><p id='a'></p>", "'a' stands 2 times"),
    ("<p hx-trigger='load[x]'></p>", "needs eval"),
    ("<br></br>", "has no end"),
    ("<p class='a' class='b'></p>", "class twice"),
    ("<!DOCTYPE html><html><head></head><body><label for='x'>x</label></body></html>", "not there"),
]


@pytest.mark.parametrize(("text", "words"), WRONG)
def test_the_reader_sees_what_is_wrong(text: str, words: str) -> None:
    assert any(words in fault for fault in faults_of(text)), faults_of(text)


def test_the_reader_lets_a_good_part_pass() -> None:
    good = (
        '<div><p>x<br>y</p><svg viewBox="0 0 1 1"><path d="M0"/></svg><script type="application/json">{}</script></div>'
    )
    assert faults_of(good) == []
