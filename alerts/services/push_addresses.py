"""Sign a browser up for messages."""

from __future__ import annotations

import base64
import binascii
import ipaddress
import re
import socket
from collections.abc import Mapping
from datetime import datetime
from typing import Any
from urllib.parse import urlsplit

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from alerts.models import PushAddress
from homedialysis.accounts.models import User

MOST_BROWSERS = 10
POINT_BYTES, AUTH_BYTES = 65, 16
"""An uncompressed point of P-256, and the secret of RFC 8291."""
LABEL = "a browser"
NAME_IN_THE_WORLD = re.compile(r"(?:[a-z0-9](?:[a-z0-9-]*[a-z0-9])?\.)+[a-z][a-z0-9-]*[a-z0-9]")
"""Two parts or more, the last of which no number can be; no dot at the end, by which inner names are written too."""
WRITTEN_OUTSIDE = re.compile(r"[^\x21-\x7e]")
"""Line ends, spaces and what else an address cannot hold."""


@transaction.atomic
def sign_up(given: Any, *, person: User, at: datetime) -> PushAddress:
    """Keep what a browser handed out. The same browser again takes the place of its former row, whoever's it was.

    given: {"endpoint", "keys": {"p256dh", "auth"}, "label"}. Raises ValidationError naming the part.
    """
    if not isinstance(given, Mapping) or not isinstance(given.get("keys"), Mapping):
        raise ValidationError(_("endpoint and keys are needed."))
    endpoint, keys = str(given.get("endpoint", "")), given["keys"]
    _check_endpoint(endpoint)
    fields = {
        "p256dh": _checked(keys, "p256dh", POINT_BYTES),
        "auth": _checked(keys, "auth", AUTH_BYTES),
        "label": str(given.get("label") or LABEL)[:60],
    }
    User.objects.select_for_update(no_key=True).get(pk=person.pk)
    held = PushAddress.objects.filter(person=person).exclude(endpoint=endpoint).count()
    if held >= MOST_BROWSERS:
        raise ValidationError(
            _("At most %(most)s browsers are signed up, and %(held)s are: remove one first.")
            % {"most": MOST_BROWSERS, "held": held}
        )
    address, _created = PushAddress.objects.update_or_create(
        endpoint=endpoint, defaults=fields | {"person": person, "added_at": at}
    )
    return address


def _check_endpoint(endpoint: str) -> None:
    """A push service out in the world, never something in the house: the server itself will ask this address."""
    try:
        parts = urlsplit(endpoint)
        host = parts.hostname or ""
        port = parts.port
    except ValueError:
        raise ValidationError(_("endpoint is no address; %(given)s was given.") % {"given": endpoint[:80]}) from None
    if parts.scheme != "https" or port not in (None, 443) or "@" in parts.netloc or len(endpoint) > 600:
        raise ValidationError(
            _("endpoint must be an https address of at most 600 letters; %(given)s was given.")
            % {"given": endpoint[:80]}
        )
    inner = host.endswith((".local", ".internal", ".localhost", ".lan", ".home.arpa"))
    if inner or not NAME_IN_THE_WORLD.fullmatch(host) or WRITTEN_OUTSIDE.search(endpoint):
        raise ValidationError(_("endpoint must name a push service; %(given)s was given.") % {"given": host})


def leads_outside(endpoint: str) -> bool:
    """Whether every address behind the name lies in the world. Asked before each sending: a name may change its place.

    Raises OSError where the name has none.
    """
    host = urlsplit(endpoint).hostname or ""
    found = {place[0] for *_, place in socket.getaddrinfo(host, 443, type=socket.SOCK_STREAM)}
    return all(ipaddress.ip_address(str(each).partition("%")[0]).is_global for each in found)


def _checked(keys: Mapping[str, Any], name: str, length: int) -> str:
    text = str(keys.get(name, ""))
    try:
        data = base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
    except (binascii.Error, ValueError):
        data = b""
    if len(data) != length:
        raise ValidationError(
            _("%(name)s must be %(length)s bytes in base64url; %(given)s… was given.")
            % {"name": name, "length": length, "given": text[:20]}
        )
    return text
