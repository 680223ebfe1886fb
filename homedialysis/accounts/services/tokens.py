"""Signing in with a device's token: for what the token was made for, and for nothing else of its person's."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from knox.auth import TokenAuthentication
from rest_framework.exceptions import PermissionDenied
from rest_framework.permissions import SAFE_METHODS
from rest_framework.request import Request

from homedialysis.accounts.choices.tokens import TokenScope
from homedialysis.accounts.models import DeviceToken, User

USED_AGAIN_AFTER = timedelta(hours=1)


class ScopedTokens(TokenAuthentication):  # type: ignore[misc]
    """Refuses with 403 what lies outside the token's scopes, and names the one that is wanted.

    A view says otherwise than "read" and "write" by `token_scopes`: the scope by method, or None where any will do.
    """

    def authenticate(self, request: Request) -> tuple[User, DeviceToken] | None:
        signed_in = super().authenticate(request)
        if signed_in is None:
            return None
        user, token = signed_in
        wanted = scope_of((request.parser_context or {}).get("view"), request.method or "")
        if wanted is not None and wanted not in token.scopes:
            words = _("This token is not for that: it needs “%(scope)s” (%(name)s).")
            raise PermissionDenied(words % {"scope": wanted.label, "name": wanted.value})
        _note_use(token)
        return user, token


def scope_of(view: Any, method: str) -> TokenScope | None:
    """What a token needs for a method of a view; None: nothing in particular."""
    named: dict[str, TokenScope | None] = getattr(view, "token_scopes", {})
    return named.get(method, TokenScope.READ if method in SAFE_METHODS else TokenScope.WRITE)


def _note_use(token: DeviceToken) -> None:
    now = timezone.now()
    if token.last_used is None or now - token.last_used > USED_AGAIN_AFTER:
        DeviceToken.objects.filter(pk=token.pk).update(last_used=now)
