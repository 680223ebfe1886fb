"""The API's documentation page: drawn under the strict policy, out of this server alone."""

from __future__ import annotations

import os
import re
import shutil
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders
from django.test import Client
from playwright.sync_api import Page, sync_playwright
from pytest_django.live_server_helper import LiveServer

TREATMENT = "/api/v1/treatments/{record_id}/"
DOCS = "/api/v1/docs/"
CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")


class Loads(HTMLParser):
    """Addresses that the page loads or links to, and what stands in it inline."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.addresses: list[str] = []
        self.inline: list[str] = []
        self._inside = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.addresses += [value or "" for name, value in attrs if name in ("src", "href", "action")]
        self.inline += [name for name in given if name == "style" or name.startswith("on")]
        self._inside = tag if tag == "style" or (tag == "script" and "src" not in given) else ""

    def handle_endtag(self, tag: str) -> None:
        self._inside = ""

    def handle_data(self, data: str) -> None:
        if self._inside and data.strip():
            self.inline.append(f"<{self._inside}>")


@pytest.mark.django_db
def test_the_page_loads_from_this_server_alone_and_holds_nothing_inline(client: Client) -> None:
    found = Loads(client.get(DOCS).content.decode())
    assert len([address for address in found.addresses if address.startswith("/static/")]) == 4
    assert [address for address in found.addresses if not re.match(r"/(?!/)", address)] == []
    assert found.inline == []


@pytest.mark.django_db
def test_its_script_and_its_style_name_no_other_host(client: Client) -> None:
    """The bundle itself is full of names of namespaces: what it asks for, the browser below shows."""
    page = Loads(client.get(DOCS).content.decode())
    (script,) = [address for address in page.addresses if "script" in address and "/static/" not in address]
    answer = client.get(script)
    assert answer.headers["Content-Type"].startswith("application/javascript")
    assert not re.search(r"(?i)https?://|[\"']//", answer.content.decode())
    for address in page.addresses:
        if address.endswith(".css"):
            path = finders.find(address.removeprefix("/static/"))
            assert path, address
            css = Path(path).read_text(encoding="utf-8")
            assert not re.search(r"(?i)@import|url\([\"']?(https?:)?//", css), address


@dataclass
class Visit:
    """What a browser saw: text of the page, refusals by the policy, faults of scripts, addresses asked for."""

    text: str = ""
    refused: list[str] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    asked: set[str] = field(default_factory=set)


WATCH = """
window.refused = [];
document.addEventListener("securitypolicyviolation", (event) => {
  window.refused.push(`${event.violatedDirective}: ${event.blockedURI} ${event.sourceFile}:${event.lineNumber}`);
});
"""


def visit(address: str) -> Visit:
    """Open the page, unfold one operation of each kind, and look at its schema."""
    seen = Visit()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page()
        page.add_init_script(WATCH)
        page.on("request", lambda request: seen.asked.add(request.url))
        page.on("pageerror", lambda fault: seen.faults.append(str(fault)))
        page.goto(address)
        _unfold(page)
        seen.text = page.inner_text("body")
        seen.refused = page.evaluate("window.refused")
        browser.close()
    return seen


def _unfold(page: Page) -> None:
    page.wait_for_selector(".opblock-summary-put")
    treatment = page.locator(".opblock-put", has=page.locator(f"[data-path='{TREATMENT}']"))
    treatment.locator(".opblock-summary-control").click()
    for method in ("get", "post", "delete"):
        page.locator(f".opblock-summary-{method} .opblock-summary-control").first.click()
    page.wait_for_selector(".opblock-section-request-body .highlight-code, .opblock-section-request-body pre")
    treatment.locator(".try-out__btn").click()
    treatment.locator("textarea").wait_for()


@pytest.mark.django_db(transaction=True)
def test_a_browser_draws_it_under_the_strict_policy(live_server: LiveServer) -> None:
    if CHROMIUM is None:
        if os.environ.get("REQUIRE_BROWSER") == "1":
            pytest.fail("no Chromium, and REQUIRE_BROWSER=1")
        pytest.skip("no Chromium on this machine")
    with ThreadPoolExecutor(1) as own_thread:  # another test's browser may hold the event loop of this one
        seen = own_thread.submit(visit, f"{live_server.url}{DOCS}").result(timeout=120)
    assert TREATMENT in seen.text
    assert "If-Match" in seen.text
    assert seen.refused == []
    assert seen.faults == []
    assert {address for address in seen.asked if not address.startswith((live_server.url, "data:"))} == set()
    assert f"{live_server.url}/api/v1/schema/" in seen.asked
