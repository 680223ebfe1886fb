"""The schema that is kept here is the one that the code has, and it is valid OpenAPI 3."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import yaml
from django.core.management import call_command
from django.test import Client
from openapi_spec_validator import validate

KEPT = Path(__file__).with_name("openapi.yaml")
OPEN_TO_ALL = {"/api/v1/devices/bedside/{device_id}/"}
"""Asked by a phone whose session is over; its id, which nobody else knows, is all that it has left."""
RENEW = "manage.py spectacular --validate --fail-on-warn --file tests/api_contract/openapi.yaml"


@pytest.fixture(scope="module")
def kept() -> dict[str, Any]:
    found: dict[str, Any] = yaml.safe_load(KEPT.read_text(encoding="utf-8"))
    return found


def test_the_schema_that_is_kept_is_the_one_the_code_has(tmp_path: Path) -> None:
    made = tmp_path / "openapi.yaml"
    call_command("spectacular", "--validate", "--fail-on-warn", "--file", str(made))
    same = made.read_text(encoding="utf-8") == KEPT.read_text(encoding="utf-8")
    assert same, f"The API has changed. If that was meant, and old clients go on working: {RENEW}"


def test_it_is_valid(kept: dict[str, Any]) -> None:
    validate(kept)
    assert kept["openapi"].startswith("3.")


@pytest.mark.django_db
def test_it_is_served_as_it_is_kept(client: Client, kept: dict[str, Any]) -> None:
    assert yaml.safe_load(client.get("/api/v1/schema/").content) == kept


def operations(spec: dict[str, Any]) -> list[tuple[str, str, dict[str, Any]]]:
    return [(path, method, each) for path, row in spec["paths"].items() for method, each in row.items()]


def test_every_operation_says_what_it_does_and_how_to_sign_in(kept: dict[str, Any]) -> None:
    for path, method, operation in operations(kept):
        assert operation["description"], (method, path)
        open_to_all = [{}] if path in OPEN_TO_ALL else []
        assert operation["security"] == [{"deviceToken": []}, {"cookieAuth": []}, *open_to_all], (method, path)
        assert operation["operationId"], (method, path)


def test_it_has_the_addresses_of_the_api_and_no_other(kept: dict[str, Any]) -> None:
    found = {(method, path.removeprefix("/api/v1")) for path, method, _ in operations(kept)}
    assert found == {
        ("get", "/treatments/"),
        ("post", "/bedside/copies/"),
        ("post", "/treatments/bulk/"),
        ("get", "/treatments/{record_id}/"),
        ("put", "/treatments/{record_id}/"),
        ("post", "/treatments/{record_id}/readings/"),
        ("get", "/patients/{patient_id}/months/{month}/"),
        ("get", "/treatments/{record_id}/numbers/"),
        ("get", "/treatments/{record_id}/versions/"),
        ("get", "/bedside/"),
        ("post", "/bedside/acknowledge/"),
        ("post", "/bedside/messages/{message_id}/seen/"),
        ("get", "/bedside/nights/{record_id}/answer/"),
        ("put", "/bedside/left-out/{said_id}/"),
        ("delete", "/bedside/left-out/{said_id}/"),
        ("delete", "/bedside/not-handed-over/{entry_id}/"),
        ("put", "/bedside/not-handed-over/{entry_id}/"),
        ("get", "/bedside/water/"),
        ("post", "/bedside/water/"),
        ("get", "/bedside/counts/"),
        ("post", "/bedside/counts/"),
        ("get", "/bedside/done/"),
        ("post", "/bedside/done/"),
        ("post", "/bloods/import/"),
        ("get", "/bloods/import/{import_id}/"),
        ("get", "/devices/bedside/{device_id}/"),
        ("get", "/prescriptions/current/"),
        ("get", "/limits/"),
        ("get", "/patients/"),
        ("get", "/bloods/"),
        ("post", "/bloods/"),
        ("get", "/medications/"),
        ("get", "/devices/"),
        ("post", "/devices/"),
        ("delete", "/devices/{device_id}/"),
    }
