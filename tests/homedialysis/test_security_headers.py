"""The content policy is strict on every kind of answer: nothing inline, no eval, no other host."""

from __future__ import annotations

import base64
import hashlib

import pytest
from django.conf import settings
from django.test import Client

from sessions.models import Patient

pytestmark = pytest.mark.django_db

ANSWERS = ["/accounts/login/", "/patients/", "/nope/", "/api/v1/docs/", "/api/v1/schema/", "/api/v1/limits/", "/"]


def policy_of(client: Client, path: str) -> dict[str, list[str]]:
    header = client.get(path).headers["Content-Security-Policy"]
    return {name: values for name, *values in (part.split() for part in header.split(";") if part.strip())}


@pytest.mark.parametrize("path", ANSWERS)
def test_the_policy_is_the_same_strict_one_everywhere(nurse_client: Client, path: str) -> None:
    policy = policy_of(nurse_client, path)
    assert policy["default-src"] == ["'none'"]
    assert policy["script-src"] == ["'self'"]
    assert policy["style-src"] == ["'self'", settings.EMPTY_STYLE, settings.MAPS_STYLE]
    assert policy["connect-src"] == policy["form-action"] == ["'self'"]
    assert policy["frame-ancestors"] == policy["base-uri"] == ["'none'"]
    sources = {value for values in policy.values() for value in values}
    assert sources <= {"'self'", "'none'", "data:", "blob:", settings.EMPTY_STYLE, settings.MAPS_STYLE}


def test_the_one_style_that_is_let_in_is_empty() -> None:
    """The hash of no text at all: an element that scripts fill by rule, as Plotly does."""
    digest = base64.b64encode(hashlib.sha256(b"").digest()).decode()
    assert f"'sha256-{digest}'" == settings.EMPTY_STYLE


@pytest.mark.parametrize("path", ANSWERS)
def test_other_headers_of_safety(nurse_client: Client, path: str) -> None:
    headers = nurse_client.get(path).headers
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["Referrer-Policy"] == "same-origin"


def test_the_session_cookie_is_out_of_reach_of_scripts_and_other_sites(client: Client, ana: Patient) -> None:
    assert (
        client.post("/accounts/login/", {"login": "ana@example.org", "password": "a long phrase for tests"}).headers[
            "Location"
        ]
        == "/"
    )
    cookie = client.cookies[settings.SESSION_COOKIE_NAME]
    assert cookie["httponly"]
    assert cookie["samesite"] == "Lax"
