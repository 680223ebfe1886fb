"""Asking every address, as each role, once; what was answered is kept for the tests to look at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.db import transaction
from django.test import Client
from django.utils import timezone

from tests.access.addresses import Address, every_address
from tests.access.table import BODIES, PATIENT_NAMED, TABLE
from tests.access.world import ROLES, World, build_world
from tests.over_http import JSON

METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")
TRY_EVERYTHING = ("patient", "nephrologist", "administrator")
"""Roles that also try the methods an address does not list: together they pass every door."""


@dataclass(frozen=True)
class Said:
    """One answer."""

    status: int
    headers: dict[str, str]
    text: str

    @property
    def is_page(self) -> bool:
        return self.headers.get("Content-Type", "").startswith("text/html")


Walk = dict[tuple[str, str, str], Said]
"""By role, address and method."""


def walk() -> Walk:
    """Build the world and ask. Runs in a transaction of its own, of which nothing stays."""
    world = build_world()
    found: Walk = {}
    for role in ROLES:
        client = world.client(role)
        for address in every_address():
            listed = TABLE.get(address.name, {})
            for method in METHODS if role in TRY_EVERYTHING else listed:
                answer = ask(client, world, address, method)
                text = (b"".join(answer) if answer.streaming else answer.content).decode(errors="replace")
                found[role, address.name, method] = Said(answer.status_code, dict(answer.headers), text)
    return found


def ask(client: Client, world: World, address: Address, method: str) -> Any:
    """One request, of which nothing stays: not in the database, and not in the browser (signing out would)."""
    path = address.path(world.ids)
    if address.name in PATIENT_NAMED and method == "GET":
        path += f"?patient={world.ana.pk}"
    body = BODIES.get((address.name, method), lambda world: {})(world)
    session = client.cookies.get(settings.SESSION_COOKIE_NAME)
    key = session.value if session else None
    with transaction.atomic():
        answer = _send(client, method, path, body)
        transaction.set_rollback(True)
    client.cookies.clear()
    if key is not None:
        client.cookies[settings.SESSION_COOKIE_NAME] = key
    timezone.deactivate()
    return answer


def _send(client: Client, method: str, path: str, body: Any) -> Any:
    if method in ("GET", "DELETE"):
        return client.generic(method, path)
    if method == "POST" and not path.startswith("/api/"):
        return client.post(path, body)
    return getattr(client, method.lower())(path, body, content_type=JSON)
