"""Messages on their way: claim what is due, send it, keep the server's answer, try again later or say that it failed.

A claim moves the next try ahead before anything is sent: a worker that dies leaves the row, and another sends it
later. So a message may come twice, and is never lost. None holds a name or anything clinical.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from alerts.models import AlertMessage
from alerts.services.escalation import unseen_urgent

MOST_ATTEMPTS = 6
FIRST_WAIT = timedelta(minutes=1)
"""Then three times as long each time: 1, 3, 9, 27, 81 minutes."""
LONGEST_WAIT = timedelta(hours=3)
LONGEST_ANSWER = 300

logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Answer:
    """What a server said: a code of `delivery_answers` with its parts.

    refused: for good, so that another try is of no use; wait: the server's own wish.
    """

    sent: bool
    code: str
    parts: Mapping[str, Any] = field(default_factory=dict)
    refused: bool = False
    wait: timedelta | None = None


Sender = Callable[[AlertMessage], Answer]


def deliver_due(send: Sender, *, now: Callable[[], datetime], limit: int = 50) -> int:
    """Send what is due, one message after another; how many were tried. Safe beside other workers."""
    done = 0
    while done < limit and (row := claim(at=now())) is not None:
        done += 1
        if _still_wanted(row, at=now()):
            note(row, _tried(send, row), at=now())
    return done


@transaction.atomic
def claim(*, at: datetime, only: AlertMessage | None = None) -> AlertMessage | None:
    """The message that has been due longest, or `only` that one, for this worker alone, its next try already set."""
    due = AlertMessage.objects.due(at).claimed()
    row: AlertMessage | None = (due if only is None else due.filter(pk=only.pk)).first()
    if row is None:
        return None
    row.attempts += 1
    row.due_at = at + next_wait(row.attempts)
    row.save(update_fields=["attempts", "due_at"])
    return row


def next_wait(attempts: int) -> timedelta:
    """How long after so many tries the next one is due."""
    return min(FIRST_WAIT * int(3 ** (attempts - 1)), LONGEST_WAIT)


def note(row: AlertMessage, answer: Answer, *, at: datetime) -> None:
    """Keep what the server said."""
    row.answer = _kept(answer.code, answer.parts)
    if answer.sent:
        row.sent_at = at
    elif answer.refused or row.attempts >= MOST_ATTEMPTS:
        row.failed_at = at
        logger.error("Message %s failed for good: %s", row.pk, row.answer_words)
    elif answer.wait is not None:
        row.due_at = at + min(max(answer.wait, FIRST_WAIT), LONGEST_WAIT)
    row.save(update_fields=["answer", "sent_at", "failed_at", "due_at"])


def _kept(code: str, parts: Mapping[str, Any]) -> dict[str, Any]:
    """An answer as it is stored; what a server says at length is cut."""
    short = {name: part[:LONGEST_ANSWER] if isinstance(part, str) else part for name, part in parts.items()}
    return {"code": code, "parts": short}


def _tried(send: Sender, row: AlertMessage) -> Answer:
    """A fault of ours while sending is an answer too: the other messages go on."""
    try:
        return send(row)
    except Exception as problem:
        logger.exception("Sending delivery %s broke", row.pk)
        return Answer(sent=False, code="broke", parts={"why": type(problem).__name__})


def _still_wanted(row: AlertMessage, *, at: datetime) -> bool:
    """A test always; else while nobody has looked at the alert. What is not wanted any more is dropped, and says so."""
    if row.alert_id is None:
        return True
    if unseen_urgent().filter(pk=row.alert_id).exists():
        return True
    row.dropped_at, row.answer = at, _kept("not_wanted", {})
    row.save(update_fields=["dropped_at", "answer"])
    return False
