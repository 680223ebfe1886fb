"""The key by which push services know this installation (VAPID, RFC 8292): a secret, and its public half for browsers.

It comes from the environment, or from a file beside the data that `manage.py make_push_keys` writes.
"""

from __future__ import annotations

import base64
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from django.conf import settings

FILE_NAME = "push_key"
BYTES = 32


def key_file() -> Path:
    return Path(settings.DATA_DIR) / FILE_NAME


def private_key() -> str | None:
    """32 bytes in base64url, or None where none is set up."""
    given = settings.PUSH_KEY
    if not given and key_file().is_file():
        given = key_file().read_text(encoding="ascii").strip()
    return given or None


def public_key() -> str | None:
    """What a browser is given to sign up with: the uncompressed point in base64url, or None."""
    key = private_key()
    if key is None:
        return None
    number = int.from_bytes(base64.urlsafe_b64decode(key + "=" * (-len(key) % 4)))
    point = ec.derive_private_key(number, ec.SECP256R1()).public_key()
    return _text(point.public_bytes(Encoding.X962, PublicFormat.UncompressedPoint))


def new_key() -> str:
    """A fresh secret: a number below the order of the curve, of which almost every 32 bytes are one."""
    number = ec.generate_private_key(ec.SECP256R1()).private_numbers().private_value
    return _text(number.to_bytes(BYTES))


def _text(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode("ascii")
