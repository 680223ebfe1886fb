"""The alerts of a patient's month, as lines of its review."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from django.utils.translation import gettext as _

from alerts.models import Alert
from alerts.models.choices import AlertState
from alerts.showing.alert_words import title_of
from dosing.services.month.beside import MonthLine, days_words
from sessions.models import Patient


def lines_of_month(person: Patient, first: date, last: date) -> Iterator[MonthLine]:
    """One line: every alert whose nights touch the days from first to last, by urgency."""
    touching = Alert.objects.filter(patient=person, first_night__lte=last, last_night__gte=first)
    yield MonthLine(_("Alerts"), tuple(_told(each) for each in touching))


def _told(alert: Alert) -> str:
    """Title, nights, and what became of it."""
    parts = {"title": title_of(alert), "nights": days_words(alert.first_night, alert.last_night)}
    if alert.state == AlertState.OPEN:
        return _("%(title)s (%(nights)s; open)") % parts
    return _("%(title)s (%(nights)s; closed: %(outcome)s)") % (parts | {"outcome": alert.get_outcome_display()})
