"""Who may do what where: each address, each method it takes, and what each role gets when it asks for Ana's things.

The columns: nobody signed in, Ana, another patient, Ana's care partner, nurse, nephrologist, technologist,
administrator. A method that is not listed must be accepted from nobody.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any

from django.utils import timezone

from alerts.models import AlertStep
from tests.access.world import ROLES, World
from tests.factories import A_NIGHT

#          nobody ana other partner nurse nephr. techn. admin.
OPEN = "      200 200 200 200 200 200 200 200"
SIGNED_IN = " 302 200 200 200 200 200 200 200"
ONWARD = "    302 302 302 302 302 302 302 302"
BEDSIDE = "   302 200 200 200 403 403 403 403"
BEDSIDE_ON = "302 302 302 302 403 403 403 403"
STAFF = "     302 403 403 403 200 200 200 200"
STAFF_DO = "  302 403 403 403 302 302 302 302"
TECHNICAL = " 302 403 403 403 200 200 200 403"
TECHNICAL_DO = "302 403 403 403 302 302 302 403"
CLINICAL = "  302 403 403 403 200 200 403 403"
CLINICAL_DO = "302 403 403 403 302 302 403 403"
NEPHROLOGIST = "   302 403 403 403 403 200 403 403"
NEPHROLOGIST_DO = "302 403 403 403 403 302 403 403"
ADMIN = "     302 403 403 403 403 403 403 200"
ANAS = "      302 200 404 200 200 200 200 200"
ANAS_OWN = "  302 200 404 200 403 403 403 403"

API_ALL = "   401 200 200 200 200 200 200 200"
API_NEW = "   401 201 201 201 201 201 201 201"
API_NOTHING = "401 404 404 404 404 404 404 404"
API_STAFF = " 401 403 403 403 200 200 200 200"
API_ANAS = "  401 200 404 200 200 200 200 200"
API_NAMED = " 401 200 400 200 200 200 200 200"
API_BEDSIDE = "401 200 400 200 403 403 403 403"

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
    "accounts:person": {"GET": ADMIN, "POST": ADMIN},
    "alerts:first-hour": {"GET": STAFF, "POST": STAFF},
    "alerts:leaving": {"GET": STAFF, "POST": "302 403 403 403 200 200 403 200"},
    "treatments:patient-facts": {"GET": CLINICAL, "POST": CLINICAL},
    "treatments:places": {"GET": CLINICAL, "POST": CLINICAL},
    "treatments:end-place": {"POST": CLINICAL_DO},
    "accounts:switch-person": {"POST": "302 403 403 403 403 403 403 302"},
    "accounts:unit": {"GET": STAFF, "POST": ADMIN},
    "accounts:account": {"GET": SIGNED_IN},
    "accounts:language": {"POST": ONWARD},
    "accounts:own-units": {"POST": ONWARD},
    "dosing:analyte-units": {"GET": ADMIN, "POST": ADMIN},
    "accounts:devices": {"GET": SIGNED_IN, "POST": SIGNED_IN},
    "accounts:take-bedside-back": {"POST": "302 302 404 404 404 404 404 404"},
    "accounts:revoke-device": {"POST": "302 302 404 404 404 404 404 404"},
    # Treatments
    "treatments:tonight": {"GET": BEDSIDE},
    "treatments:offline": {"GET": OPEN},
    "treatments:service-worker": {"GET": OPEN},
    "treatments:manifest": {"GET": OPEN},
    "treatments:record": {"GET": BEDSIDE_ON},
    "treatments:nights": {"GET": BEDSIDE_ON},
    "treatments:devices": {"GET": STAFF},
    "treatments:dialysers": {"GET": STAFF},
    "treatments:new-dialyser": {"GET": TECHNICAL, "POST": TECHNICAL},
    "treatments:dialyser": {"GET": TECHNICAL, "POST": TECHNICAL},
    "treatments:take-device-back": {"POST": "302 403 403 403 302 302 403 302"},
    "treatments:who-sees": {"GET": "302 200 404 403 200 200 403 200"},
    "treatments:end-help": {"POST": "302 302 404 403 302 302 403 302"},
    "treatments:switch-patient": {"POST": "302 403 403 403 302 302 403 302"},
    "treatments:versions": {"GET": ANAS},
    "treatments:takeout-json": {"GET": ANAS_OWN},
    "treatments:takeout-zip": {"GET": ANAS_OWN},
    "treatments:own-flow-sheet": {"GET": BEDSIDE_ON},
    "treatments:flow-sheet": {"GET": ANAS},
    "treatments:wall-sheet": {"GET": ANAS},
    "treatments:patients": {"GET": STAFF},
    "treatments:enrol": {"GET": CLINICAL, "POST": CLINICAL},
    "treatments:findings": {"GET": CLINICAL, "POST": CLINICAL},
    "treatments:finding": {"GET": CLINICAL, "POST": CLINICAL},
    "treatments:medicines": {"GET": CLINICAL, "POST": CLINICAL},
    "treatments:medicine": {"GET": CLINICAL, "POST": CLINICAL},
    "api:medications": {"GET": API_NAMED},
    "treatments:cautions": {"GET": CLINICAL, "POST": CLINICAL},
    "treatments:from-paper": {"GET": CLINICAL},
    "treatments:invite": {"GET": CLINICAL, "POST": CLINICAL},
    "treatments:access": {"GET": CLINICAL, "POST": CLINICAL},
    "treatments:patient-run-sheet": {"GET": CLINICAL, "POST": CLINICAL},
    "treatments:messages": {"GET": CLINICAL, "POST": CLINICAL_DO},
    "treatments:not-handed-over-seen": {"POST": STAFF_DO},
    "treatments:unit-texts": {"GET": STAFF},
    "treatments:unit-text": {"GET": STAFF, "POST": CLINICAL},
    "treatments:run-sheet": {"GET": STAFF, "POST": CLINICAL},
    "treatments:text-version": {"GET": STAFF},
    "treatments:signing": {"GET": STAFF},
    "treatments:signing-part": {"GET": STAFF, "POST": "302 403 403 403 400 400 403 403"},
    "treatments:signing-patient-sheet": {"GET": CLINICAL, "POST": "302 403 403 403 400 400 403 403"},
    "treatments:prescribe": {"GET": STAFF, "POST": "302 403 403 403 403 200 403 403"},
    "treatments:surroundings-note": {"GET": TECHNICAL, "POST": TECHNICAL_DO},
    "treatments:surroundings-change": {"GET": TECHNICAL, "POST": TECHNICAL_DO},
    "treatments:surroundings-unit": {"GET": STAFF},
    "treatments:surroundings-unit-note": {"GET": TECHNICAL, "POST": TECHNICAL_DO},
    "treatments:surroundings-unit-change": {"GET": TECHNICAL, "POST": TECHNICAL_DO},
    # What was computed
    "dosing:patient": {"GET": STAFF},
    "dosing:surroundings": {"GET": STAFF},
    "dosing:water-release": {"GET": TECHNICAL, "POST": "302 403 403 403 400 400 400 403"},
    "dosing:surroundings-all": {"GET": STAFF},
    "dosing:bloods": {"GET": CLINICAL, "POST": CLINICAL},
    "dosing:blood": {"GET": CLINICAL, "POST": CLINICAL},
    "dosing:urine": {"POST": CLINICAL},
    "dosing:planner": {"GET": CLINICAL},
    "dosing:planner-draft": {"POST": CLINICAL_DO},
    "dosing:planner-expected": {"GET": CLINICAL},
    "treatments:take-back": {"POST": NEPHROLOGIST_DO},
    "treatments:drop-draft": {"POST": CLINICAL_DO},
    "dosing:months": {"GET": STAFF},
    "dosing:month": {"GET": STAFF},
    "dosing:next-review": {"GET": CLINICAL_DO},
    "dosing:target-weight": {"GET": CLINICAL},
    "dosing:changes-of": {"GET": CLINICAL},
    "dosing:changes": {"GET": CLINICAL},
    "dosing:review-ranges": {"GET": STAFF, "POST": CLINICAL},
    "dosing:month-number": {"GET": STAFF},
    "dosing:review": {"GET": CLINICAL, "POST": CLINICAL_DO},
    "dosing:review-pdf": {"GET": CLINICAL},
    "dosing:unit-report": {"GET": STAFF},
    "dosing:unit-behind": {"GET": STAFF},
    "dosing:outcomes": {"GET": CLINICAL, "POST": CLINICAL},
    "dosing:outcome": {"GET": CLINICAL, "POST": CLINICAL_DO},
    "dosing:review-plan": {"POST": CLINICAL},
    "dosing:review-sign": {"POST": NEPHROLOGIST_DO},
    "dosing:review-add": {"POST": CLINICAL_DO},
    "dosing:review-release": {"POST": NEPHROLOGIST_DO},
    "dosing:plan-done": {"POST": CLINICAL_DO},
    "dosing:patient-letters": {"GET": "302 200 404 200 403 403 403 403"},
    "dosing:jobs": {"GET": NEPHROLOGIST, "POST": NEPHROLOGIST_DO},
    "dosing:jobs-progress": {"GET": NEPHROLOGIST},
    "dosing:job-stop": {"POST": NEPHROLOGIST_DO},
    "dosing:job-go-on": {"POST": NEPHROLOGIST_DO},
    "dosing:job-fetch": {"GET": "302 403 403 403 403 404 403 403"},
    "dosing:imports": {"GET": CLINICAL, "POST": CLINICAL},
    "dosing:import": {"GET": CLINICAL, "POST": CLINICAL_DO},
    "dosing:import-rejects": {"GET": CLINICAL},
    "dosing:import-original": {"GET": CLINICAL},
    "dosing:new-laboratory": {"GET": CLINICAL, "POST": CLINICAL},
    "dosing:laboratory": {"GET": CLINICAL, "POST": CLINICAL},
    "dosing:api-imports": {"POST": "401 403 403 403 400 400 403 403"},
    "dosing:api-import": {"GET": API_STAFF},
    "dosing:fhir-metadata": {"GET": OPEN},
    "dosing:fhir-patient": {"GET": API_ANAS},
    "dosing:fhir-everything": {"GET": API_ANAS},
    "dosing:fhir-search": {"GET": API_ANAS},
    "dosing:fhir-read": {"GET": API_ANAS},
    "dosing:night-numbers": {"GET": API_ANAS},
    "dosing:month-numbers": {"GET": API_STAFF},
    "dosing:fhir-nothing": {"GET": API_NOTHING},
    "dosing:night": {"GET": ANAS},
    "dosing:number": {"GET": ANAS},
    "dosing:answer": {"GET": API_ANAS},
    # Alerts
    "alerts:triage": {"GET": STAFF},
    "alerts:triage-list": {"GET": STAFF},
    "alerts:closed": {"GET": STAFF},
    "alerts:bundle": {"GET": STAFF},
    "alerts:bundle-live": {"GET": STAFF},
    "alerts:picture": {"GET": STAFF},
    "alerts:act": {"POST": "302 403 403 403 400 400 403 403"},
    "alerts:log-call": {"POST": CLINICAL_DO},
    "alerts:handover": {"GET": STAFF},
    "alerts:quality": {"GET": STAFF},
    "alerts:rota": {"GET": STAFF, "POST": CLINICAL_DO},
    "alerts:drop-turn": {"POST": CLINICAL_DO},
    "alerts:drop-absence": {"POST": CLINICAL_DO},
    "alerts:deliveries": {"GET": STAFF},
    "alerts:test-message": {"POST": STAFF_DO},
    "alerts:failures-read": {"POST": STAFF_DO},
    "alerts:push-sign-up": {"POST": "302 403 403 403 400 400 400 400"},
    "alerts:push-drop": {"POST": "302 403 403 403 302 404 404 404"},
    "alerts:staff-worker": {"GET": OPEN},
    "alerts:charts": {"GET": STAFF},
    "alerts:timeline": {"GET": STAFF},
    "alerts:detail": {"GET": STAFF},
    "alerts:seen": {"POST": CLINICAL_DO},
    "alerts:note": {"POST": CLINICAL_DO},
    "alerts:close": {"POST": "302 403 403 403 302 302 403 403"},
    "alerts:reopen": {"POST": CLINICAL_DO},
    "alerts:take-up": {"POST": CLINICAL_DO},
    "alerts:unit-limits": {"GET": STAFF, "POST": CLINICAL},
    "alerts:limits": {"GET": STAFF, "POST": CLINICAL},
    "alerts:mutes-of-patient": {"GET": STAFF, "POST": CLINICAL_DO},
    "alerts:lift-mute": {"POST": CLINICAL_DO},
    "alerts:replays": {"GET": STAFF, "POST": CLINICAL_DO},
    "alerts:replays-live": {"GET": STAFF},
    "alerts:stop-replay": {"POST": CLINICAL_DO},
    "alerts:resume-replay": {"POST": CLINICAL_DO},
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
    "api:bedside": {"GET": API_BEDSIDE},
    "api:bedside-copies": {"POST": "401 200 200 200 403 403 403 403"},
    "api:bedside-acknowledge": {"POST": API_BEDSIDE},
    "api:bedside-left-out": {"PUT": API_BEDSIDE, "DELETE": "401 204 204 204 403 403 403 403"},
    "api:bedside-not-handed-over": {
        "PUT": API_BEDSIDE,
        "DELETE": "401 204 204 204 403 403 403 403",
    },
    "api:bedside-message-seen": {"POST": "401 200 404 200 403 403 403 403"},
    "api:limits": {"GET": API_ALL},
    "api:patients": {"GET": API_STAFF},
    "api:bloods": {"GET": API_NAMED, "POST": "401 403 403 403 201 201 403 403"},
    "api:water": {"GET": API_NAMED, "POST": "401 201 400 201 201 201 201 403"},
    "api:counts": {"GET": API_NAMED, "POST": "401 201 400 201 201 201 201 403"},
    "api:done": {"GET": API_NAMED, "POST": "401 201 400 201 201 201 201 403"},
    "api:devices": {"GET": API_ALL, "POST": API_NEW},
    "api:bedside-device": {"GET": "204 204 204 204 204 204 204 204"},
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
    "alerts:staff-worker",
    "api:bedside-device",
    "treatments:offline",
    "treatments:service-worker",
    "treatments:manifest",
    "dosing:fhir-metadata",
    "schema",
    "api-docs",
    "alive",
    "ready",
}
"""What answers somebody who is not signed in. None of these shows anything of a patient."""

PATIENT_NAMED = {
    "api:prescription", "api:bedside", "api:bloods", "api:medications", "api:water", "api:counts", "api:done",
    "dosing:fhir-search",
}  # fmt: skip
"""A query names whose things are wanted."""

AN_INTERVAL = {"kind": "carbon_change", "every_days": "90"}
A_LIMIT = {"name": "venous_high", "value": "260", "why": "Known long line."}
A_MUTE = {
    "mute-rule": "venous_high",
    "mute-until": f"{timezone.localdate() + timedelta(days=7):%Y-%m-%d}",
    "mute-why": "Known.",
}
Bodies = dict[tuple[str, str], Callable[[World], Any]]
BODIES: Bodies = {
    ("api:treatments-bulk", "POST"): lambda world: {"treatments": [world.record.as_sent]},
    ("api:treatment", "PUT"): lambda world: world.record.as_sent,
    ("api:treatment-readings", "POST"): lambda world: {
        "readings": [{"at": (A_NIGHT + timedelta(minutes=7)).isoformat(), "pulse": 70}]
    },
    ("api:bloods", "POST"): lambda world: {"results": [potassium(world)]},
    ("accounts:language", "POST"): lambda world: {"language": "en"},
    ("api:bedside-left-out", "PUT"): lambda world: {
        "patient": str(world.ana.pk),
        "day": f"{timezone.localdate():%Y-%m-%d}",
        "reason": "ill",
        "at": timezone.now().isoformat(),
    },
    ("api:bedside-not-handed-over", "PUT"): lambda world: {
        "patient": str(world.ana.pk),
        "what": "treatment",
        "status": 413,
        "since": timezone.now().isoformat(),
    },
    ("api:bedside-copies", "POST"): lambda world: {"copies": {str(world.record.pk): world.record.etag}},
    ("api:bedside-acknowledge", "POST"): lambda world: {
        "patient": str(world.ana.pk),
        "version": 1,
        "at": A_NIGHT.isoformat(),
    },
    ("api:bedside-message-seen", "POST"): lambda world: {"at": A_NIGHT.isoformat()},
    ("treatments:messages", "POST"): lambda world: {"words": "Please ring us on Monday."},
    ("dosing:outcome", "POST"): lambda world: {"task": "take back", "why": "Another patient's."},
    ("treatments:surroundings-note", "POST"): lambda world: AN_INTERVAL,
    ("treatments:surroundings-change", "POST"): lambda world: AN_INTERVAL,
    ("treatments:surroundings-unit-note", "POST"): lambda world: AN_INTERVAL | {"kind": "service"},
    ("treatments:surroundings-unit-change", "POST"): lambda world: AN_INTERVAL,
    ("api:water", "POST"): lambda world: noted(world, kind="endotoxin", value=0.1, sampled_at=A_NIGHT.isoformat()),
    ("api:counts", "POST"): lambda world: {
        "patient": str(world.ana.pk),
        "counted_at": A_NIGHT.isoformat(),
        "counts": [{"id": str(uuid.uuid4()), "item": world.ids["item_id"], "count": 3}],
    },
    ("api:done", "POST"): lambda world: noted(world, kind="service", done_at=A_NIGHT.isoformat()),
    ("api:devices", "POST"): lambda world: {"name": "Scale", "scopes": ["read"]},
    ("alerts:log-call", "POST"): lambda world: {"result": "no_answer"},
    ("alerts:rota", "POST"): lambda world: {"what": "routine", "seen_within_minutes": 45, "reopen_days": 7},
    ("alerts:note", "POST"): lambda world: {"words": "Will call tomorrow."},
    ("alerts:close", "POST"): lambda world: {
        "outcome": "spoken",
        "words": "All is well.",
        "newest_step": newest(world),
    },
    ("alerts:unit-limits", "POST"): lambda world: A_LIMIT,
    ("alerts:limits", "POST"): lambda world: A_LIMIT,
    ("alerts:mutes-of-patient", "POST"): lambda world: A_MUTE,
    ("alerts:lift-mute", "POST"): lambda world: {"why": "Its reason is over."},
    ("alerts:replays", "POST"): lambda world: {"why": "New limits."},
}


def newest(world: World) -> str:
    """The last step of the alert, as the page would have shown it."""
    return str(AlertStep.objects.filter(alert=world.ids["alert_id"]).latest("pk").pk)


def noted(world: World, **fields: Any) -> dict[str, Any]:
    return {"id": str(uuid.uuid4()), "patient": str(world.ana.pk)} | fields


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
