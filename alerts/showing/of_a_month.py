"""The alerts and calls of a patient's month, as lines of its review."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta

from django.db.models import Q
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from alerts.models import Alert, Call
from alerts.models.choices import AlertState
from alerts.showing.alert_words import title_of
from dosing.services.month.beside import MonthLine, days_words
from sessions.facts.local_day import plain_day
from sessions.models import Patient
from sessions.models.local_time import zone_of


def lines_of_month(person: Patient, first: date, last: date) -> Iterator[MonthLine]:
    """Every alert whose nights touch the days from first to last, or that was open on one of them, by urgency; every
    try to reach the patient.
    """
    since = datetime.combine(first, time(), zone_of(person))
    there = Q(last_night__gte=first) | Q(state=AlertState.OPEN) | Q(closed_at__gte=since)
    touching = Alert.objects.filter(there, patient=person, first_night__lte=last)
    yield MonthLine(_("Alerts"), tuple(_told(each) for each in touching))
    yield MonthLine(_("Calls"), tuple(_called(each) for each in _calls(person, first, last)))


def _calls(person: Patient, first: date, last: date) -> list[Call]:
    zone = zone_of(person)
    since, until = (datetime.combine(day, time(), zone) for day in (first, last + timedelta(days=1)))
    return list(Call.objects.filter(patient=person, at__gte=since, at__lt=until).order_by("at", "pk"))


def _called(call: Call) -> str:
    """Day, what came of it, what was said."""
    parts = (plain_day(localtime(call.at)), call.get_result_display(), call.said, call.plan)
    return ", ".join(part for part in parts if part)


def _told(alert: Alert) -> str:
    """Title, nights, and what became of it."""
    parts = {"title": title_of(alert), "nights": days_words(alert.first_night, alert.last_night)}
    if alert.is_open and alert.cause_gone_at:
        return _("%(title)s (%(nights)s; open, its cause gone)") % parts
    if alert.is_open:
        return _("%(title)s (%(nights)s; open)") % parts
    return _("%(title)s (%(nights)s; closed: %(outcome)s)") % (parts | {"outcome": alert.get_outcome_display()})
