"""Which languages there are: one folder below `homedialysis/locale` each, and English, in which everything is written.

A folder holds what translators wrote: `LC_MESSAGES/django.po` (pages of patients), `djangojs.po` (scripts of the
bedside) and `staff.po` (pages of staff). Settings read this before anything else is there: the standard library only.
"""

from __future__ import annotations

import re
from pathlib import Path

from django.conf.locale import LANG_INFO
from django.utils.translation import to_language

ENGLISH = ("en", "English")
AMERICAN = "en-latn-us"
"""English as America spells it (homedialysis/spelling.py): no language to choose, for the unit chooses it. Written out
with its script, because gettext looks for plain `en` in a folder of `en_US`.
"""
UNSAID = re.compile(r'^msgstr(?:\[\d+\])? ""\n(?!")|^#,.*\bfuzzy\b', re.MULTILINE)
"""A text that has no words yet, or words that are marked as doubtful."""


def folders(locale: Path) -> list[str]:
    """The folders of languages, as gettext names them ("pt_BR")."""
    return sorted(folder.parent.parent.name for folder in locale.glob("*/LC_MESSAGES/django.po"))


def offered(locale: Path) -> list[tuple[str, str]]:
    """[(code, its own name)] of every language in which patients may read, English first."""
    return [ENGLISH, *((to_language(folder), own_name(to_language(folder))) for folder in folders(locale))]


def offered_to_staff(locale: Path) -> list[str]:
    """The codes of the languages in which staff may read, English first.

    Half a translated page is worse than none: a language counts once all of its staff.po has words.
    """
    return [ENGLISH[0], *(to_language(folder) for folder in folders(locale) if whole_for_staff(locale, folder))]


def whole_for_staff(locale: Path, folder: str) -> bool:
    """Whether every word of the pages of staff is there in the language of this folder."""
    written = locale / folder / "LC_MESSAGES" / "staff.po"
    return written.exists() and not UNSAID.search(written.read_text(encoding="utf-8").partition("\n\n")[2])


def own_name(code: str) -> str:
    """ "es" -> "Español"; a language that Django has no name for is called by its code."""
    known = LANG_INFO.get(code) or LANG_INFO.get(code.partition("-")[0])
    if known is None:
        return code
    name = str(known["name_local"])
    return name[:1].upper() + name[1:]
