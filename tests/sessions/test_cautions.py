"""Allergies and dangers: asked or not asked, in the frame of every page, on the phone, with every state kept."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import ProgrammingError, transaction
from django.test import Client
from django.utils import timezone

from dosing.services.decision.report import sheet_of
from homedialysis.accounts.models import User
from sessions.models import Caution, Patient
from sessions.services.cautions import WrittenMeanwhile, cautions_of, write_cautions
from sessions.services.kit import kit
from tests.factories import FindingFactory

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


VIRUSES: list[tuple[list[tuple[str, str, date]], str]] = [
    ([("hbsag", "positive", date(2026, 3, 2))], "Viruses in the blood: HBsAg, positive (2 Mar 2026)"),
    ([("hbsag", "positive", date(2026, 3, 2)), ("hbsag", "unclear", date(2026, 3, 9)),
      ("hcv", "unclear", date(2026, 3, 9))],
     "Viruses in the blood: HBsAg, positive (2 Mar 2026); hepatitis C, unclear (9 Mar 2026)"),
    ([("hiv", "positive", date(2026, 3, 2)), ("hiv", "negative", date(2026, 3, 9)),
      ("anti_hbs", "positive", date(2026, 3, 2)), ("anti_hbc", "positive", date(2026, 3, 2))], ""),
]  # fmt: skip


@pytest.mark.parametrize(("found", "words"), VIRUSES)
def test_a_virus_that_others_can_catch_is_told_on_every_page_and_not_on_the_phone_at_home(
    ana: Patient, nurse_client: Client, nurse: User, found: list[tuple[str, str, date]], words: str
) -> None:
    for virus, result, day in found:
        FindingFactory(patient=ana, kind="virus", found_on=day, values={"virus": virus, "result": result})
    asked = ["Allergies: not asked yet", "Dangers: not asked yet"]
    assert told(ana) == [*asked, *filter(None, [words])]
    assert kit(ana, nurse, timezone.now())["patient"]["cautions"] == asked
    for path in ("", "prescription/", "timeline/", "months/2026-03/review/"):
        page = nurse_client.get(f"/patients/{ana.pk}/{path}").content.decode()
        assert (words or "Dangers") in page, path
        assert ("Viruses in the blood" in page) == bool(words), path
    assert sheet_of(ana, date(2026, 3, 1), at=timezone.now())["cautions"] == told(ana)


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
