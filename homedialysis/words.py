"""The words of the pages in other languages: which there are, and the catalogues made of what translators wrote.

Translators write `homedialysis/locale/<language>/LC_MESSAGES/django.po` (server) and `djangojs.po` (scripts of the
bedside). The server reads the first as a compiled file beside it, the scripts the second as a JSON file of their own.
"""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

HERE = Path(__file__).resolve().parent
LOCALE = HERE / "locale"
DOMAINS = ("django", "djangojs")
"""Server and scripts."""
SCRIPT_WORDS = HERE.parent / "sessions" / "static" / "bedside" / "words"


def languages() -> list[str]:
    """The languages that translators have written."""
    return sorted(folder.name for folder in LOCALE.iterdir() if (folder / "LC_MESSAGES" / "django.po").exists())


def catalogue(language: str, domain: str) -> Catalog:
    """What translators wrote of one domain, "django" or "djangojs"."""
    with (LOCALE / language / "LC_MESSAGES" / f"{domain}.po").open("rb") as source:
        return read_po(source, locale=language, domain=domain, abort_invalid=True)


def compiled(language: str) -> bytes:
    """The server's catalogue as gettext reads it; what is marked as doubtful is left out."""
    target = io.BytesIO()
    write_mo(target, catalogue(language, "django"), use_fuzzy=False)
    return target.getvalue()


def for_scripts(language: str) -> str:
    """The scripts' catalogue as JSON: {English: words}, with a list of forms where the number decides."""
    words: dict[str, Any] = {
        str(message.id[0] if message.pluralizable else message.id): (
            list(message.string or ()) if message.pluralizable else message.string
        )
        for message in catalogue(language, "djangojs")
        if message.id and not message.fuzzy
    }
    return json.dumps(dict(sorted(words.items())), ensure_ascii=False, separators=(",\n", ":")) + "\n"


def mo_path(language: str) -> Path:
    return LOCALE / language / "LC_MESSAGES" / "django.mo"


def script_path(language: str) -> Path:
    return SCRIPT_WORDS / f"{language}.json"


def write_all() -> None:
    """Make every catalogue anew from the translators' files."""
    SCRIPT_WORDS.mkdir(parents=True, exist_ok=True)
    for language in languages():
        mo_path(language).write_bytes(compiled(language))
        script_path(language).write_text(for_scripts(language), encoding="utf-8")
