"""Nobody signs up by themselves: people are invited by the unit."""

from __future__ import annotations

import logging
from smtplib import SMTPException
from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from allauth.core import context as around
from django.contrib import messages
from django.http import HttpRequest
from django.utils.translation import gettext as _

log = logging.getLogger(__name__)


class InvitedOnly(DefaultAccountAdapter):
    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        """A mail server that is down is told in the log and to whoever asks, the same for every address."""
        try:
            super().send_mail(template_prefix, email, context)
        except (OSError, SMTPException):
            log.exception("The mail server did not take a message")
            words = _("The unit's mail does not work just now: no message was sent. Try later, or ask the unit.")
            messages.error(around.request, words)
