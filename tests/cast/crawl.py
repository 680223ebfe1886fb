"""Every address that can name a member of the cast, as each role, and what must not stand on a page."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from django.test import Client

from alerts.models import Alert
from homedialysis.accounts.models import Role, User
from sessions.models import Patient
from tests.access.addresses import Address, every_address
from tests.access.table import PATIENT_NAMED, TABLE, told
from tests.cast.page_text import PageText
from tests.conftest import signed_in

STAFF = (Role.NURSE, Role.NEPHROLOGIST, Role.TECHNOLOGIST, Role.ADMINISTRATOR)
PROGRAMS_WORDS = re.compile(
    r"\bNone\b(?! [a-z]{4}| so far| yet| of (?:it|these)|\.|:|$)|\bnan\b|\bNaN\b|\bInfinity\b|datetime\.|\{\{|\{%"
)
"""What a program writes where something is missing. “None noted”, “None so far” and their like are ours."""


def ids_of(patient: Patient, month: str) -> dict[str, Any]:
    """A value for each name that an address of this member may hold."""
    last = patient.treatments.latest("started_at")
    alert = Alert.objects.filter(patient=patient).first()
    found = {
        "patient_id": patient.pk,
        "record_id": last.pk,
        "month": month,
        "number_key": "uf_rate",
        "month_key": "uf_rate_mean",
        "fhir_kind": "Procedure",
        "fhir_key": last.pk,
    }
    return found | ({"alert_id": alert.pk} if alert else {})


def addresses_of(ids: dict[str, Any]) -> Iterator[Address]:
    """Those that speak of this member."""
    for address in every_address():
        names_one = set(address.holds) & {"patient_id", "record_id", "alert_id", "fhir_key"}
        named = bool(names_one) or address.name in PATIENT_NAMED
        if named and "GET" in TABLE[address.name] and set(address.holds) <= set(ids) | {"key"}:
            yield address


ELSEWHERE = ("ready", "schema", "api-docs", "account_logout")
"""Not about the people of the unit."""


def addresses_of_the_unit() -> Iterator[Address]:
    """Pages about everybody."""
    for address in every_address():
        known = "GET" in TABLE[address.name] and set(address.holds) <= {"month"}
        if known and address.name not in (*PATIENT_NAMED, *ELSEWHERE):
            yield address


def path_of(address: Address, ids: dict[str, Any]) -> str:
    path = address.path(ids)
    return f"{path}?patient={ids['patient_id']}" if address.name in PATIENT_NAMED else path


def ask(client: Client, address: Address, ids: dict[str, Any], role: str) -> list[str]:
    """What is wrong with an answer; nothing where it is as the table says and reads well."""
    path = path_of(address, ids)
    answer: Any = client.get(path)
    if answer.status_code != told(address.name, "GET", role):
        return [f"{role} {path}: {answer.status_code}"]
    content = b"".join(answer) if answer.streaming else answer.content
    if not answer.headers.get("Content-Type", "").startswith(("text/html", "application/json", "application/fhir")):
        return []
    html = content.decode()
    text = PageText(html).text if "html" in answer.headers["Content-Type"] else html
    return [
        f"{role} {path}: …{text[max(0, found.start() - 40) : found.end() + 40]}…"
        for found in PROGRAMS_WORDS.finditer(text)
    ]


def faults_of(patient: Patient, roles: tuple[str, ...], month: str) -> list[str]:
    """All that is wrong with the pages of one member."""
    ids, faults = ids_of(patient, month), []
    for role in roles:
        client = signed_in(_person(patient, role))
        for address in addresses_of(ids):
            faults += ask(client, address, ids, role)
    return faults


def faults_of_the_unit(role: str, month: str) -> list[str]:
    """All that is wrong with the pages about everybody, as one role."""
    client = signed_in(User.objects.filter(role=role, is_active=True).first())
    return [fault for address in addresses_of_the_unit() for fault in ask(client, address, {"month": month}, role)]


def _person(patient: Patient, role: str) -> User | None:
    if role == "patient":
        return patient.account
    if role == "partner":
        return User.objects.get(cares_for__patient=patient)
    return User.objects.filter(role=role, is_active=True).first()
