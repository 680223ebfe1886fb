"""The language in which somebody gets pages, mails and messages."""

from __future__ import annotations

from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.utils.translation import get_language, override

from homedialysis.accounts.choices import English
from homedialysis.accounts.models import User
from homedialysis.accounts.services.units import spoken
from homedialysis.languages import AMERICAN


def languages_for(person: User | AnonymousUser) -> list[str]:
    """The codes of the languages in which pages are there for this person: for staff those with all of their words."""
    if isinstance(person, User) and person.is_unit_staff:
        return list(settings.STAFF_LANGUAGES)
    return [code for code, _name in settings.LANGUAGES]


def language_for(person: User | AnonymousUser, *, wished: str = "") -> str:
    """What the person chose, else what the browser wishes, else English: the first of them that is there."""
    known = languages_for(person)
    chosen: str = getattr(person, "language", "")
    return next((code for code in (chosen, wished) if code in known), str(settings.LANGUAGE_CODE))


def spelt(code: str) -> str:
    """The language in which the words of this one are looked up: English as the unit spells it."""
    return AMERICAN if (code, spoken().english) == (English.BRITISH, English.AMERICAN) else code


def reading(code: str) -> override:
    """Everything within is in this language, English as the unit spells it."""
    return override(spelt(code))


def language_here() -> str:
    """The language of the moment, one of settings.LANGUAGES: English is one, however it is spelt."""
    here = get_language() or settings.LANGUAGE_CODE
    return English.BRITISH.value if here == AMERICAN else here


def every_spelling() -> list[str]:
    """Everything in which the same words may have been written down."""
    return [*(code for code, _name in settings.LANGUAGES), AMERICAN]
