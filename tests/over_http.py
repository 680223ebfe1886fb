"""Speaking to the API as a phone or a program does."""

from __future__ import annotations

import uuid
from typing import Any

from django.test import Client

TREATMENTS = "/api/v1/treatments/"
BULK = f"{TREATMENTS}bulk/"
JSON = "application/json"


STANDING = "what stands there"
"""For If-Match: whatever is there now."""
ELSEWHERE = '"1-64f1c2a9be300"'
"""The ETag of a version that was never here."""


def address(record_id: uuid.UUID | str, part: str = "") -> str:
    return f"{TREATMENTS}{record_id}/{part}"


def put(client: Client, record_id: uuid.UUID | str, body: Any, if_match: str | None = None) -> Any:
    """PUT a treatment; a dict goes out as JSON, a text as it stands."""
    if if_match is STANDING:
        if_match = client.get(address(record_id)).headers.get("ETag", ELSEWHERE)
    headers = {} if if_match is None else {"If-Match": if_match}
    return client.put(address(record_id), body, content_type=JSON, headers=headers)


def post(client: Client, where: str, body: Any) -> Any:
    return client.post(where, body, content_type=JSON)


def add_readings(client: Client, record_id: uuid.UUID | str, *readings: dict[str, Any]) -> Any:
    return post(client, address(record_id, "readings/"), {"readings": list(readings)})


def faults(response: Any) -> dict[str, dict[str, Any]]:
    """The errors of a refusal by their field."""
    assert response.status_code == 400, response.content
    return {fault["field"]: fault for fault in response.json()["errors"]}
