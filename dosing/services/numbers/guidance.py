"""Rows of guidance in words: who says so, how far that was seen, and as the range of a number."""

from __future__ import annotations

from collections.abc import Callable

from django.utils.functional import lazy
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from dosing.science.guidance import GUIDANCE, Guidance, GuidedSchedule
from dosing.services.numbers.number import UsualRange
from dosing.services.numbers.seen import with_status

SCHEDULE_WORDS: dict[GuidedSchedule, StrOrPromise] = {
    GuidedSchedule.THREE_A_WEEK: _("three treatments a week, hardly any kidney function"),
    GuidedSchedule.OTHER: _("other schedules, and whoever has a kidney that counts"),
}
"""Whom a row is for, where it is not for everybody."""


def source_words(row: Guidance) -> str:
    """Guideline, statement, grade and how far it was seen; what it says, where it says more than its ends."""
    cited = with_status(row.source, row.status)
    return f"{cited}: {gettext(row.says)}" if row.says else cited


def usual_of(quantity: str) -> UsualRange:
    """The row of a quantity as the range of a number. KeyError for a quantity without a row."""
    row = GUIDANCE[quantity]
    return UsualRange(row.low, row.high, row_words(quantity), row.aim_low, row.aim_high, row.schedule)


def row_words(quantity: str) -> StrOrPromise:
    """`source_words` of a quantity, made where they are read."""
    make: Callable[[], StrOrPromise] = lazy(lambda: source_words(GUIDANCE[quantity]), str)
    return make()
