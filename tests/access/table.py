"""Who may do what where: each address, each method it takes, and what each role gets when it asks for Ana's things.

The columns: nobody signed in, Ana, another patient, Ana's care partner, nurse, nephrologist, technologist,
administrator. A method that is not listed must be accepted from nobody.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from tests.access.world import ROLES, World
from tests.factories import A_NIGHT

#          nobody ana other partner nurse nephr. techn. admin.
OPEN = "      200 200 200 200 200 200 200 200"
SIGNED_IN = " 302 200 200 200 200 200 200 200"
ONWARD = "    302 302 302 302 302 302 302 302"
BEDSIDE = "   302 200 200 200 403 403 403 403"
STAFF = "     302 403 403 403 200 200 200 200"
STAFF_DO = "  302 403 403 403 302 302 302 302"
CLINICAL = "  302 403 403 403 200 200 403 403"
CLINICAL_DO = "302 403 403 403 302 302 403 403"
ADMIN = "     302 403 403 403 403 403 403 200"
ANAS = "      302 200 404 200 200 200 200 200"

API_ALL = "   401 200 200 200 200 200 200 200"
API_NEW = "   401 201 201 201 201 201 201 201"
API_STAFF = " 401 403 403 403 200 200 200 200"
API_ANAS = "  401 200 404 200 200 200 200 200"
API_NAMED = " 401 200 400 200 200 200 200 200"

TABLE: dict[str, dict[str, str]] = {
    "home": {"GET": ONWARD},
    # Signing in: django-allauth's pages. Who is signed in is sent on from the doors.
    "account_login": {"GET": "200 302 302 302 302 302 302 302", "POST": "200 302 302 302 302 302 302 302"},
    "account_logout": {"GET": SIGNED_IN, "POST": ONWARD},
    "account_inactive": {"GET": OPEN},
    "account_signup": {"GET": "200 302 302 302 302 302 302 302", "POST": "200 302 302 302 302 302 302 302"},
    "account_reauthenticate": {"GET": SIGNED_IN, "POST": SIGNED_IN},
    "account_email": {"GET": SIGNED_IN, "POST": ONWARD},
    "account_email_verification_sent": {"GET": OPEN},
    "account_change_password": {"GET": SIGNED_IN, "POST": SIGNED_IN},
    "account_set_password": {"GET": ONWARD, "POST": ONWARD},
    "account_reset_password": {"GET": OPEN, "POST": OPEN},
    "account_confirm_login_code": {"GET": ONWARD, "POST": ONWARD},
    "account_confirm_email": {"GET": OPEN, "POST": "404 404 404 404 404 404 404 404"},
    "account_reset_password_from_key_done": {"GET": OPEN},
    "account_reset_password_from_key": {"GET": OPEN, "POST": OPEN},
    "account_reset_password_done": {"GET": OPEN},
    # People
    "accounts:join": {"GET": OPEN, "POST": OPEN},
    "accounts:team": {"GET": STAFF, "POST": ADMIN},
    "accounts:switch-person": {"POST": "302 403 403 403 403 403 403 302"},
    "accounts:unit": {"GET": STAFF, "POST": ADMIN},
    "accounts:devices": {"GET": SIGNED_IN, "POST": SIGNED_IN},
    "accounts:revoke-device": {"POST": "302 302 404 404 404 404 404 404"},
    # Treatments
    "treatments:tonight": {"GET": BEDSIDE},
    "treatments:record": {"GET": BEDSIDE},
    "treatments:nights": {"GET": BEDSIDE},
    "treatments:versions": {"GET": ANAS},
    "treatments:patients": {"GET": STAFF},
    "treatments:enrol": {"GET": CLINICAL, "POST": CLINICAL},
    "treatments:invite": {"GET": CLINICAL, "POST": CLINICAL},
    "treatments:access": {"GET": CLINICAL, "POST": CLINICAL},
    "treatments:prescribe": {"GET": STAFF, "POST": "302 403 403 403 403 200 403 403"},
    # What was computed
    "dosing:patient": {"GET": STAFF},
    "dosing:bloods": {"GET": CLINICAL, "POST": CLINICAL},
    "dosing:night": {"GET": ANAS},
    "dosing:number": {"GET": ANAS},
    # Alerts
    "alerts:triage": {"GET": STAFF},
    "alerts:triage-list": {"GET": STAFF},
    "alerts:closed": {"GET": STAFF},
    "alerts:detail": {"GET": STAFF},
    "alerts:seen": {"POST": CLINICAL_DO},
    "alerts:note": {"POST": CLINICAL_DO},
    "alerts:close": {"POST": "302 403 403 403 400 400 403 403"},
    "alerts:unit-limits": {"GET": STAFF, "POST": CLINICAL_DO},
    "alerts:limits": {"GET": STAFF, "POST": CLINICAL_DO},
    "alerts:of-patient": {"GET": STAFF},
    "alerts:of-record": {"GET": STAFF},
    "alerts:put-aside": {"GET": STAFF},
    "alerts:try-again": {"POST": STAFF_DO},
    "alerts:heartbeat": {"GET": STAFF},
    # The API
    "api:treatments": {"GET": API_ALL},
    "api:treatments-bulk": {"POST": "401 200 200 200 200 200 403 403"},
    "api:treatment": {"GET": API_ANAS, "PUT": "401 200 400 200 200 200 403 403"},
    "api:treatment-readings": {"POST": "401 200 404 200 200 200 403 403"},
    "api:treatment-versions": {"GET": API_ANAS},
    "api:prescription": {"GET": API_NAMED},
    "api:limits": {"GET": API_ALL},
    "api:patients": {"GET": API_STAFF},
    "api:bloods": {"GET": API_NAMED, "POST": "401 403 403 403 201 201 403 403"},
    "api:devices": {"GET": API_ALL, "POST": API_NEW},
    "api:device": {"DELETE": "401 204 404 404 404 404 404 404"},
    "schema": {"GET": OPEN},
    "api-docs": {"GET": OPEN},
    # For machines; not ready, because no worker has signed
    "alive": {"GET": OPEN},
    "ready": {"GET": "503 503 503 503 503 503 503 503"},
}

PUBLIC = {
    "account_login",
    "account_inactive",
    "account_signup",
    "account_email_verification_sent",
    "account_reset_password",
    "account_confirm_email",
    "account_reset_password_from_key_done",
    "account_reset_password_from_key",
    "account_reset_password_done",
    "accounts:join",
    "schema",
    "api-docs",
    "alive",
    "ready",
}
"""What answers somebody who is not signed in. None of these shows anything of a patient."""

PATIENT_NAMED = {"api:prescription", "api:bloods"}
"""A query names whose things are wanted."""

A_LIMIT = {"name": "venous_high", "value": "260", "why": "Known long line."}
Bodies = dict[tuple[str, str], Callable[[World], Any]]
BODIES: Bodies = {
    ("api:treatments-bulk", "POST"): lambda world: {"treatments": [world.record.as_sent]},
    ("api:treatment", "PUT"): lambda world: world.record.as_sent,
    ("api:treatment-readings", "POST"): lambda world: {
        "readings": [{"at": (A_NIGHT + timedelta(minutes=7)).isoformat(), "pulse": 70}]
    },
    ("api:bloods", "POST"): lambda world: {"results": [potassium(world)]},
    ("api:devices", "POST"): lambda world: {"name": "Scale"},
    ("alerts:note", "POST"): lambda world: {"words": "Will call tomorrow."},
    ("alerts:close", "POST"): lambda world: {"words": "Nothing chosen."},
    ("alerts:unit-limits", "POST"): lambda world: A_LIMIT,
    ("alerts:limits", "POST"): lambda world: A_LIMIT,
}


def potassium(world: World) -> dict[str, Any]:
    return {
        "patient": str(world.ana.pk),
        "analyte": "2823-3",
        "value": 5.1,
        "drawn_at": A_NIGHT.isoformat(),
        "timing": "apart",
    }


def told(name: str, method: str, role: str) -> int:
    """What the table says."""
    return int(TABLE[name][method].split()[ROLES.index(role)])
