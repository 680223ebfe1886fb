"""What holds rows that are only ever added."""

from __future__ import annotations

import pgtrigger


def append_only(name: str) -> pgtrigger.Protect:
    """Neither update nor delete goes through, whoever tries."""
    return pgtrigger.Protect(name=name, operation=pgtrigger.Update | pgtrigger.Delete)
