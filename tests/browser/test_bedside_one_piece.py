"""The scripts of a release, in two pieces, do in a browser what the modules do, and weigh little over the wire."""

from __future__ import annotations

import gzip

import pytest
from django.test import Client
from playwright.sync_api import expect

from homedialysis.web.static_storage import SECOND_PIECE
from sessions.models import Patient, Prescription
from sessions.pages.bedside import FOLDER, PLAIN
from tests.browser.conftest import BrowserPage
from tests.browser.shell import Shell
from tests.browser.static_from_memory import pieces

pytestmark = pytest.mark.django_db(transaction=True)
MOST = 80_000
"""[bytes] What the first screen's script, styles and page may weigh, compressed."""
MOST_LATER = 68_000
"""[bytes] What the screens may weigh that come after it."""


def test_the_scripts_in_two_pieces_run_a_night(
    browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription
) -> None:
    watched = browser_page(ana.account)
    asked: list[str] = []
    watched.page.on("request", lambda request: asked.append(request.url))
    shell = Shell(watched).start()
    expect(shell.page.locator("#head .state")).to_contain_text("Ana Verdemar")
    shell.press("Begin tonight's treatment")
    expect(shell.page.locator("#head .state")).to_contain_text("Kept on this phone")
    for name, title in (
        ("weigh", "Weigh and plan"),
        ("running", "Treatment is running"),
        ("queue", "What waits to be sent"),
        ("settings", "Settings"),
        ("danger", "Something is wrong"),
        ("nights", "Past nights"),
        ("more", "More"),
    ):
        shell.go(name)
        expect(shell.page.locator("h1")).to_have_text(title)
    shell.start()
    expect(shell.page.locator("#head .state")).to_contain_text("Kept on this phone")
    scripts = {url.rpartition("/")[2] for url in asked if url.endswith(".js")}
    assert scripts == {"floor.js", "theme.js", "all.js", "rest.js"}, "the pieces were what ran"


def test_all_of_it_weighs_less_than_was_set(ana_client: Client) -> None:
    plain = {name: (FOLDER.parent / name).read_bytes() for name in PLAIN}
    page = ana_client.get("/tonight/").content
    parts = {name: len(gzip.compress(text.encode(), 9)) for name, text in pieces().items()}
    assert parts.pop(SECOND_PIECE) < MOST_LATER
    parts |= {name: len(gzip.compress(text, 9)) for name, text in (plain | {"page": page}).items()}
    assert sum(parts.values()) < MOST, parts
