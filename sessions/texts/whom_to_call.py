"""Whether a card says whom to call: a bare “call” helps nobody who is alone at night."""

from __future__ import annotations

import re
from collections.abc import Iterable

from django.conf import settings
from django.utils.translation import override, pgettext

A_NUMBER = re.compile(r"\d(?:[ \u00a0/-]?\d){2,}")
"""Three figures and more: the number itself."""


def named() -> re.Pattern[str]:
    """What whoever is called goes by in the cards, in every language that patients read."""
    found: set[str] = set()
    for code, _name in settings.LANGUAGES:
        with override(code):
            found |= {pgettext("whom to call", "unit"), pgettext("whom to call", "emergency number")}
    return re.compile(rf"\b({'|'.join(map(re.escape, sorted(found)))})\b", re.IGNORECASE)


def bare_calls(lines: Iterable[str]) -> list[str]:
    """The lines of whom to call that name neither the unit, nor the emergency number, nor a number."""
    known = named()
    return [line for line in lines if not A_NUMBER.search(line) and not known.search(line)]
