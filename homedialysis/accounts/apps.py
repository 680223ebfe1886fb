from __future__ import annotations

import logging
import uuid
from typing import Any

from allauth.account.signals import password_changed, password_reset
from django.apps import AppConfig
from django.contrib.auth.signals import user_logged_in, user_logged_out, user_login_failed

log = logging.getLogger("homedialysis.people")


class AccountsConfig(AppConfig):
    name = "homedialysis.accounts"
    label = "accounts"
    verbose_name = "People"

    def ready(self) -> None:
        user_logged_out.connect(forget_bedside, dispatch_uid="forget bedside")
        user_logged_in.connect(note_signed_in, dispatch_uid="signed in")
        user_logged_out.connect(note_signed_out, dispatch_uid="signed out")
        user_login_failed.connect(note_failed, dispatch_uid="sign-in failed")
        for changed in (password_changed, password_reset):
            changed.connect(password_is_new, dispatch_uid="password changed")


def forget_bedside(sender: Any, request: Any, user: Any, **kwargs: Any) -> None:
    """A phone that signs out wipes itself, and is no device of this person any more."""
    from homedialysis.accounts.services.bedside_devices import signed_out

    try:
        device_id = uuid.UUID(request.headers.get("X-Bedside-Device", "")) if request else None
    except ValueError:
        device_id = None
    if user:
        session_key = request.session.session_key or "" if request else ""
        signed_out(user=user, device_id=device_id, session_key=session_key)


def note_signed_in(sender: Any, user: Any, **kwargs: Any) -> None:
    from homedialysis.accounts.services.people import own_address_counts

    own_address_counts(user)
    log.info("Signed in", extra={"person": user.pk})


def note_signed_out(sender: Any, user: Any, **kwargs: Any) -> None:
    if user is not None:
        log.info("Signed out", extra={"person": user.pk})


def note_failed(sender: Any, request: Any = None, **kwargs: Any) -> None:
    """Without the address that was typed: a password is typed into the wrong field now and then."""
    log.warning("Sign-in failed", extra={"from_address": request.META.get("REMOTE_ADDR", "") if request else ""})


def password_is_new(sender: Any, user: Any, **kwargs: Any) -> None:
    """Programs that were let in under the old password are let in no more; browsers end by themselves."""
    from homedialysis.accounts.services.leaving import end_tokens

    end_tokens(user=user)
    log.info("Password changed", extra={"person": user.pk})
