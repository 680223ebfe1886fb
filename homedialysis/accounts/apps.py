from __future__ import annotations

import uuid
from typing import Any

from django.apps import AppConfig
from django.contrib.auth.signals import user_logged_out


class AccountsConfig(AppConfig):
    name = "homedialysis.accounts"
    label = "accounts"
    verbose_name = "People"

    def ready(self) -> None:
        user_logged_out.connect(forget_bedside, dispatch_uid="forget bedside")


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
