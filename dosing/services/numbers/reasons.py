"""Why a number is not known, in the language of the reader: words are made where somebody reads them.

The science gives a code with its parts (`dosing.science.reasons`), and so it is stored.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.formats import get_format
from django.utils.translation import gettext

from dosing.science.reasons import Reason, reason_of
from sessions.facts.local_day import plain_day

NOT_COMPUTED = Reason("not_computed")
Stored = Reason | Mapping[str, Any] | None
"""A reason, as it came from the science or out of the database; None where the number is known."""


def reason_words(reason: Stored) -> str:
    """A reason in the language of the reader and with the decimal sign of theirs; "" for none."""
    if not reason:
        return ""
    found = reason if isinstance(reason, Reason) else reason_of(reason)
    return found.words(gettext, _written, plain_day)


def _written(number: float) -> str:
    return f"{number:g}".replace("-", "−").replace(".", get_format("DECIMAL_SEPARATOR"))
