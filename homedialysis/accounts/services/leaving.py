"""End a person's access: pages, programs and phones at once, and let somebody in again."""

from __future__ import annotations

from datetime import datetime

from django.contrib.auth import SESSION_KEY
from django.db import transaction

from homedialysis.accounts.models import BedsideDevice, DeviceToken, User
from homedialysis.accounts.services.bedside_devices import session_store, take_back


@transaction.atomic
def shut_out(*, user: User, by: User, at: datetime) -> None:
    """The person cannot sign in any more, and nothing by which they are signed in goes on."""
    user.is_active = False
    user.save(update_fields=["is_active"])
    user.invitations.filter(used_at=None).delete()
    sign_out_everywhere(user=user, by=by, at=at)


def let_in(*, user: User) -> None:
    """The person may sign in again, with the password of before; no old session or token comes to life."""
    user.is_active = True
    user.save(update_fields=["is_active"])


@transaction.atomic
def sign_out_everywhere(*, user: User, by: User, at: datetime) -> None:
    """Programs, browsers and phones; a phone deletes what it keeps at its next contact."""
    end_tokens(user=user)
    for device in BedsideDevice.objects.filter(user=user).in_use():
        take_back(device=device, by=by, at=at)
    sessions = session_store().get_model_class().objects.filter(expire_date__gt=at)
    for session in sessions:  # nothing in the table says whose one is
        if session.get_decoded().get(SESSION_KEY) == str(user.pk):
            session.delete()


def end_tokens(*, user: User) -> None:
    DeviceToken.objects.filter(user=user).delete()
