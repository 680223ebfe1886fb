"""Names of static files carry a hash of their content, those that our scripts import from each other too."""

from __future__ import annotations

from collections.abc import Callable
from re import Match
from typing import Any

from whitenoise.storage import CompressedManifestStaticFilesStorage

OURS = ("alerts/", "dosing/", "homedialysis/", "sessions/")


class HashedStatic(CompressedManifestStaticFilesStorage):
    """Without the imports rewritten, a phone could mix modules of two releases after an upgrade.

    Scripts out of installed packages stay as they are: some name modules that only a build step finds.
    """

    support_js_module_import_aggregation = True

    def url_converter(
        self, name: str, hashed_files: dict[str, str], template: str | None = None
    ) -> Callable[[Match[str]], str]:
        """What puts hashed names in the place of plain ones in one file."""
        if name.endswith(".js") and not name.startswith(OURS):
            return lambda found: found[0]
        converter: Any = super().url_converter(name, hashed_files, template)
        return converter  # type: ignore[no-any-return]
