"""Allergies and dangers: asked or not asked, in the frame of every page, on the phone, with every state kept."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import ProgrammingError, transaction
from django.test import Client
from django.utils import timezone

from homedialysis.accounts.models import User
from sessions.models import Caution, Patient
from sessions.services.cautions import WrittenMeanwhile, cautions_of, write_cautions
from sessions.services.kit import kit

pytestmark = pytest.mark.django_db


def told(patient: Patient) -> list[str]:
    return [str(line) for line in cautions_of(patient)]


STATES: list[tuple[dict[str, Any], str]] = [
    ({}, "Allergies: not asked yet"),
    ({"allergies": "Penicillin"}, "Allergies: Penicillin"),
    ({"no_allergies": True}, "Allergies: none known"),
]


@pytest.mark.parametrize(("given", "words"), STATES)
def test_not_asked_is_not_the_same_as_none(ana: Patient, nurse: User, given: dict[str, Any], words: str) -> None:
    if given:
        write_cautions(Caution(patient=ana, **given), after=None, by=nurse, at=timezone.now())
    assert told(ana) == [words, "Dangers: not asked yet"]
    assert kit(ana, nurse, timezone.now())["patient"]["cautions"] == told(ana)


def test_every_state_stays_and_the_newest_holds(ana: Patient, nurse_client: Client, nurse: User) -> None:
    where = f"/patients/{ana.pk}/cautions/"
    page = nurse_client.get(where)
    first = nurse_client.post(where, {"allergies": "Latex", "no_dangers": "on", "after": page.context["after"]})
    assert first.status_code == 302
    # Somebody whose page is older than that is shown it, with the own words kept.
    late = nurse_client.post(where, {"allergies": "Heparin", "after": ""})
    assert "Nurse Kim wrote meanwhile: Allergies: Latex; Dangers: none noted, asked." in late.content.decode()
    assert 'value="Heparin"' in late.content.decode()
    both = nurse_client.post(where, {"allergies": "x", "no_allergies": "on", "after": late.context["after"]})
    assert "Either words, or that there is nothing: not both." in both.content.decode()
    nurse_client.post(where, {"allergies": "Latex, heparin", "dangers": "Pacemaker", "after": late.context["after"]})
    assert told(ana) == ["Allergies: Latex, heparin", "Dangers: Pacemaker"]
    story = nurse_client.get(where).content.decode()
    assert "Dangers: none noted, asked" in story
    page_of_patient = nurse_client.get(f"/patients/{ana.pk}/").content.decode()
    assert "Allergies: Latex, heparin" in page_of_patient
    assert "Dangers: Pacemaker" in page_of_patient
    with pytest.raises(ProgrammingError, match="Cannot update or delete"), transaction.atomic():
        Caution.objects.update(allergies="")


def test_the_second_of_two_writers_is_told(ana: Patient, nurse: User, nephrologist: User) -> None:
    at = timezone.now()
    write_cautions(Caution(patient=ana, allergies="Iodine"), after=None, by=nephrologist, at=at)
    with pytest.raises(WrittenMeanwhile):
        write_cautions(Caution(patient=ana), after=None, by=nurse, at=at + timedelta(minutes=1))
    assert told(ana)[0] == "Allergies: Iodine"
