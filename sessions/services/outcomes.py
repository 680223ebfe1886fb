"""Infections, hospital stays, medicines: noted, put right, taken back. Triggers keep each version with its writer."""

from __future__ import annotations

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from homedialysis.accounts.models import User
from sessions.models import AccessInfection, Finding, HospitalStay, Medication

Outcome = AccessInfection | HospitalStay | Medication | Finding


@transaction.atomic
def keep(row: Outcome, *, by: User, at: datetime) -> None:
    """Save what was noted or put right. Raises ValidationError, also for a second entry of the same thing."""
    row.entered_by, row.entered_at = by, at
    row.full_clean()
    row.save()


@transaction.atomic
def take_back(row: Outcome, *, why: str, by: User, at: datetime) -> None:
    """Mark what should never have been noted: it counts in no number, and stays in the history.

    Raises ValidationError without a reason, or with one that is longer than the 200 characters there are for it.
    """
    if not why.strip():
        raise ValidationError(_("Say why it is taken back."))
    row.taken_back = why.strip()
    keep(row, by=by, at=at)
