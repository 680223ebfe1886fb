"""The script of a release, in one piece, does in a browser what the modules do, and weighs little over the wire."""

from __future__ import annotations

import gzip

import pytest
from django.test import Client
from playwright.sync_api import Route, expect

from homedialysis.web.static_storage import one_piece
from sessions.models import Patient, Prescription
from sessions.pages.bedside import FOLDER, files
from tests.browser.conftest import BrowserPage
from tests.browser.shell import Shell

pytestmark = pytest.mark.django_db(transaction=True)
MOST = 80_000
"""[bytes] What scripts, styles and page may weigh, compressed."""


class Folder:
    """As much of a storage as the joining asks for."""

    def open(self, path: str) -> object:
        return (FOLDER.parent / path).open("rb")


def pieces() -> dict[str, str]:
    return one_piece({name: (Folder(), name) for name in files()})


def test_the_script_in_one_piece_runs_a_night(
    browser_page: BrowserPage, ana: Patient, anas_prescription: Prescription
) -> None:
    text = pieces()["bedside/js/all.js"]

    def whole(route: Route) -> None:
        route.fulfill(body=text, content_type="text/javascript")

    watched = browser_page(ana.account)
    watched.context.route("**/static/bedside/js/main.js", whole)
    asked: list[str] = []
    watched.page.on("request", lambda request: asked.append(request.url))
    shell = Shell(watched).start()
    expect(shell.page.locator("#head .state")).to_contain_text("Ana Verdemar")
    shell.press("Begin tonight's treatment")
    expect(shell.page.locator("#head .state")).to_contain_text("Kept on this phone")
    for name in ("weigh", "running", "queue", "settings", "danger", "nights", "more"):
        shell.go(name)
    shell.start()
    expect(shell.page.locator("#head .state")).to_contain_text("Kept on this phone")
    assert [url for url in asked if url.endswith("/js/main.js")], "the piece was what ran"


def test_all_of_it_weighs_less_than_was_set(ana_client: Client) -> None:
    theme = (FOLDER / "js" / "theme.js").read_bytes()
    page = ana_client.get("/tonight/").content
    parts = {name: len(gzip.compress(text.encode(), 9)) for name, text in pieces().items()}
    parts |= {"theme": len(gzip.compress(theme, 9)), "page": len(gzip.compress(page, 9))}
    assert sum(parts.values()) < MOST, parts
