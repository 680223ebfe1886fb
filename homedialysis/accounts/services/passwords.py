"""Passwords that are long and still the first ones that anybody tries."""

from __future__ import annotations

import re
from typing import Any

from django.contrib.auth.password_validation import CommonPasswordValidator
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from homedialysis.accounts.models import Unit

FEWEST_SIGNS = 5
RUNS = ("0123456789" * 3, "abcdefghijklmnopqrstuvwxyz", "qwertyuiop", "asdfghjkl", "zxcvbnm")
OURS = ("homedialysis", "dialysis", "haemodialysis", "hemodialysis", "dialisis")
LEAST_LEFT = 6
"""Letters and digits that have to be left once the words are taken away that everybody here would try."""


class NotGuessedAtOnce:
    """Refuses a common word said twice, a run along the keyboard, and what this place is called."""

    def validate(self, password: str, user: Any = None) -> None:
        """Raises ValidationError."""
        plain = re.sub(r"[^0-9a-z]", "", password.lower())
        once = re.sub(r"^(.+?)\1+$", r"\1", plain)
        if len(set(plain)) < FEWEST_SIGNS or any(once in run or once in run[::-1] for run in RUNS):
            raise ValidationError(_("This password is a row of signs that is tried first."), code="password_row")
        if once != plain:
            CommonPasswordValidator().validate(once)
        if len(_without_our_words(plain)) < LEAST_LEFT:
            words = _("This password is little more than the name of this place or of what it does.")
            raise ValidationError(words, code="password_of_this_place")

    def get_help_text(self) -> str:
        return _("Not a row of keys, not one word twice, not the name of the unit.")


def _without_our_words(plain: str) -> str:
    unit = Unit.objects.current()
    named = re.findall(r"[0-9a-z]{4,}", unit.name.lower()) if unit else []
    for word in sorted({*OURS, *named}, key=len, reverse=True):
        plain = plain.replace(word, "")
    return plain
