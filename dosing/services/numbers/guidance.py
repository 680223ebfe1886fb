"""Rows of guidance in words: who says so, how far that was seen, and as the range of a number."""

from __future__ import annotations

from collections.abc import Callable

from django.utils.functional import lazy
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from dosing.science.guidance import GUIDANCE, Guidance, Schedule
from dosing.science.sources import Status
from dosing.services.numbers.number import UsualRange

STATUS_WORDS: dict[Status, StrOrPromise] = {
    Status.SEEN: _("source read"),
    Status.ABSTRACT: _("abstract read"),
    Status.SECOND_HAND: _("read as quoted by others"),
    Status.MEMORY: _("from memory, source not opened"),
    Status.PRACTICE: _("common practice, no source"),
    Status.COMPUTED: _("computed"),
}
"""How far the source of a number was seen, for people: the same words wherever a number has a source."""
SCHEDULE_WORDS: dict[Schedule, StrOrPromise] = {
    Schedule.THREE_A_WEEK: _("three treatments a week, hardly any kidney function"),
    Schedule.OTHER: _("other schedules, and whoever has a kidney that counts"),
}
"""Whom a row is for, where it is not for everybody."""


def with_status(source: StrOrPromise, status: Status) -> str:
    """A source and how far it was seen, in the language of the reader; the status alone where there is no source."""
    words = str(STATUS_WORDS[status])
    return gettext("%(source)s [%(status)s]") % {"source": source, "status": words} if source else words


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
