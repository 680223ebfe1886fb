"""Compute a patient's month, keep it, and know when it has to be computed again."""

from __future__ import annotations

import logging
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import DateTimeField, ExpressionWrapper, F, Q, QuerySet

from dosing.models import PatientMonth
from dosing.science import SCIENCE_VERSION
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.facts import MonthFacts, facts_of_month
from dosing.services.month.origins import origins_of
from dosing.services.numbers.kept import as_stored
from dosing.services.numbers.number import Number
from sessions.facts.months import first_of, month_before, months_between, next_month
from sessions.models import Patient
from sessions.models.local_time import zone_of

logger = logging.getLogger(__name__)
CHUNK = 50
UNFINISHED = timedelta(days=32)
"""From its first day, a month is over everywhere after so long."""
DAILY = timedelta(days=1)


def _stored(number: Number[MonthFacts], facts: MonthFacts) -> dict[str, Any]:
    found = number.ask(facts)
    return as_stored(number, replace(found, origins=origins_of(facts, found)))


def compute_month(patient: Patient, month: date, *, at: datetime) -> PatientMonth:
    """Compute and store all numbers of one month, in the place of those that stood."""
    facts = facts_of_month(patient, month, at)
    numbers = {key: _stored(number, facts) for key, number in MONTH_NUMBERS.items()}
    kept, _ = PatientMonth.objects.update_or_create(
        patient=patient,
        month=month,
        defaults={
            "numbers": numbers,
            "delivered": facts.in_treatment.as_json()
            | {"schedule": facts.schedule or "", "ordered": bool(facts.prescriptions)},
            "science_version": SCIENCE_VERSION,
            "computed_at": at,
            "stale": False,
        },
    )
    return kept


def mark_stale(patient: Patient, since: datetime, *, until: datetime) -> None:
    """Say that the months from a moment on have to be computed again; those that are missing are added."""
    zone = zone_of(patient)
    first, last = first_of(since.astimezone(zone).date()), first_of(until.astimezone(zone).date())
    if first > last:
        return
    months = (
        months_between(max(first, first_of(patient.joined_on)), last) if first_of(patient.joined_on) <= last else []
    )
    rows = [PatientMonth(patient=patient, month=month, stale=True, computed_at=until) for month in months]
    PatientMonth.objects.bulk_create(rows, ignore_conflicts=True)
    PatientMonth.objects.filter(patient=patient, month__gte=first).update(stale=True)


def waiting(at: datetime) -> QuerySet[PatientMonth]:
    """Months to be computed, newest first: what people look at now comes first.

    A month that was computed before it was over waits again every day: where nothing comes any more, that shows too.
    """
    over = ExpressionWrapper(F("month") + UNFINISHED, output_field=DateTimeField())
    grown_old = Q(computed_at__lt=over, computed_at__lte=at - DAILY)
    stale = Q(stale=True) | ~Q(science_version=SCIENCE_VERSION) | grown_old
    return PatientMonth.objects.filter(stale).order_by("-month", "pk")


def add_missing(*, at: datetime) -> None:
    """A row for the running month and the one before of everybody in the programme, also of who sends nothing."""
    running = first_of(at.date())
    for month in (month_before(running), running):
        there = Patient.objects.filter(Q(left_on=None) | Q(left_on__gte=month), joined_on__lt=next_month(month))
        missing = there.exclude(months__month=month)
        rows = [PatientMonth(patient=each, month=month, stale=True, computed_at=at) for each in missing]
        PatientMonth.objects.bulk_create(rows, ignore_conflicts=True)


def compute_some(*, at: datetime, most: int = CHUNK) -> int:
    """Compute the months that wait, up to `most`; returns how many were tried.

    Each row is held while it is computed, so that what comes in meanwhile marks it only afterwards. One that fails
    is told to the log and stays marked; the others go on.
    """
    keys = list(waiting(at).values_list("pk", flat=True)[:most])
    for key in keys:
        try:
            _compute_held(key, at)
        except Exception:
            logger.exception("A month could not be computed", extra={"month": key})
    return len(keys)


@transaction.atomic
def _compute_held(key: int, at: datetime) -> None:
    held = PatientMonth.objects.select_for_update(skip_locked=True, of=("self",)).select_related("patient")
    row = held.filter(pk=key).first()
    if row is not None:
        compute_month(row.patient, row.month, at=at)
