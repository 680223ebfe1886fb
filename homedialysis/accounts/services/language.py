"""The language in which somebody gets pages, mails and messages."""

from __future__ import annotations

from django.conf import settings
from django.contrib.auth.models import AnonymousUser

from homedialysis.accounts.models import User


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
