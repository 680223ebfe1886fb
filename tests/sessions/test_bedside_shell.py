"""The page of the bedside holds nobody's data, and each release names itself."""

from __future__ import annotations

import json
import re

import pytest
from django.test import Client
from django.urls import reverse

from sessions.models import Patient, Prescription
from sessions.pages import bedside
from tests.access.html_check import faults_of

pytestmark = pytest.mark.django_db


def test_the_page_is_the_same_for_everybody_and_sound(
    ana_client: Client, ben_client: Client, ana: Patient, anas_prescription: Prescription
) -> None:
    pages = [client.get(reverse("treatments:tonight")).content.decode() for client in (ana_client, ben_client)]
    assert pages[0] == pages[1]
    assert faults_of(pages[0]) == []
    assert "csrf" not in pages[0]


def test_the_old_addresses_lead_into_it(ana_client: Client) -> None:
    tonight = reverse("treatments:tonight")
    assert ana_client.get(reverse("treatments:nights")).headers["Location"] == f"{tonight}#/nights"
    assert ana_client.get(reverse("treatments:record")).headers["Location"] == f"{tonight}#/tonight"
    given = "5f0c1a52-0000-4000-8000-000000000001"
    assert ana_client.get(reverse("treatments:record"), {"id": given}).headers["Location"] == f"{tonight}#/open/{given}"


def test_an_id_cannot_break_out_of_the_address(ana_client: Client) -> None:
    where = ana_client.get(reverse("treatments:record"), {"id": "//elsewhere.example/\r\nX: y"}).headers["Location"]
    assert where == f"{reverse('treatments:tonight')}#/tonight"


def test_the_worker_names_every_file_of_the_release(client: Client) -> None:
    answer = client.get(reverse("treatments:service-worker"))
    text = answer.content.decode()
    assert answer.headers["Content-Type"].startswith("text/javascript")
    assert "{{" not in text, "every place is filled in"
    found = re.search(r"const FILES = .*?(\[.*?\])\);", text)
    assert found is not None
    named = json.loads(found[1])
    assert named == bedside.addresses()
    assert {"/static/bedside/js/main.js", "/static/bedside/words/es.json"} < set(named)
    assert f'const RELEASE = "{bedside.current_release()}";' in text


def test_another_content_is_another_release(tmp_path: object, monkeypatch: pytest.MonkeyPatch) -> None:
    before = bedside.release_of([("a.js", b"one")])
    assert bedside.release_of([("a.js", b"one")]) == before
    assert bedside.release_of([("a.js", b"two")]) != before
    assert bedside.release_of([("b.js", b"one")]) != before


def test_the_manifest_names_icons_that_are_there(client: Client) -> None:
    manifest = client.get(reverse("treatments:manifest")).json()
    assert (manifest["start_url"], manifest["scope"], manifest["display"]) == ("/tonight/", "/", "standalone")
    icons = {icon["src"].rpartition("/")[2]: icon for icon in manifest["icons"]}
    assert icons["maskable-512.png"]["purpose"] == "maskable"
    for name, icon in icons.items():
        content = (bedside.FOLDER / "icons" / name).read_bytes()
        if name.endswith(".png"):  # width and height stand at bytes 16 to 24 of a PNG (W3C PNG, 11.2.1)
            size = int.from_bytes(content[16:20], "big"), int.from_bytes(content[20:24], "big")
            assert icon["sizes"] == f"{size[0]}x{size[1]}"


def test_page_and_offline_page_say_their_release(ana_client: Client) -> None:
    for name in ("tonight", "offline"):
        answer = ana_client.get(reverse(f"treatments:{name}"))
        assert answer.headers["X-Bedside-Release"] == bedside.current_release()
    assert faults_of(ana_client.get(reverse("treatments:offline")).content.decode()) == []
