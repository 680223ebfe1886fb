"""Medicines of a patient: written, changed, stopped, put right and taken back. Triggers keep each version."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from homedialysis.accounts.models import User
from homedialysis.accounts.services.dates import short_day
from sessions.facts.medicines import MedicationKind
from sessions.models import Medication, Patient
from sessions.services import outcomes

KINDS = list(MedicationKind.values)


def taken_now(patient: Patient, day: date, kinds: Iterable[str] = KINDS) -> list[Medication]:
    """What a patient takes on a day of these kinds, by kind and name: one query."""
    found = patient.medications.taken_on(day).filter(kind__in=list(kinds)).select_related("entered_by")
    return sorted(found, key=lambda each: (KINDS.index(each.kind), each.name.casefold()))


def taken_between(patient: Patient, first: date, last: date, kinds: Iterable[str] | None = None) -> list[Medication]:
    """What a patient took on some day of a time, oldest first; kinds: None for all. One query."""
    found = patient.medications.taken_between(first, last).order_by("from_on", "pk")
    return list(found if kinds is None else found.filter(kind__in=list(kinds)))


@transaction.atomic
def stop(row: Medication, *, last_day: date, why: str, by: User, at: datetime) -> None:
    """Note the last day on which it is taken. Raises ValidationError without a reason."""
    if not why.strip():
        raise ValidationError({"ended_because": _("Say why it is stopped.")})
    row.until_on, row.ended_because = last_day, why.strip()
    outcomes.keep(row, by=by, at=at)


@transaction.atomic
def change_dose(row: Medication, new: Medication, *, why: str, by: User, at: datetime) -> None:
    """Stop one and begin the other on the next day; both stay. Raises ValidationError, and changes nothing then."""
    if new.from_on is None or new.from_on <= row.from_on:
        words = _("The other dose must begin after %(first)s, from when this one holds.")
        raise ValidationError({"from_on": words % {"first": short_day(row.from_on)}})
    stop(row, last_day=new.from_on - timedelta(days=1), why=why, by=by, at=at)
    outcomes.keep(new, by=by, at=at)
