"""Messages to a patient: written at the unit, with who saw them and when."""

from __future__ import annotations

import pytest
from django.db import ProgrammingError, transaction
from django.test import Client

from homedialysis.accounts.models import ReadLog, User
from sessions.models import Message, Patient
from sessions.services.messages import NotAMessageWriter, note_seen, write_message
from tests.crowd import ours
from tests.factories import A_NIGHT, MessageFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def where(ana: Patient) -> str:
    return f"/patients/{ana.pk}/messages/"


def test_a_message_is_written_and_its_reading_shown(
    nurse_client: Client, nurse: User, ana: Patient, partner: User, where: str
) -> None:
    assert nurse_client.post(where, {"words": "Filter change is due.\nRing us."}).status_code == 302
    message = ours(Message).get()
    assert (message.patient, message.sent_by) == (ana, nurse)
    page = nurse_client.get(where).content.decode()
    assert ("Filter change is due.<br>Ring us." in page, "Not seen yet" in page) == (True, True)
    note_seen(message=message, by=partner, at=A_NIGHT, now=A_NIGHT)
    page = nurse_client.get(where).content.decode()
    assert "Seen by Rui, who helps Ana, 2 Mar 2026, 21:30" in page
    assert "Not seen yet" not in page
    assert ReadLog.objects.filter(user=nurse, patient_id=ana.pk, path=where).exists()


@pytest.mark.parametrize("words", ["", "   ", "x" * 1001])
def test_an_empty_or_endless_message_is_refused(nurse_client: Client, where: str, words: str) -> None:
    page = nurse_client.post(where, {"words": words})
    assert (page.status_code, set(page.context["form"].errors)) == (200, {"words"})
    assert not ours(Message).exists()


def test_only_nurse_and_nephrologist_write(ana: Patient, technologist: User, partner: User) -> None:
    for person in (technologist, partner):
        with pytest.raises(NotAMessageWriter):
            write_message(patient=ana, words="Hello", by=person, at=A_NIGHT)


def test_what_was_sent_stays_as_it_was() -> None:
    message = MessageFactory()
    message.words = "Something else"
    with pytest.raises(ProgrammingError, match="Cannot update or delete rows"), transaction.atomic():
        message.save()
