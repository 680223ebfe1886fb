"""Browsers in which the bedside is installed: met at each contact, taken back when one is lost."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime
from importlib import import_module
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import Q

from homedialysis.accounts.models import BedsideDevice, User
from homedialysis.accounts.services.dates import short_moment

PLATFORMS = {
    "iPhone": "iPhone",
    "iPad": "iPad",
    "Android": "Android",
    "CrOS": "Chromebook",
    "Windows": "Windows",
    "Macintosh": "Mac",
    "Linux": "Linux",
}
BROWSERS = {
    "Edg": "Edge",
    "Firefox": "Firefox",
    "FxiOS": "Firefox",
    "Chrome": "Chrome",
    "CriOS": "Chrome",
    "Safari": "Safari",
}


class TakenBack(Exception):
    """This device was taken back: what lies on it has to go."""

    def __init__(self, device: BedsideDevice) -> None:
        super().__init__(reason_of(device))
        self.device = device


def reason_of(device: BedsideDevice) -> str:
    """When the device was taken back and by whom, for the person who holds it. Raises ValueError when it was not."""
    if device.revoked_at is None or device.revoked_by is None:
        raise ValueError(f"{device} was not taken back")
    return f"{device.revoked_by}, {short_moment(device.revoked_at.astimezone(UTC))} UTC"


def _first(marks: dict[str, str], user_agent: str) -> str:
    return next((words for mark, words in marks.items() if mark in user_agent), "")


def name_from(user_agent: str) -> str:
    """What a browser calls itself, in two words that people know: "Android, Chrome"."""
    known = [_first(marks, user_agent) for marks in (PLATFORMS, BROWSERS)]
    return ", ".join(filter(None, known)) or "Unknown browser"


@transaction.atomic
def contact(*, user: User, device_id: uuid.UUID, name: str, session_key: str, at: datetime) -> BedsideDevice | None:
    """Note that a device came. Raises TakenBack.

    An id that belongs to somebody else is left alone: two people may share a browser, and it comes again with its own.
    """
    new = {"user": user, "name": name, "first_contact": at, "last_contact": at, "session_key": session_key}
    device, made = BedsideDevice.objects.get_or_create(pk=device_id, defaults=new)
    if device.user_id != user.pk:
        return None
    if device.revoked_at:
        raise TakenBack(device)
    if not made:
        device.name, device.last_contact, device.session_key = name, at, session_key
        device.save(update_fields=["name", "last_contact", "session_key"])
    return device


def session_store() -> Any:
    """The class of the sessions of this installation, by its setting: its module's name is that of one of our own."""
    return import_module(settings.SESSION_ENGINE).SessionStore


@transaction.atomic
def take_back(*, device: BedsideDevice, by: User, at: datetime) -> None:
    """End the device's session; at its next contact it learns that it has to wipe what it keeps. Twice is once."""
    held = BedsideDevice.objects.select_for_update().get(pk=device.pk)
    if held.revoked_at:
        return
    if held.session_key:
        session_store()(held.session_key).delete()
    held.revoked_at, held.revoked_by, held.session_key = at, by, ""
    held.save(update_fields=["revoked_at", "revoked_by", "session_key"])


def taken_back(device_id: uuid.UUID) -> BedsideDevice | None:
    """The device, when it was taken back."""
    return BedsideDevice.objects.filter(pk=device_id, revoked_at__isnull=False).select_related("revoked_by").first()


def signed_out(*, user: User, device_id: uuid.UUID | None = None, session_key: str = "") -> None:
    """The person signed out there, and what lay on it is gone: it is no device any more.

    The bedside names itself; any other page of the site is known by the session that the bedside had there.
    """
    there = Q(pk=device_id) if device_id else Q(session_key=session_key)
    if device_id or session_key:
        BedsideDevice.objects.filter(there, user=user, revoked_at=None).delete()
