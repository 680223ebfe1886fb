"""How days and figures are written, in the language of whoever reads them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date

from django.utils.formats import number_format
from django.utils.functional import lazy
from django.utils.translation import gettext, ngettext, pgettext
from django_stubs_ext import StrOrPromise

from alerts.rules.base import Evidence
from dosing.science.sources import Status
from dosing.services.numbers.seen import with_status
from homedialysis.accounts.services.dates import told_day
from homedialysis.accounts.services.units import told_in


def later(words: Callable[[], str]) -> StrOrPromise:
    """Words that are made whenever they are read, for what is declared once."""
    made: StrOrPromise = lazy(words, str)()
    return made


def cited(source: StrOrPromise, status: Status) -> StrOrPromise:
    """A source with how far it was seen, in the words that stand wherever a number has a source."""
    return later(lambda: with_status(source, status))


def capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def day(value: date | str) -> str:
    """ "12 May"; a day kept among the parts of a remark is ISO 8601."""
    on = date.fromisoformat(value) if isinstance(value, str) else value
    return told_day(on, pgettext("day and month", "j M"))


def figure(value: float, form: str = "g", unit: StrOrPromise = "") -> str:
    """A number as people write it, with its unit."""
    return f"{number_format(f'{value:{form}}')} {unit}".strip()


def weight(change: float, form: str = ".1f") -> str:
    """A weight, or a difference of weights [kg], in the unit of the reader."""
    told = told_in("kg")
    return figure(told.change(change), form, told.unit)


def days_of(evidence: Sequence[Evidence]) -> list[date]:
    return sorted({item.day for item in evidence})


def when(evidence: Sequence[Evidence]) -> str:
    """ "on 12 May", or "in 3 treatments from 2 May to 12 May"."""
    days = days_of(evidence)
    if len(days) == 1:
        return gettext("on %(day)s") % {"day": day(days[0])}
    return ngettext(
        "in %(count)d treatment from %(first)s to %(last)s",
        "in %(count)d treatments from %(first)s to %(last)s",
        len(days),
    ) % {"count": len(days), "first": day(days[0]), "last": day(days[-1])}
