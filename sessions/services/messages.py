"""Words from the unit to a patient: written once, seen by each person at the bedside."""

from __future__ import annotations

from datetime import datetime

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from homedialysis.accounts.models import User
from sessions.models import Message, MessageSeen, Patient


class NotAMessageWriter(Exception):
    """Says why this message was not sent."""


def write_message(*, patient: Patient, words: str, by: User, at: datetime) -> Message:
    """Send words to a patient. Raises NotForWriting for whom is no nurse or nephrologist."""
    if not by.is_clinical:
        raise NotAMessageWriter(_("Only a nurse or a nephrologist writes to a patient."))
    message: Message = Message.objects.create(patient=patient, words=words, sent_by=by, sent_at=at)
    return message


def unseen(patient: Patient, reader: User) -> QuerySet[Message]:
    """What this person has not seen yet, oldest first."""
    waiting = Message.objects.visible_to(reader).filter(patient=patient).exclude(seen__by=reader)
    return waiting.select_related("sent_by").order_by("sent_at", "pk")


def note_seen(*, message: Message, by: User, at: datetime, now: datetime) -> MessageSeen:
    """Note that `by` has seen it, `at` by the phone's clock. Said twice, the first time stands."""
    kept, _new = MessageSeen.objects.get_or_create(message=message, by=by, defaults={"at": at, "received_at": now})
    return kept
