"""What of a page in the made-up language still stands in English."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html.parser import HTMLParser

from django.contrib.auth.password_validation import get_default_password_validators
from django.utils import translation
from django.utils.translation import gettext

from tests import pseudo_words


class VisibleText(HTMLParser):
    """What people see or hear of a page: its text, labels and hints."""

    HEARD = ("aria-label", "alt", "title", "placeholder")
    SAID_BY_SCRIPTS = ("data-on", "data-off", "data-changed", "data-refused", "data-failed", "data-unable")

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.hidden = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.hidden += tag in ("script", "style")
        self.texts += [value for name, value in attrs if name in self.HEARD + self.SAID_BY_SCRIPTS and value]

    def handle_endtag(self, tag: str) -> None:
        self.hidden -= tag in ("script", "style")

    def handle_data(self, data: str) -> None:
        if not self.hidden and data.strip():
            self.texts.append(" ".join(data.split()))


def texts_of(page: str) -> list[str]:
    parser = VisibleText()
    parser.feed(page)
    # Neighbours belong together: an address in the middle of a sentence stands in an element of its own.
    return [each for each in pseudo_words.unmarked(" ¦ ".join(parser.texts)).split("¦") if each.strip()]


DATA = re.compile(
    r"Ana Verdemar|Rui, who helps Ana|ana@example\.org|English|Español|Mirror|UTC|"
    r"(Mon|Tue|Wed|Thu|Fri|Sat|Sun|Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)[a-z]*|"
    r"\b(?:mean|median|max|count)\(|\bUFR\b|"
    r"\{\w+\}|mmHg|mL/kg/h|mL/min|mL/h|mmol/L|mS/cm|min\b|kg\b|TMP|dosing\.[\w.]+|tel:|[\w.+-]+@[\w.]+"
)
"""What stands on pages besides words: people, dates, symbols, units, names of functions, and what
scripts fill in."""


def left_in_english(page: str, *data: str) -> Iterator[str]:
    """Texts outside the brackets that hold words; Django's and allauth's own, which they translate themselves, not."""
    for text in texts_of(page):
        rest = text.strip()
        for each in data:
            rest = rest.replace(each, " ")
        rest = DATA.sub(" ", rest)
        if re.search(r"[A-Za-z]{3}", rest) and not _of_the_framework(text.strip()):
            yield text.strip()


PASSWORD_RULES = {rule for each in get_default_password_validators() for rule in each.get_help_text().splitlines()}


def _of_the_framework(text: str) -> bool:
    with translation.override("de"):
        return text in PASSWORD_RULES or gettext(text.rstrip(":")) != text.rstrip(":") or gettext(text) != text
