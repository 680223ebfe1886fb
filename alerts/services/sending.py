"""Hand one message to the mail server or to a push service, and understand the answer.

The texts are the same for everybody and name nobody: they say that somebody should look, and where.
"""

from __future__ import annotations

import json
import smtplib
from datetime import timedelta
from email.utils import parsedate_to_datetime
from typing import Any
from urllib.parse import urlsplit

import requests
from django.conf import settings
from django.core.mail import EmailMessage
from django.urls import reverse
from django.utils.translation import gettext as _
from pywebpush import WebPushException, webpush

from alerts.models import AlertMessage, PushAddress
from alerts.models.choices import Channel
from alerts.services import push_addresses
from alerts.services.delivery import Answer
from alerts.services.push_keys import private_key
from homedialysis.accounts.services.language import language_for, reading
from homedialysis.accounts.services.units import speaking, unit_speaks

TIMEOUT_SECONDS = 10
TIME_TO_LIVE = 4 * 3600
"""[s] How long a push service keeps a message for a browser that is away."""
GONE = (404, 410)
PUSH_REFUSED = (400, 401, 403, 413)


def send(row: AlertMessage) -> Answer:
    """Send one message over its channel. Never raises for what a server says or for a network that is away."""
    return _push(row) if row.channel == Channel.PUSH else _mail(row)


def words_of(row: AlertMessage) -> tuple[str, str]:
    """Subject and text in the language of whom it goes to. Nothing of any patient: not that there is one."""
    with speaking(unit_speaks()), reading(language_for(row.to)):
        if row.alert_id is None:
            return _("Test message"), _("A test: messages from the home dialysis record reach you here.")
        return _("Please look"), _("Something waits in the home dialysis record and nobody has looked at it yet.")


def _mail(row: AlertMessage) -> Answer:
    if settings.EMAIL_BACKEND == "django.core.mail.backends.console.EmailBackend":
        return Answer(sent=False, code="no_mail_server", refused=True)
    subject, text = words_of(row)
    address = settings.SITE_ADDRESS + reverse("alerts:triage")
    try:
        EmailMessage(subject=subject, body=f"{text}\n\n{address}\n", to=[row.to.email]).send()
    except smtplib.SMTPRecipientsRefused as problem:
        code, words = next(iter(problem.recipients.values()))
        return _smtp_answer(code, words)
    except smtplib.SMTPResponseException as problem:
        # A wrong password or a refused sender is put right at the server: worth another try.
        refused = not isinstance(problem, smtplib.SMTPAuthenticationError | smtplib.SMTPSenderRefused)
        return _smtp_answer(problem.smtp_code, problem.smtp_error, may_refuse=refused)
    except (smtplib.SMTPException, OSError) as problem:
        return Answer(sent=False, code="mail_not_reached", parts={"why": _short(problem)})
    return Answer(sent=True, code="mail_taken")


def _smtp_answer(code: int, words: bytes | str, *, may_refuse: bool = True) -> Answer:
    """From 500 on SMTP means: do not try again (RFC 5321, 4.2.1)."""
    text = words.decode(errors="replace") if isinstance(words, bytes) else words
    refused = may_refuse and code >= 500
    return Answer(sent=False, code="mail_said", parts={"code": code, "words": text}, refused=refused)


def _push(row: AlertMessage) -> Answer:
    if row.push is None:
        return Answer(sent=False, code="no_browser", refused=True)
    key = private_key()
    if key is None:
        return Answer(sent=False, code="no_push_key", refused=True)
    try:
        if not push_addresses.leads_outside(row.push.endpoint):
            return Answer(sent=False, code="push_inside", refused=True)
        response = webpush(
            row.push.subscription,
            data=json.dumps(payload_of(row)),
            vapid_private_key=key,
            vapid_claims={"sub": f"mailto:{settings.DEFAULT_FROM_EMAIL}"},
            ttl=TIME_TO_LIVE,
            timeout=TIMEOUT_SECONDS,
            headers={"Urgency": "high"},
            requests_session=_no_redirects(),
        )
    except WebPushException as problem:
        return _push_answer(row.push, problem)
    except (OSError, ValueError) as problem:
        return Answer(sent=False, code="push_not_reached", parts={"why": _short(problem)})
    return Answer(sent=True, code="push_taken", parts={"code": response.status_code})


def payload_of(row: AlertMessage) -> dict[str, Any]:
    """What the browser shows."""
    subject, text = words_of(row)
    return {"title": subject, "body": text, "url": reverse("alerts:triage")}


def _push_answer(address: PushAddress, problem: WebPushException) -> Answer:
    """An address that is gone is forgotten (RFC 8030, 7.3: 404 or 410)."""
    code = problem.status_code
    if code is None:
        return Answer(sent=False, code="push_not_made", parts={"why": _short(problem)}, refused=True)
    parts = {"host": urlsplit(address.endpoint).hostname, "code": code}
    if code in GONE:
        PushAddress.objects.filter(pk=address.pk).delete()
        return Answer(sent=False, code="push_gone", parts=parts, refused=True)
    dated = problem.response.headers.get("Date", "") if problem.response is not None else ""
    wait = patience(problem.retry_after or "", dated)
    return Answer(sent=False, code="push_said", parts=parts, refused=code in PUSH_REFUSED, wait=wait)


def patience(retry_after: str, dated: str) -> timedelta | None:
    """How long a service wants to be left alone: seconds, or a date held against the answer's own (RFC 9110, 10.2.3).

    None where it does not say, or says what cannot be read.
    """
    if retry_after.isascii() and retry_after.isdigit():
        return timedelta(seconds=int(retry_after[:6]))
    try:
        wait = parsedate_to_datetime(retry_after) - parsedate_to_datetime(dated)
    except (TypeError, ValueError):
        return None
    return max(wait, timedelta(0))


def _no_redirects() -> requests.Session:
    """The address came from a browser: it is asked itself, and nobody it points to."""
    session = requests.Session()
    session.max_redirects = 0
    session.trust_env = False
    return session


def _short(problem: Exception) -> str:
    """Which fault, and of a server's words the first line."""
    words = str(problem).splitlines()
    return f"{type(problem).__name__} {words[0][:120] if words else ''}".strip()
