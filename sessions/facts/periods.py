"""How much of a patient's time a page and its charts show."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

PERIODS = {30: _("30 days"), 90: _("3 months"), 182: _("6 months"), 365: _("12 months")}
USUAL = 90


def days_asked(given: str, usual: int = USUAL) -> int:
    """As an address asks for it; the usual where it asks for anything else.

    >>> days_asked("365"), days_asked("31"), days_asked("")
    (365, 90, 90)
    """
    return {str(days): days for days in PERIODS}.get(given, usual)
