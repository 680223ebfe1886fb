"""Invite people with a one-time link; only the link's hash is kept."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db import transaction
from django.utils.translation import gettext as _

from homedialysis.accounts.models import DeviceToken, Invitation, Role, User

LINK_HOLDS_FOR = timedelta(days=7)
MOST_DEVICES = 20
"""Tokens that one person may hold at a time."""


class NotInvitable(Exception):
    """Says why this person cannot be invited."""


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


@transaction.atomic
def invite(*, email: str, name: str, role: str, by: User, at: datetime) -> tuple[User, str]:
    """Make the person, who cannot sign in yet, and the secret of the link. Raises NotInvitable.

    Somebody who was invited before but never came gets a new link; the old ones stop working.
    """
    if role not in Role.values:
        raise NotInvitable(
            _("“%(role)s” is no role; roles are %(known)s.") % {"role": role, "known": ", ".join(Role.values)}
        )
    user = User.objects.select_for_update().filter(email=email.lower()).first()
    if user and (user.has_usable_password() or user.role != role):
        raise NotInvitable(
            _("%(email)s already has an account as %(role)s.") % {"email": email, "role": user.get_role_display()}
        )
    if user is None:
        user = User.objects.create_user(email=email, name=name, role=role, is_active=False)
    return user, new_link(user=user, by=by, at=at)


@transaction.atomic
def new_link(*, user: User, by: User, at: datetime) -> str:
    """A fresh secret for a person; earlier unused ones stop working."""
    user.invitations.filter(used_at=None).delete()
    secret = secrets.token_urlsafe(32)
    Invitation.objects.create(
        user=user,
        digest=_digest(secret),
        invited_by=by,
        created_at=at,
        expires_at=at + LINK_HOLDS_FOR,
    )
    return secret


def open_invitation(*, secret: str, at: datetime) -> Invitation | None:
    """The invitation behind a link, while it is unused and in time."""
    found = Invitation.objects.select_related("user").filter(digest=_digest(secret), used_at=None)
    return found.filter(expires_at__gt=at).first()


@transaction.atomic
def accept(*, invitation: Invitation, password: str, at: datetime) -> User:
    """Set the first password and let the person in. A second use of the link finds nothing to use."""
    locked = Invitation.objects.select_for_update().get(pk=invitation.pk)
    if locked.used_at:
        raise NotInvitable(_("This link has been used."))
    locked.used_at = at
    locked.save(update_fields=["used_at"])
    user = locked.user
    user.set_password(password)
    user.is_active = True
    user.save()
    return user


class TooManyDevices(Exception):
    """Says how many devices one person may hold."""


@transaction.atomic
def add_device(*, user: User, name: str, scopes: Iterable[str], at: datetime) -> tuple[DeviceToken, str]:
    """One more device and its token, of which only the hash is kept, for some scopes. Raises TooManyDevices."""
    User.objects.select_for_update(no_key=True).get(pk=user.pk)
    held = DeviceToken.objects.filter(user=user, expiry__gt=at).count()
    if held >= MOST_DEVICES:
        words = _("At most %(most)s devices hold a token, and %(held)s do: take one back first.")
        raise TooManyDevices(words % {"most": MOST_DEVICES, "held": held})
    device, token = DeviceToken.objects.create(user=user, name=name, scopes=list(scopes))
    return device, token
