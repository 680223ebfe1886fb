"""Start-up checks: each with an id and a hint."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core import checks


@checks.register(checks.Tags.security, deploy=True)
def site_address_is_https(app_configs: Any, **kwargs: Any) -> list[checks.CheckMessage]:
    if settings.SITE_ADDRESS.startswith("https://"):
        return []
    return [
        checks.Error(
            f"SITE_ADDRESS is {settings.SITE_ADDRESS}",
            hint="Set it to the https address that people type in; hosts, cookies and origins follow from it.",
            id="homedialysis.E001",
        )
    ]


@checks.register(checks.Tags.compatibility, deploy=True)
def mail_can_be_sent(app_configs: Any, **kwargs: Any) -> list[checks.CheckMessage]:
    if settings.EMAIL_HOST:
        return []
    return [
        checks.Warning(
            "EMAIL_HOST is not set, so mail is only printed to the log",
            hint="Password resets need mail: set EMAIL_HOST, EMAIL_PORT, EMAIL_USER, EMAIL_PASSWORD_FILE.",
            id="homedialysis.W001",
        )
    ]
