"""Days and times in sentences and on pages, as the reader's language writes them."""

from __future__ import annotations

from datetime import date, datetime

from django.utils.timezone import localtime
from django.utils.translation import pgettext

from homedialysis.accounts.services.dates import told_clock, told_day


def day(when: date | None) -> str:
    """A day with its weekday and year, in the order and with the joining words of the language."""
    # Translators: a weekday, day, month and year in Django's letters, such as "l, j \d\e F \d\e Y" in Spanish.
    return told_day(when, pgettext("weekday, day, month, year", "D j M Y"))


def plain_day(when: date | None) -> str:
    """A day without its weekday."""
    return told_day(when, pgettext("day, month, year", "j F Y"))


def month(when: date | None) -> str:
    return told_day(when, pgettext("month, year", "F Y"))


def plain_moment(when: datetime) -> str:
    """A day and a time of day, on the clock of the page."""
    return f"{plain_day(localtime(when))}, {told_clock(localtime(when))}"
