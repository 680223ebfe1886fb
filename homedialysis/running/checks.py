"""Start-up checks: each with an id and a hint."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.core import checks

from homedialysis.running.schema import fit_of_database


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


@checks.register(checks.Tags.database)
def schema_fits_code(
    app_configs: Any, databases: Sequence[str] | None = None, **kwargs: Any
) -> list[checks.CheckMessage]:
    """Asked only where a database is named: `check --database default`, and before every `migrate`."""
    if not databases:
        return []
    fit = fit_of_database()
    if fit.unknown:  # an error: nothing of this code, not even `migrate`, may touch such a database
        hint = "Start the version that the database was last migrated by, or restore the backup from before."
        return [checks.Error(f"The database is {fit.words}", hint=hint, id="homedialysis.E002")]
    if fit.missing:
        return [checks.Warning(f"The database {fit.words}", hint="manage.py migrate", id="homedialysis.W002")]
    return []
