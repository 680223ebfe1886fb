"""Nobody signs up by themselves: people are invited by the unit."""

from __future__ import annotations

import logging
from smtplib import SMTPException
from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from allauth.account.models import EmailAddress
from allauth.core import context as around
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest
from django.utils.translation import gettext as _

from homedialysis.accounts.models import User
from homedialysis.accounts.services.people import own_address_counts

log = logging.getLogger(__name__)


class InvitedOnly(DefaultAccountAdapter):
    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False

    def clean_email(self, email: str) -> str:
        """An address that somebody else signs in with is nobody else's, confirmed or not."""
        cleaned: str = super().clean_email(email)
        user = getattr(around.request, "user", None)
        # Who asks for a new password is nobody yet, and is never told which addresses are known.
        if isinstance(user, User):
            if _belongs_to_another(cleaned, user):
                raise ValidationError(_("%(email)s is the address of somebody else.") % {"email": email})
            own_address_counts(user)  # else the one in use would give way before the new one is confirmed
        return cleaned

    def confirm_email(self, request: HttpRequest, email_address: EmailAddress) -> bool:
        """The address counts from now on, unless it became somebody else's since it was asked for."""
        if _belongs_to_another(email_address.email, email_address.user):
            return False
        return bool(super().confirm_email(request, email_address))

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        """A mail server that is down is told in the log and to whoever asks, the same for every address."""
        try:
            super().send_mail(template_prefix, email, context)
        except (OSError, SMTPException):
            log.exception("The mail server did not take a message")
            words = _("The unit's mail does not work just now: no message was sent. Try later, or ask the unit.")
            messages.error(around.request, words)


def _belongs_to_another(email: str, user: User) -> bool:
    return User.objects.exclude(pk=user.pk).filter(email__iexact=email).exists()
