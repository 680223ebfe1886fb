"""No page leads anybody to a door that is shut for them, or to a page that is not there."""

from __future__ import annotations

import re
from html import unescape

import pytest
from django.test import Client
from django.urls import resolve

from tests.access.addresses import every_address
from tests.access.table import TABLE, told
from tests.access.world import ROLES, World

LINK = re.compile(r'<a\b[^>]*\bhref="(/[^"#]*)')
FEWEST = {"nobody": 1, "patient": 3, "other": 3, "partner": 3}
"""How many different places the pages of a role lead to at least; twenty for the staff."""
OF_THE_PHONE = "treatments:offline"
"""The page that a phone shows without a network: the same for everybody, and it leads to the bedside."""


def pages_of(client: Client, world: World, role: str) -> list[str]:
    """The texts of all pages that the role may open without asking for anything."""
    known = [each for each in every_address() if "GET" in TABLE[each.name] and each.name != OF_THE_PHONE]
    listed = [each for each in known if told(each.name, "GET", role) == 200]
    answers = [client.get(each.path(world.ids)) for each in listed]
    return [
        answer.content.decode()
        for answer in answers
        if answer.headers.get("Content-Type", "").startswith("text/html") and not answer.streaming
    ]


def links_in(pages: list[str]) -> dict[str, str]:
    """One address for each page they lead to, by its name."""
    found: dict[str, str] = {}
    for link in (unescape(link) for page in pages for link in LINK.findall(page)):
        found.setdefault(resolve(link.partition("?")[0]).view_name, link)
    return found


@pytest.mark.django_db
@pytest.mark.parametrize("role", ROLES)
def test_every_link_that_a_role_sees_opens_for_it(world: World, role: str) -> None:
    client = world.client(role)
    links = links_in(pages_of(client, world, role))
    assert len(links) >= FEWEST.get(role, 20)
    shut = {link: status for link in links.values() if (status := client.get(link).status_code) >= 400}
    assert shut == {}
