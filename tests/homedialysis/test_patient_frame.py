"""Every page of a patient says whose it is, by name, number and date of birth, and leads to its siblings."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from homedialysis.accounts.models import User
from sessions.models import Patient
from tests.alerts.made_alerts import made_alert
from tests.alerts.test_triage_page import text_of
from tests.conftest import signed_in

PAGES = (
    "dosing:bloods", "dosing:outcomes", "dosing:surroundings", "treatments:access", "treatments:messages",
    "treatments:prescribe", "treatments:devices", "treatments:patient-facts", "treatments:invite",
    "alerts:mutes-of-patient", "alerts:of-patient", "alerts:timeline",
    "alerts:bundle", "alerts:limits", "dosing:planner",
)  # fmt: skip


@pytest.mark.parametrize("name", PAGES)
def test_name_number_and_birth(name: str, ana: Patient, nurse_client: Client) -> None:
    page = nurse_client.get(reverse(name, args=[ana.pk]))
    assert f"{ana.name} number {ana.hospital_number}, born" in text_of(page)
    assert f'href="{reverse("alerts:limits", args=[ana.pk])}"' in page.content.decode()


def test_on_the_page_of_one_alert_too(ana: Patient, nurse_client: Client) -> None:
    page = text_of(nurse_client.get(reverse("alerts:detail", args=[made_alert(ana).pk])))
    assert f"number {ana.hospital_number}, born" in page


def test_no_door_that_is_shut_for_the_reader(ana: Patient, technologist: User) -> None:
    page = signed_in(technologist).get(reverse("alerts:bundle", args=[ana.pk])).content.decode()
    assert reverse("dosing:planner", args=[ana.pk]) not in page
    assert reverse("alerts:limits", args=[ana.pk]) in page
